"""What a zone asks of the row unit, and what it gets: Need, Answer, FieldAnswer."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from zoneplan.rowunit.balance import downforce_needed_n, margin_left_n, weight_n
from zoneplan.rowunit.fixed import RESOLUTION_N
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.words import downforce, load


@dataclass(frozen=True)
class Need:
    """What one zone asks of the row unit at one wetness. Loads are per row."""

    area_ha: float
    margin_n: float  # the target
    opener_load_n: float
    closing_load_n: float
    width_m: float | None = None  # across the passes, where it is narrowest
    length_m: float | None = None  # along the passes


@dataclass(frozen=True)
class Answer:
    """What the system does for one zone."""

    downforce_full_n: float  # needed with the hopper full; negative is lift
    downforce_refill_n: float
    setting: float | None  # N (spring position, margin target) or kPa (set air)
    reached: bool  # within RESOLUTION_N of the target, with the hopper full and at refill
    margin_full_n: float  # what the setting really leaves
    margin_refill_n: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class FieldAnswer:
    """What the system does for every zone of a field."""

    best: float | None  # the field's one setting; None where the system holds a margin
    answers: tuple[Answer, ...]  # in the order of the needs
    notes: tuple[str, ...]


def downforce_at_fill_n(machine: Machine, need: Need, fill: float) -> float:
    """Downforce that leaves the zone's target at one fill of the hopper. [N]."""
    return downforce_needed_n(
        need.margin_n, need.opener_load_n, need.closing_load_n, weight_n(machine, fill)
    )


def settled_answer(
    machine: Machine,
    need: Need,
    setting: float,
    given_n: tuple[float, float],
    warnings: Iterable[str],
    *,
    tell_gap: bool = True,
) -> Answer:
    """Work out the margins that a zone is left with, and say where they miss the target.

    Parameters
    ----------
    machine, need : Machine, Need
        Who asks what.
    setting : float
        What is set, in the machine's setting unit.
    given_n : (float, float)
        Downforce that the setting gives with the hopper full, and at refill. [N]
    warnings : iterable of str
        Said after the margins.
    tell_gap : bool
        False where only the seed moves the margin, which is told once for the field.
    """
    full_n = downforce_at_fill_n(machine, need, machine.fill_full)
    refill_n = downforce_at_fill_n(machine, need, machine.fill_refill)
    margin_full_n, margin_refill_n = (
        margin_left_n(weight_n(machine, fill), given, need.opener_load_n, need.closing_load_n)
        for fill, given in zip((machine.fill_full, machine.fill_refill), given_n, strict=True)
    )
    gaps_n = (margin_full_n - need.margin_n, margin_refill_n - need.margin_n)
    reached = max(abs(gap_n) for gap_n in gaps_n) <= RESOLUTION_N
    said = []
    if tell_gap and not reached:
        said.append(
            f"Target {load(need.margin_n)}: the margin is {load(margin_full_n)} with the hopper "
            f"full, {_gap_words(gaps_n[0])}, and {load(margin_refill_n)} at refill, "
            f"{_gap_words(gaps_n[1])}."
        )
    if min(margin_full_n, margin_refill_n) < 0:
        said.append("A margin below nothing: the openers float and seed lies shallow.")
    return Answer(
        downforce_full_n=full_n,
        downforce_refill_n=refill_n,
        setting=setting,
        reached=reached,
        margin_full_n=margin_full_n,
        margin_refill_n=margin_refill_n,
        warnings=(*said, *warnings),
    )


def out_of_reach(needed_n: Sequence[float], least_n: float, most_n: float) -> list[str]:
    """Say what a system cannot give of some downforces: a sentence for each end passed.

    >>> out_of_reach([-890.0], least_n=0.0, most_n=1779.0)
    ['Out of reach: needs 200 lb (890 N) of lift, and the machine cannot lift.']
    """
    said = []
    if max(needed_n) > most_n + RESOLUTION_N:
        said.append(
            f"Out of reach: needs {downforce(max(needed_n))}, and the machine gives at most "
            f"{downforce(most_n)}."
        )
    if min(needed_n) < least_n - RESOLUTION_N:
        least = f"gives at least {downforce(least_n)}"
        if least_n <= 0:
            least = f"lifts at most {load(-least_n)}" if least_n < 0 else "cannot lift"
        said.append(f"Out of reach: needs {downforce(min(needed_n))}, and the machine {least}.")
    return said


def _gap_words(gap_n: float) -> str:
    if abs(gap_n) <= RESOLUTION_N:
        return "as wanted"
    return f"a shortfall of {load(-gap_n)}" if gap_n < 0 else f"an excess of {load(gap_n)}"
