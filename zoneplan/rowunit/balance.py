"""The static balance of one row unit; up is positive for the soil's answers.

    weight + downforce = opener load + closing load + margin

The links to the toolbar are taken as level. DEVELOPERS.md derives it, with an example.
"""

from zoneplan.rowunit.machine import Machine
from zoneplan.units import STANDARD_GRAVITY_MPS2


def seed_weight_n(machine: Machine, fill: float) -> float:
    """Weight of the seed in one hopper. [N].

    Parameters
    ----------
    machine : Machine
        Its hopper volume and the seed's test weight.
    fill : float
        Share of the hopper. [0 to 1]

    Source
    ------
    Derived: volume × fill × test weight × standard gravity.
    """
    return machine.hopper_m3 * fill * machine.test_weight_kg_m3 * STANDARD_GRAVITY_MPS2


def weight_n(machine: Machine, fill: float) -> float:
    """Weight of one row unit as it works: bare, attachments and seed. [N].

    Parameters
    ----------
    machine : Machine
        Its weights.
    fill : float
        Share of the hopper. [0 to 1]
    """
    return machine.unit_weight_n + machine.attachments_n + seed_weight_n(machine, fill)


def downforce_needed_n(
    margin_n: float, opener_load_n: float, closing_load_n: float, weight_n: float
) -> float:
    """Downforce that leaves a wanted margin. [N]; negative is lift.

    Parameters
    ----------
    margin_n, opener_load_n, closing_load_n : float
        What the soil must carry. [N]
    weight_n : float
        The row unit as it works. [N]

    Source
    ------
    Derived: statics. See "The force balance" in DEVELOPERS.md.

    Examples
    --------
    In pounds, as any one unit of force will do:

    >>> downforce_needed_n(100, 250, 60, 180 + 40)
    190
    """
    return margin_n + opener_load_n + closing_load_n - weight_n


def margin_left_n(
    weight_n: float, downforce_n: float, opener_load_n: float, closing_load_n: float
) -> float:
    """Load left on the gauge wheels. [N]; negative means that the openers float.

    Parameters
    ----------
    weight_n : float
        The row unit as it works. [N]
    downforce_n : float
        What the system adds. [N]; negative is lift.
    opener_load_n, closing_load_n : float
        What the discs and the closing wheels carry. [N]

    Source
    ------
    Derived: statics. See "The force balance" in DEVELOPERS.md.

    Examples
    --------
    >>> margin_left_n(180 + 40, 250, 250, 60)
    160
    """
    return weight_n + downforce_n - opener_load_n - closing_load_n
