"""What hand checks in the field make of the modelled opener loads, each by its worth.

The logarithm of every opener load is the model's plus what is not known: one number for the
field, one for each moisture column, one for each zone. A check on one zone in one column
moves all of them, as far as they share what was found. See "Hand checks" in DEVELOPERS.md.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.doubt import FIELD_SD, MOISTURE_CORRELATION, MOISTURE_SD, ZONE_SD
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF, to

SPOT_SD = 0.15  # judged: of ln R between two spots of one zone
LOAD_ERROR_N = 20 * N_PER_LBF  # judged: of a margin told by hand or on a scale

# Judged: margins at which a gauge wheel begins to want firm drag to turn, and will not turn;
# and how sharply a hand tells each.
FREE_BELOW_N, FREE_ERROR_N = 40 * N_PER_LBF, 20 * N_PER_LBF
STUCK_ABOVE_N, STUCK_ERROR_N = 200 * N_PER_LBF, 40 * N_PER_LBF

LEAST_CHANCE = 0.01  # of an answer: less does not fit what else is known

_COLUMNS = tuple(Moisture)
_NORMAL = NormalDist()
Array = NDArray[np.float64]


class Feel(StrEnum):
    """How a gauge wheel turns by hand, the planter stopped and lowered."""

    FREE = "spins freely"
    FIRM = "turns with firm drag"
    STUCK = "will not turn"


@dataclass(frozen=True)
class LoadCheck:
    """An opener load that was found: weight and downforce less what the wheels carried."""

    zone: int  # its place in the model's loads, from 0
    moisture: Moisture
    opener_load_n: float
    spots: int = 1  # that it is the mean of


@dataclass(frozen=True)
class FeelCheck:
    """Answers on one spot, at one setting or at several."""

    zone: int
    moisture: Moisture
    answers: tuple[tuple[float, Feel], ...]  # weight + downforce − closing − attachments [N]


@dataclass(frozen=True)
class Checked:
    """Opener loads and their doubt after the checks; rows are zones, columns the moistures."""

    opener_load_n: Array  # shape (zones, 3), dry to wet
    sd_ln: Array  # shape (zones, 3)
    lifted: tuple[tuple[int, Moisture], ...]  # raised so that dry ≥ moist ≥ wet
    refused: tuple[int, ...]  # places of the feel checks that fit nothing: they moved nothing


@dataclass(frozen=True)
class _State:
    """Mean and covariance of (field, dry, moist, wet, zone 1 to zone Z)."""

    mean: Array
    covariance: Array


def after_checks(
    opener_load_n: Sequence[Sequence[float]],
    loads: Sequence[LoadCheck] = (),
    feels: Sequence[FeelCheck] = (),
) -> Checked:
    """Bring the modelled opener loads up to date with what was found by hand.

    Parameters
    ----------
    opener_load_n : array of shape (zones, 3)
        The model's, dry, moist and wet, standing: the unit is stopped when it is looked at,
        so speed multiplies what comes out. [N, above 0]
    loads, feels : sequence
        What was found, in any order; loads count first.

    Returns
    -------
    Checked
        With no check, the loads as they came and the doubt of an unchecked field.

    Raises
    ------
    OutOfRangeError
        Where a load check leaves nothing for the openers to carry.

    Notes
    -----
    A load is worth more on more spots and against a heavier opener. An answer says only
    between which loads the opener's lies: a bracket, free at one setting and firm at the
    next, is worth as much as scales.

    Source
    ------
    Derived: the linear normal update (Kalman), and for answers the first two moments of a
    normal between two bounds

    Examples
    --------
    >>> check = LoadCheck(zone=0, moisture=Moisture.MOIST, opener_load_n=200.0 * N_PER_LBF)
    >>> checked = after_checks([[250.0 * N_PER_LBF, 150.0 * N_PER_LBF, 111.0 * N_PER_LBF]], [check])
    >>> [round(load_n / N_PER_LBF) for load_n in checked.opener_load_n[0]]
    [299, 184, 133]
    """
    model_n = np.array(opener_load_n, float).reshape(-1, len(_COLUMNS))
    state = _unchecked(len(model_n))
    for load in loads:
        state = _with_load(state, model_n, load)
    refused = []
    for place, feel in enumerate(feels):
        after = _with_feel(state, model_n, feel)
        if after is None:
            refused.append(place)
        else:
            state = after

    checked_n, sd_ln = np.empty_like(model_n), np.empty_like(model_n)
    for zone in range(len(model_n)):
        for column, moisture in enumerate(_COLUMNS):
            picks = _picks(state, zone, moisture)
            checked_n[zone, column] = model_n[zone, column] * math.exp(float(picks @ state.mean))
            sd_ln[zone, column] = math.sqrt(float(picks @ state.covariance @ picks))
    # What is drier is lifted to what is wetter where it came out below.
    ordered_n = np.maximum.accumulate(checked_n[:, ::-1], axis=1)[:, ::-1]
    lifted = tuple(
        (int(zone), _COLUMNS[column])
        for zone, column in np.argwhere(ordered_n > checked_n * (1 + 1e-12))
    )
    return Checked(ordered_n, sd_ln, lifted, tuple(refused))


def _bounds(
    answers: Sequence[tuple[float, Feel]],
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and most opener load, each with how sharply a hand tells it. [N]."""
    least, most = (-math.inf, FREE_ERROR_N), (math.inf, STUCK_ERROR_N)
    for resting_n, feel in answers:
        not_free, not_stuck = resting_n - FREE_BELOW_N, resting_n - STUCK_ABOVE_N
        if feel is Feel.FREE:  # margin under 40 lb: the opener carries all but that, or more
            least = max(least, (not_free, FREE_ERROR_N))
        elif feel is Feel.STUCK:
            most = min(most, (not_stuck, STUCK_ERROR_N))
        else:
            least = max(least, (not_stuck, STUCK_ERROR_N))
            most = min(most, (not_free, FREE_ERROR_N))
    return least, most


