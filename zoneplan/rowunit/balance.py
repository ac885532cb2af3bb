"""The static balance of one row unit, up positive for the soil's answers; and the chart of air.

    weight + downforce = opener load + closing load + margin

The links to the toolbar are taken as level. DEVELOPERS.md derives it, with an example.
"""

import numpy as np

from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.machine import Chart, Machine
from zoneplan.rowunit.words import load, pressure
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


def load_at(chart: Chart, pressure_kpa: float) -> float:
    """Downforce at a pressure, on straight lines between the chart's points. [N].

    Raises
    ------
    OutOfRangeError
        For a pressure outside the chart: what lies there is not known.

    Examples
    --------
    >>> load_at(((0, 0), (200, 100)), 50)
    25.0
    """
    pressures, loads = zip(*chart, strict=True)
    if not pressures[0] <= pressure_kpa <= pressures[-1]:
        raise OutOfRangeError(
            f"{pressure(pressure_kpa)} is outside this machine's chart, which runs from "
            f"{pressure(pressures[0])} to {pressure(pressures[-1])}. Past its ends the downforce "
            "is not known: choose a pressure inside, or measure more points."
        )
    return float(np.interp(pressure_kpa, pressures, loads))


def pressure_for(chart: Chart, downforce_n: float) -> float:
    """Pressure that gives a downforce, on straight lines between the points. [kPa].

    Raises
    ------
    OutOfRangeError
        For a downforce the chart does not reach.

    Examples
    --------
    >>> pressure_for(((0, 0), (200, 100)), 25)
    50.0
    """
    pressures, loads = zip(*chart, strict=True)
    if not loads[0] <= downforce_n <= loads[-1]:
        raise OutOfRangeError(
            f"{load(downforce_n)} of downforce cannot be reached: this machine's chart runs from "
            f"{load(loads[0])} to {load(loads[-1])}. Plan for less, or change the weight carried."
        )
    return float(np.interp(downforce_n, loads, pressures))
