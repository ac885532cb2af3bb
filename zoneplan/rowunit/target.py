"""The margin target: a rule's aim, scaled by the swing, lifted to least and held at most."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from zoneplan.terms import Moisture
from zoneplan.units import MPS_PER_MPH, N_PER_LBF

LEAST_SWINGS = 1.75  # on the ground 96 % of the time: common practice, no source
STEADY_SWINGS = 2.05  # 98 %
STEP_N = 5 * N_PER_LBF  # what a target is rounded to

# Judged: nearing its plastic limit, from odds of .2 to .8, any soil bears no more than this.
SMEARING_MOST_N = 110 * N_PER_LBF
SLIDES_FROM, SLIDES_OVER = 0.2, 0.6

SLOWEST_MPS = 3 * MPS_PER_MPH  # nobody plants slower to hold a margin
ENOUGH_SHARE = 0.90  # judged: contact under which a crossed window has no good number
# Judged, common practice, no source: half the swing of tilled ground. So far below the least the
# wheels are off the ground one round in ten.
FAR_N = 25 * N_PER_LBF
_NOISE = 1e-9
_NORMAL = NormalDist()

GaveWay = Literal["least", "most"]


@dataclass(frozen=True)
class Target:
    """A margin target and its window, rounded, with what was done to the aim. [N]."""

    margin_n: float
    least_n: float
    most_n: float
    lifted: bool  # to least
    capped: bool  # at most
    gave_way: GaveWay | None  # least, where least > most: the soil bears no more


def margin_target(aim_n: float, swing_n: float, reference_swing_n: float, most_n: float) -> Target:
    """Work out what load to leave on the gauge wheels.

    Parameters
    ----------
    aim_n : float
        The base rule's, for tilled, level, bare ground at 5 mph and 2 in. [N]
    swing_n : float
        Standard deviation of the gauge-wheel load here. [N]
    reference_swing_n : float
        That of the same soil at the same moisture on the rule's ground. [N, above 0]
    most_n : float
        What the soil bears, from `slid_most_n`. [N]

    Notes
    -----
    Scaled by the swing an aim keeps its contact. Limits and target are rounded to 5 lb and
    then compared: what is printed agrees with itself.

    Source
    ------
    Derived; 96 % of the time on the ground is common practice, no source

    Examples
    --------
    In pounds: aim 105, swing 60 where the rule's ground has 50, ceiling 160.

    >>> lb = N_PER_LBF
    >>> target = margin_target(105 * lb, 60 * lb, 50 * lb, 160 * lb)
    >>> [round(load_n / lb) for load_n in (target.least_n, target.margin_n, target.most_n)]
    [105, 125, 160]
    """
    scaled_n = rounded_n(aim_n * swing_n / reference_swing_n)
    least_n, most_n = rounded_n(LEAST_SWINGS * swing_n), rounded_n(most_n)
    margin_n = min(max(scaled_n, least_n), most_n)
    return Target(
        margin_n=margin_n,
        least_n=least_n,
        most_n=most_n,
        lifted=scaled_n < least_n <= most_n,
        capped=max(scaled_n, least_n) > most_n,
        gave_way=gave_way(margin_n, least_n, most_n),
    )


def exact_target_n(aim_n: float, swing_n: float, reference_swing_n: float, most_n: float) -> float:
    """The target of `margin_target`, not rounded: what draws zones. [N].

    >>> exact_target_n(105.0, 60.0, 50.0, 160.0)
    126.0
    """
    return min(max(aim_n * swing_n / reference_swing_n, LEAST_SWINGS * swing_n), most_n)


def gave_way(margin_n: float, least_n: float, most_n: float) -> GaveWay | None:
    """Which limit a margin does not keep, a person's number too; `None` inside both.

    >>> gave_way(110, 125, 110), gave_way(200, 100, 160), gave_way(120, 100, 160)
    ('least', 'most', None)
    """
    if margin_n < least_n - _NOISE:
        return "least"
    return "most" if margin_n > most_n + _NOISE else None


def far_outside(margin_n: float, least_n: float, most_n: float) -> bool:
    """Whether a person's number lies so far outside the window that it may be a slip.

    Parameters
    ----------
    margin_n : float
        The number. [N]
    least_n, most_n : float
        The window; where they cross, whatever lies between them is near. [N]

    Source
    ------
    Judged, common practice, no source: `FAR_N`

    Examples
    --------
    >>> lb = N_PER_LBF
    >>> [far_outside(pounds * lb, 90 * lb, 140 * lb) for pounds in (60, 65, 165, 170)]
    [True, False, False, True]
    """
    low_n, high_n = sorted((least_n, most_n))
    return margin_n < low_n - FAR_N - _NOISE or margin_n > high_n + FAR_N + _NOISE


def slide(smear: float) -> float:
    """How near a soil is to its plastic limit: 0 at a chance to smear of .2, 1 at .8.

    >>> round(slide(0.5), 2)
    0.5
    """
    return min(max((smear - SLIDES_FROM) / SLIDES_OVER, 0.0), 1.0)


def slid_most_n(most_n: float, smear: float) -> float:
    """What a soil bears, less as it nears its plastic limit. [N].

    Parameters
    ----------
    most_n : float
        The rule's ceiling, the mean over the soil's texture classes. [N]
    smear : float
        `smear_chance` of the soil at that moisture. [0 to 1]

    Source
    ------
    Judged. Direction: Hanna (2008), Iowa State University; Jasa (2007, 2010), University of
    Nebraska Extension

    Examples
    --------
    >>> round(slid_most_n(160 * N_PER_LBF, 0.5) / N_PER_LBF)  # half of the 50 lb over 110
    135
    """
    return most_n - max(most_n - SMEARING_MOST_N, 0.0) * slide(smear)


def light_to_heavy(moisture: Moisture, smear: float) -> float:
    """What a pound too light costs, in pounds too heavy. [ratio].

    Parameters
    ----------
    moisture, smear : Moisture, float
        The column and `smear_chance` there.

    Source
    ------
    Judged: shallow seed costs about twice what a packed furrow does, as much on wet ground,
    and half as much where the furrow smears

    Examples
    --------
    >>> light_to_heavy(Moisture.MOIST, 0.1), light_to_heavy(Moisture.WET, 0.9)
    (2.0, 0.5)
    """
    along = slide(smear)
    return float(2.0**-along if moisture is Moisture.WET else 2 * 4.0**-along)


def steady_speed_mps(
    margin_n: float, planned_mps: float, swing_n_at: Callable[[float], float]
) -> float | None:
    """Fastest speed at which a margin keeps the wheels down 96 % of the time. [m/s].

    `None` below 3 mph: no planter is slowed so far.

    Parameters
    ----------
    margin_n : float
        The margin that is held. [N]
    planned_mps : float
        No faster answer is looked for. [m/s]
    swing_n_at : callable
        Swing at a speed, opener load and bounce together: it never falls with speed. [N]

    Source
    ------
    Derived: halving the span until 1 mm/s is left

    Examples
    --------
    >>> speed = steady_speed_mps(175.0, 5.0, lambda speed_mps: 50.0 + 20.0 * speed_mps)
    >>> round(speed, 2)  # 175 / 1.75 = 100 N of swing
    2.5
    """

    def steady(speed_mps: float) -> bool:
        return LEAST_SWINGS * swing_n_at(speed_mps) <= margin_n + _NOISE

    if steady(planned_mps):
        return planned_mps
    if planned_mps <= SLOWEST_MPS or not steady(SLOWEST_MPS):
        return None
    slow_mps, fast_mps = SLOWEST_MPS, planned_mps
    while fast_mps - slow_mps > 0.001:
        middle_mps = (slow_mps + fast_mps) / 2
        if steady(middle_mps):
            slow_mps = middle_mps
        else:
            fast_mps = middle_mps
    return slow_mps


def rounded_n(load_n: float) -> float:
    """Round a load to whole steps of 5 lb, halves up. [N].

    >>> round(rounded_n(97.5 * N_PER_LBF) / N_PER_LBF)
    100
    """
    return math.floor(load_n / STEP_N + 0.5 + _NOISE) * STEP_N


def contact_share(margin_n: float, swing_n: float) -> float:
    """Share of the time the gauge wheels carry load. [0 to 1].

    Parameters
    ----------
    margin_n : float
        Mean load on the gauge wheels. [N]
    swing_n : float
        Its standard deviation. [N]

    Notes
    -----
    That the load swings normally is an assumption.

    Source
    ------
    Derived: Φ(margin / swing), the normal distribution's share above zero.

    Examples
    --------
    >>> round(contact_share(105, 60), 2)
    0.96
    """
    return _NORMAL.cdf(margin_n / swing_n)
