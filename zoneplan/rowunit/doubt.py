"""What is not known of the opener load, carried to the margin that a setting leaves.

The logarithm of the opener load is normal about the model's. From that come the chances
that a margin lies inside its window, and how often the wheels lift and seed lies shallow.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

from zoneplan.rowunit.opener_load import DEPTH_EXPONENT
from zoneplan.rowunit.swing import Swing
from zoneplan.units import N_PER_LBF

# Judged standard deviations of ln R: of a field's level, of a moisture column (columns are
# alike by half) and of one zone.
FIELD_SD, MOISTURE_SD, ZONE_SD = 0.25, 0.15, 0.10
MOISTURE_CORRELATION = 0.5
UNCHECKED_SD = math.sqrt(FIELD_SD**2 + MOISTURE_SD**2 + ZONE_SD**2)  # 0.308

# Gauss and Legendre's three points: share of the way from refill to full, and weight.
FILL_POINTS = ((0.1127, 5 / 18), (0.5, 8 / 18), (0.8873, 5 / 18))

_NORMAL = NormalDist()
_SQRT2 = math.sqrt(2)
_RANGE_Z = _NORMAL.inv_cdf(0.9)  # a tenth lies past either end of a range
QUANTILES = 9
_QUANTILE_Z = tuple(_NORMAL.inv_cdf((at + 0.5) / QUANTILES) for at in range(QUANTILES))

LEAST_HALF_WINDOW_N = 10 * N_PER_LBF  # either side of the ceiling, where there is no window
SHALLOW_M = 0.010  # judged: seed so much above its depth is shallow
_NOISE = 1e-9


@dataclass(frozen=True)
class Row:
    """One row unit in one soil at one moisture. Loads per row. [N]."""

    weight_full_n: float
    weight_refill_n: float
    closing_load_n: float
    attachments_load_n: float
    opener_load_n: float  # the model's, or as checked
    sd_ln: float = UNCHECKED_SD  # of its logarithm; 0 where the hopper alone is asked about

    def resting_n(self, fill_way: float) -> float:
        """What it brings to opener and gauge wheels with no downforce, from refill to full. [N]."""
        seed_n = self.weight_full_n - self.weight_refill_n
        weight_n = self.weight_refill_n + fill_way * seed_n
        return weight_n - self.closing_load_n - self.attachments_load_n

    def chance_below(self, opener_load_n: float) -> float:
        """Chance that the opener load is less than that. [0 to 1]."""
        if opener_load_n <= 0:
            return 0.0
        if self.sd_ln == 0:
            return float(opener_load_n > self.opener_load_n)
        return chance_under(math.log(opener_load_n / self.opener_load_n) / self.sd_ln)


@dataclass(frozen=True)
class Chances:
    """Chances that a margin is right, too light or too heavy: 1 together."""

    right: float
    light: float
    heavy: float


# The margin left at how full from refill to full [0 to 1], and at an opener load. [N]
MarginLeft = Callable[[float, float], float]


def setting_margin(row: Row, downforce_n: float) -> MarginLeft:
    """Give the margin that a held setting leaves.

    Source
    ------
    Derived: statics. See "The force balance" in DEVELOPERS.md.
    """
    return lambda fill_way, opener_n: row.resting_n(fill_way) + downforce_n - opener_n


def held_margin(row: Row, target_n: float, reach_n: tuple[float, float]) -> MarginLeft:
    """Give the margin that a system which holds one leaves, as far as its downforce reaches.

    Parameters
    ----------
    row, target_n : Row, float
        The unit, and the margin that is asked for. [N]
    reach_n : (float, float)
        Least and most downforce; negative is lift. [N]
    """
    least_n, most_n = reach_n

    def left_n(fill_way: float, opener_n: float) -> float:
        bare_n = row.resting_n(fill_way) - opener_n
        return bare_n + min(max(target_n - bare_n, least_n), most_n)

    return left_n


def window_n(least_n: float, most_n: float) -> tuple[float, float]:
    """Give the margins that count as right: least to most. [N].

    Where the soil bears less than contact asks, no margin is both: 10 lb either side of the
    ceiling, which is then the target.
    """
    if least_n < most_n:
        return least_n, most_n
    return most_n - LEAST_HALF_WINDOW_N, most_n + LEAST_HALF_WINDOW_N


def setting_chances_at(
    row: Row, fill_way: float, downforce_n: float, least_n: float, most_n: float
) -> Chances:
    """Chances of a held setting at one fill of the hopper.

    Parameters
    ----------
    row : Row
        The unit in its soil.
    fill_way : float
        How full, from refill to full. [0 to 1]
    downforce_n, least_n, most_n : float
        What is set, and the target's limits. [N]

    Source
    ------
    Derived: the margin is over the limit where the opener load is under what is left for it

    Examples
    --------
    >>> lb = N_PER_LBF
    >>> row = Row(294.6 * lb, 205 * lb, 40 * lb, 0.0, 150.2 * lb)
    >>> chances = setting_chances_at(row, 1.0, 55 * lb, 96 * lb, 160 * lb)
    >>> round(chances.right, 2), round(chances.light, 2), round(chances.heavy, 2)
    (0.38, 0.13, 0.49)
    """
    least_n, most_n = window_n(least_n, most_n)
    carried_n = row.resting_n(fill_way) + downforce_n
    heavy = row.chance_below(carried_n - most_n)
    light = 1 - row.chance_below(carried_n - least_n)
    return Chances(max(0.0, 1 - light - heavy), light, heavy)


def setting_chances(
    row: Row, downforces_n: Sequence[float], least_n: float, most_n: float
) -> Chances:
    """Chances of a held setting, over the hopper from full to refill.

    Parameters
    ----------
    row, least_n, most_n : Row, float, float
        As for `setting_chances_at`.
    downforces_n : sequence of float
        What is set; with a pressure that drifts, what half the drift less and half the
        drift more give, each as likely. [N]
    """
    at_fills = [
        (setting_chances_at(row, way, downforce_n, least_n, most_n), weight / len(downforces_n))
        for way, weight in FILL_POINTS
        for downforce_n in downforces_n
    ]
    return mean_chances(at_fills)


def hopper_right_share(row: Row, downforce_n: float, least_n: float, most_n: float) -> float:
    """Share of the way from full to refill that lies inside the window, were R known. [0 to 1].

    Parameters
    ----------
    row, downforce_n, least_n, most_n : Row, float, float, float
        As for `setting_chances_at`.

    Source
    ------
    Derived: the margin falls in a straight line with the seed
    """
    least_n, most_n = window_n(least_n, most_n)
    full_n, refill_n = (row.resting_n(way) + downforce_n - row.opener_load_n for way in (1.0, 0.0))
    seed_n = full_n - refill_n
    if seed_n <= _NOISE:
        return float(least_n <= full_n <= most_n)
    return max(0.0, min(full_n, most_n) - max(refill_n, least_n)) / seed_n


def held_chances(row: Row, target_n: float, reach_n: tuple[float, float]) -> Chances:
    """Chances that a system which holds a margin can hold it, over the hopper.

    Parameters
    ----------
    row, target_n, reach_n : Row, float, (float, float)
        As for `held_margin`.

    Returns
    -------
    Chances
        `right` where the need is within reach, `light` past its most, `heavy` below its least.
    """
    return mean_chances(
        [(held_chances_at(row, way, target_n, reach_n), weight) for way, weight in FILL_POINTS]
    )


def held_chances_at(
    row: Row, fill_way: float, target_n: float, reach_n: tuple[float, float]
) -> Chances:
    """Chances that a margin can be held at one fill of the hopper; see `held_chances`."""
    least_n, most_n = reach_n
    spare_n = row.resting_n(fill_way) - target_n
    heavy = row.chance_below(spare_n + least_n)
    light = 1 - row.chance_below(spare_n + most_n)
    return Chances(max(0.0, 1 - light - heavy), light, heavy)


def mean_chances(parts: Sequence[tuple[Chances, float]]) -> Chances:
    """Mean of chances by weight: over fills, or over zones by area."""
    total = sum(weight for _, weight in parts)
    return Chances(
        right=sum(chances.right * weight for chances, weight in parts) / total,
        light=sum(chances.light * weight for chances, weight in parts) / total,
        heavy=sum(chances.heavy * weight for chances, weight in parts) / total,
    )


def contact_at(row: Row, fill_way: float, margin_left: MarginLeft, swing: Swing) -> float:
    """Share of the time that the gauge wheels carry load at one fill. [0 to 1].

    Parameters
    ----------
    row, fill_way : Row, float
        As for `setting_chances_at`.
    margin_left : MarginLeft
        The margin that is left, from `setting_margin` or `held_margin`.
    swing : Swing
        Of the gauge-wheel load on this ground.

    Notes
    -----
    The mean over nine quantiles of the opener load: at its median alone lifted wheels are
    told too rarely, as a hard soil takes margin and adds swing at once.

    Source
    ------
    Derived: Φ(margin / swing), if the load swings normally
    """
    return _mean_share(row, swing, lambda opener_n: margin_left(fill_way, opener_n))


def shallow_at(
    row: Row, fill_way: float, margin_left: MarginLeft, swing: Swing, depth_m: float
) -> float:
    """Share of the seed that lies more than 10 mm too shallow at one fill. [0 to 1].

    Parameters
    ----------
    row, fill_way, margin_left, swing : Row, float, MarginLeft, Swing
        As for `contact_at`.
    depth_m : float
        Planting depth, above 10 mm. [m]

    Notes
    -----
    Lifting by 10 mm relieves the opener by 0.9 R / depth × 10 mm, so the swing must take the
    margin and that. Judged: the unit follows the load at once.

    Source
    ------
    Derived from the depth's exponent in the opener load
    """
    relief = DEPTH_EXPONENT * SHALLOW_M / depth_m
    return _mean_share(
        row, swing, lambda opener_n: -(margin_left(fill_way, opener_n) + relief * opener_n)
    )


def _mean_share(row: Row, swing: Swing, load_n: Callable[[float], float]) -> float:
    """Share of the time that a load which swings so is above 0: the mean over the quantiles."""
    shares = [chance_under(load_n(opener_n) / swing_n) for opener_n, swing_n in _felt(row, swing)]
    return sum(shares) / QUANTILES


def over_fills(share_at: Callable[[float], float]) -> float:
    """Mean of a share over the hopper, from refill to full.

    Examples
    --------
    >>> round(over_fills(lambda fill_way: fill_way**2), 4)  # a third
    0.3333
    """
    return sum(weight * share_at(way) for way, weight in FILL_POINTS)


def opener_quantiles_n(row: Row) -> list[float]:
    """Nine opener loads, each as likely as the next, the median in the middle. [N]."""
    return [row.opener_load_n * math.exp(row.sd_ln * z) for z in _QUANTILE_Z]


@lru_cache(maxsize=64)
def _felt(row: Row, swing: Swing) -> tuple[tuple[float, float], ...]:
    """The nine opener loads, and the swing at each. [N]."""
    return tuple((opener_n, swing.at_n(opener_n)) for opener_n in opener_quantiles_n(row))


def chance_under(z: float) -> float:
    """Chance that a standard normal is less than that. [0 to 1].

    >>> chance_under(0.0)
    0.5
    """
    return 0.5 * (1.0 + math.erf(z / _SQRT2))


def sd_of_range(least_n: float, most_n: float) -> float:
    """Standard deviation of the logarithm of an opener load, from `opener_range_n`.

    Examples
    --------
    >>> round(sd_of_range(*opener_range_n(Row(0, 0, 0, 0, 150.0, sd_ln=0.2))), 3)
    0.2
    """
    return math.log(most_n / least_n) / (2 * _RANGE_Z)


def opener_range_n(row: Row) -> tuple[float, float]:
    """Range that holds the opener load on 8 of 10 fields. [N].

    Examples
    --------
    >>> [round(load_n) for load_n in opener_range_n(Row(0, 0, 0, 0, 150.0))]
    [101, 223]
    """
    away = row.sd_ln * _RANGE_Z
    return row.opener_load_n * math.exp(-away), row.opener_load_n * math.exp(away)
