"""What a zone asks of the row unit, and what it gets: Demand, Outcome, FieldOutcome."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from zoneplan.notices import Notice, notice
from zoneplan.rowunit.balance import downforce_needed_n, margin_left_n, weight_n
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.one_setting import RESOLUTION_N


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