def _unchecked(zones: int) -> _State:
    size = 1 + len(_COLUMNS) + zones
    covariance = np.diag([FIELD_SD**2, *[0.0] * len(_COLUMNS), *[ZONE_SD**2] * zones])
    alike = np.full((len(_COLUMNS), len(_COLUMNS)), MOISTURE_CORRELATION)
    np.fill_diagonal(alike, 1.0)
    covariance[1 : 1 + len(_COLUMNS), 1 : 1 + len(_COLUMNS)] = MOISTURE_SD**2 * alike
    return _State(np.zeros(size), covariance)


def _picks(state: _State, zone: int, moisture: Moisture) -> Array:
    """Ones at what a zone and a column share in: h of the update."""
    picks = np.zeros(len(state.mean))
    picks[[0, 1 + _COLUMNS.index(moisture), 1 + len(_COLUMNS) + zone]] = 1.0
    return picks


def _with_load(state: _State, model_n: Array, check: LoadCheck) -> _State:
    if not check.opener_load_n > 0:
        raise OutOfRangeError(
            f"The check in zone {check.zone + 1}, {check.moisture}, leaves "
            f"{to(check.opener_load_n, 'lb', 'force'):.0f} lb for the openers: the gauge and "
            "closing wheels carry all of the weight and downforce. An opener in soil is always "
            "pushed up: check the loads, the fill and the setting."
        )
    modelled_n = model_n[check.zone, _COLUMNS.index(check.moisture)]
    picks = _picks(state, check.zone, check.moisture)
    shared = state.covariance @ picks
    variance = float(picks @ shared) + _noise(modelled_n, LOAD_ERROR_N) / check.spots
    log_ratio = math.log(check.opener_load_n / modelled_n)
    return _State(
        state.mean + shared * (log_ratio - float(picks @ state.mean)) / variance,
        state.covariance - np.outer(shared, shared) / variance,
    )


def _with_feel(state: _State, model_n: Array, check: FeelCheck) -> _State | None:
    """Bring a state up to date with answers; None where they hardly can be."""
    modelled_n = model_n[check.zone, _COLUMNS.index(check.moisture)]
    picks = _picks(state, check.zone, check.moisture)
    shared = state.covariance @ picks
    own, expected = float(picks @ shared), float(picks @ state.mean)
    bounds = _bounds(check.answers)
    (least_n, _), (most_n, _) = bounds
    if most_n <= 0 or least_n >= most_n:
        return None

    # One spread for both bounds, that of the blunter: the normal between two bounds.
    errors_n = [error_n for bound_n, error_n in bounds if 0 < bound_n < math.inf]
    if not errors_n:
        return state  # between nothing and anything
    sd = math.sqrt(own + _noise(modelled_n, max(errors_n)))
    from_z = (math.log(least_n / modelled_n) - expected) / sd if least_n > 0 else -math.inf
    to_z = (math.log(most_n / modelled_n) - expected) / sd if most_n < math.inf else math.inf
    chance = _NORMAL.cdf(to_z) - _NORMAL.cdf(from_z)
    if chance < LEAST_CHANCE:
        return None
    from_pdf, to_pdf = _NORMAL.pdf(from_z), _NORMAL.pdf(to_z)
    shift = (from_pdf - to_pdf) / chance
    from_moment = from_z * from_pdf if least_n > 0 else 0.0
    to_moment = to_z * to_pdf if most_n < math.inf else 0.0
    left_share = 1 + (from_moment - to_moment) / chance - shift**2  # of the variance
    return _State(
        state.mean + shared * shift / sd,
        state.covariance - np.outer(shared, shared) * (1 - left_share) / sd**2,
    )


def _noise(modelled_n: float, error_n: float) -> float:
    """Variance of ln R on one spot: from spot to spot, and of the finding. [-]."""
    return SPOT_SD**2 + (error_n / float(modelled_n)) ** 2
