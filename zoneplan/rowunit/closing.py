"""The closing wheels: a load from the span of a trial, and the notch that comes nearest."""

from collections.abc import Sequence
from dataclasses import dataclass

from zoneplan.rowunit.machine import Notch
from zoneplan.terms import Moisture

# V-press loads with the best emergence in a trial of 89 to 356 N, in dry soil (cotton):
# Appl. Eng. Agric. 22(6):801-808 (2006), North Carolina State University.
BEST_DRY_N = (178.0, 267.0)
LIGHTEST_CLOSING_ABOVE = 0.5  # chance to smear
_NOISE = 1e-9


@dataclass(frozen=True)
class ClosingChoice:
    """One notch of the lever, and how it compares with what was wanted. [N]."""

    notch: Notch
    aim_n: float
    outside_best: bool  # a dry choice outside the best band of dry soil
    beside: Notch | None  # the next notch nearer to that band, where there is one


def choose_notch(
    notches: Sequence[Notch], aim_n: float, moisture: Moisture, smear: float
) -> ClosingChoice:
    """Choose the notch nearest to an aim by load.

    Parameters
    ----------
    notches : sequence of Notch
        The lever's, in any order; at least one.
    aim_n : float
        The rules'. [N]
    moisture, smear : Moisture, float
        The column and `smear_chance` there: past even odds the lightest notch.

    Notes
    -----
    Two notches as near as each other: the lighter. Only a dry choice is held against the
    best band, which is of dry soil; where it lies outside, the next notch is named that lies
    nearer to the band, if there is one.

    Source
    ------
    Derived

    Examples
    --------
    >>> lever = [Notch("1", 100.0), Notch("2", 200.0), Notch("3", 300.0)]
    >>> choose_notch(lever, 236.0, Moisture.DRY, 0.0).notch.name
    '2'
    """
    by_load = sorted(notches, key=lambda notch: notch.load_n)
    if smear > LIGHTEST_CLOSING_ABOVE:
        chosen = by_load[0]
    else:
        chosen = min(by_load, key=lambda notch: abs(notch.load_n - aim_n))
    return compared(by_load, chosen, aim_n, moisture)


def compared(
    notches: Sequence[Notch], chosen: Notch, aim_n: float, moisture: Moisture
) -> ClosingChoice:
    """Hold a chosen notch, by the rules or by a person, against the best band of dry soil."""
    beside = None
    outside_best = moisture is Moisture.DRY and outside_best_n(chosen.load_n) > _NOISE
    if outside_best:
        nearer = [
            notch
            for notch in notches
            if outside_best_n(notch.load_n) < outside_best_n(chosen.load_n) - _NOISE
        ]
        beside = min(nearer, key=lambda notch: abs(notch.load_n - chosen.load_n), default=None)
    return ClosingChoice(chosen, aim_n, outside_best, beside)


def outside_best_n(load_n: float) -> float:
    """How far a load lies outside the best band of dry soil; 0 inside. [N].

    >>> outside_best_n(300.0), outside_best_n(200.0)
    (33.0, 0.0)
    """
    least_n, most_n = BEST_DRY_N
    return max(least_n - load_n, load_n - most_n, 0.0)
