"""The static balance of one row unit: what a zone asks of it, and what a setting leaves.

Up is positive for the soil's answers.

    weight + downforce = opener load + closing load + margin

The links to the toolbar are taken as level. DEVELOPERS.md derives it, with an example.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from zoneplan.errors import OutOfRangeError
from zoneplan.notices import Notice, notice
from zoneplan.rowunit.machine import Chart, Machine, SetAir, Springs, reach_n
from zoneplan.rowunit.one_setting import RESOLUTION_N
from zoneplan.units import STANDARD_GRAVITY_MPS2, load, pressure

HOPPER_RIGHT_SHARE = 0.6  # judged: less of the hopper inside the window is the hopper's fault
_NOISE = 1e-9


def seed_weight_n(machine: Machine, fill: float) -> float:
    """Weight of the seed in one hopper, filled to a share of it [0 to 1]. [N].

    Source
    ------
    Derived: volume × fill × test weight × standard gravity.
    """
    return machine.hopper_m3 * fill * machine.test_weight_kg_m3 * STANDARD_GRAVITY_MPS2


def weight_n(machine: Machine, fill: float) -> float:
    """Weight of one row unit as it works: bare, attachments, and seed at a fill [0 to 1]. [N]."""
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


@dataclass(frozen=True)
class Demand:
    """What one zone asks of the row unit at one moisture. Loads are per row."""

    area_ha: float
    margin_n: float  # the target
    opener_load_n: float  # and what pushes up attachments
    closing_load_n: float
    light_to_heavy: float = 2.0  # cost of a newton too light, in newtons too heavy
    width_m: float | None = None  # across the passes, where it is narrowest
    length_m: float | None = None  # along the passes


@dataclass(frozen=True)
class Outcome:
    """What the system does for one zone."""

    downforce_full_n: float  # needed with the hopper full; negative is lift
    downforce_refill_n: float
    setting: float  # N (spring position, margin target) or kPa (set air)
    reached: bool  # within RESOLUTION_N of the target, with the hopper full and at refill
    margin_full_n: float  # what the setting really leaves
    margin_refill_n: float
    notices: tuple[Notice, ...]


@dataclass(frozen=True)
class FieldOutcome:
    """What the system does for every zone of a field."""

    best: float | None  # the field's one setting; None where the system holds a margin
    outcomes: tuple[Outcome, ...]  # in the order of the demands
    notices: tuple[Notice, ...]


def downforce_at_fill_n(machine: Machine, demand: Demand, fill: float) -> float:
    """Downforce that leaves the zone's target at one fill of the hopper. [N]."""
    return downforce_needed_n(
        demand.margin_n, demand.opener_load_n, demand.closing_load_n, weight_n(machine, fill)
    )


@dataclass(frozen=True)
class AtFill:
    """One row unit at one fill of the hopper. [N]."""

    weight_n: float
    needed_n: float  # downforce that would leave the target
    given_n: float  # downforce that the setting gives
    margin_n: float  # what that leaves


def at_fill(machine: Machine, need: Demand, setting: float, fill: float) -> AtFill:
    """Work out the margin that a setting leaves at one fill of the hopper.

    Parameters
    ----------
    machine, need : Machine, Demand
        Who asks what.
    setting : float
        Spring position [N], pressure [kPa], or margin target [N], as the machine has it.
    fill : float
        Share of the hopper. [0 to 1]

    Source
    ------
    Derived: statics. See "The force balance" in DEVELOPERS.md.
    """
    system = machine.system
    needed_n = downforce_at_fill_n(machine, need, fill)
    if isinstance(system, Springs):
        given_n = setting
    elif isinstance(system, SetAir):
        given_n = load_at(system.chart, setting)
    else:
        least_n, most_n = reach_n(system)
        given_n = min(max(needed_n, least_n), most_n)
    weight = weight_n(machine, fill)
    left_n = margin_left_n(weight, given_n, need.opener_load_n, need.closing_load_n)
    return AtFill(weight, needed_n, given_n, left_n)


def settled_outcome(
    machine: Machine,
    demand: Demand,
    setting: float,
    given_n: tuple[float, float],
    notices: Iterable[Notice],
    *,
    tell_gap: bool = True,
) -> Outcome:
    """Work out the margins that a zone is left with, and say where they miss the target.

    Parameters
    ----------
    machine, demand : Machine, Demand
        Who asks what.
    setting : float
        What is set, in the machine's setting unit.
    given_n : (float, float)
        Downforce that the setting gives with the hopper full, and at refill. [N]
    notices : iterable of Notice
        Told after the margins.
    tell_gap : bool
        False where only the seed moves the margin, which is told once for the field.
    """
    full_n = downforce_at_fill_n(machine, demand, machine.fill_full)
    refill_n = downforce_at_fill_n(machine, demand, machine.fill_refill)
    margin_full_n, margin_refill_n = (
        margin_left_n(weight_n(machine, fill), given, demand.opener_load_n, demand.closing_load_n)
        for fill, given in zip((machine.fill_full, machine.fill_refill), given_n, strict=True)
    )
    full_gap_n, refill_gap_n = margin_full_n - demand.margin_n, margin_refill_n - demand.margin_n
    reached = max(abs(full_gap_n), abs(refill_gap_n)) <= RESOLUTION_N
    gap_notices = []
    if tell_gap and not reached:
        gap_notices.append(
            notice(
                "misses-target",
                target_n=demand.margin_n,
                full_n=margin_full_n,
                refill_n=margin_refill_n,
                full_gap_n=_past_resolution_n(full_gap_n),
                refill_gap_n=_past_resolution_n(refill_gap_n),
            )
        )
    if min(margin_full_n, margin_refill_n) < 0:
        gap_notices.append(notice("openers-float"))
    return Outcome(
        downforce_full_n=full_n,
        downforce_refill_n=refill_n,
        setting=setting,
        reached=reached,
        margin_full_n=margin_full_n,
        margin_refill_n=margin_refill_n,
        notices=(*gap_notices, *notices),
    )


def out_of_reach(needed_n: Sequence[float], least_n: float, most_n: float) -> list[Notice]:
    """Tell what a system cannot give of some downforces: a notice for each end passed. [N].

    >>> [notice.code for notice in out_of_reach([-890.0], least_n=0.0, most_n=1779.0)]
    ['needs-less-downforce']
    """
    notices = []
    if max(needed_n) > most_n + RESOLUTION_N:
        notices.append(notice("needs-more-downforce", needed_n=max(needed_n), most_n=most_n))
    if min(needed_n) < least_n - RESOLUTION_N:
        notices.append(notice("needs-less-downforce", needed_n=min(needed_n), least_n=least_n))
    return notices


def _past_resolution_n(gap_n: float) -> float:
    return 0.0 if abs(gap_n) <= RESOLUTION_N else gap_n


def refill_fill(
    fill_full: float,
    fill_refill: float,
    full_hopper_n: float,
    margin_full_n: float,
    least_n: float,
    most_n: float,
) -> float | None:
    """Fill at which to refill, so that one setting stays inside the window. [0 to 1].

    `None` where the window bears all the seed between full and refill, where there is no window,
    or where the margin is inside it at no fill.

    Parameters
    ----------
    fill_full, fill_refill : float
        Shares of the hopper that the machine file plans with. [0 to 1]
    full_hopper_n : float
        Weight of the seed in a whole hopper, per row. [N]
    margin_full_n : float
        What the setting leaves with the hopper full. [N]
    least_n, most_n : float
        The target's limits. [N]

    Notes
    -----
    The margin is `least_n` at this fill. Where it is more than `most_n` from full, filling to the
    fill that leaves `most_n` and refilling here keeps it inside: full − refill ≤ (most − least) /
    seed weight.

    Source
    ------
    Derived: the margin falls in a straight line with the seed

    Examples
    --------
    >>> round(refill_fill(1.0, 0.0, 90.0, 160.0, 96.0, 160.0), 2)  # 64 of 90 N may go
    0.29
    """
    if least_n >= most_n or most_n - least_n >= (fill_full - fill_refill) * full_hopper_n:
        return None
    wanted = fill_full - (margin_full_n - least_n) / full_hopper_n
    return wanted if fill_refill + _NOISE < wanted < fill_full - _NOISE else None
