"""How the opener load goes with texture and with moisture: two ratios, never a level."""

import math
from functools import lru_cache

from zoneplan.soil.reference import AVAILABLE_SHARE, REFERENCE_ORGANIC_PCT, reference_soil
from zoneplan.soil.strength import strength_by_clay_kpa, strength_by_suction_kpa
from zoneplan.soil.water import suction_kpa
from zoneplan.terms import Moisture

SANDY_CLAY_FRAC, SANDY_RATIO = 0.05, 0.88
CLAYEY_CLAY_FRAC, CLAYEY_RATIO = 0.45, 1.12

# What strength_by_clay_kpa was fitted to (from memory); the equations are held at its ends.
LEAST_CLAY_FRAC, MOST_CLAY_FRAC = 0.06, 0.37


def texture_ratio(clay_frac: float) -> float:
    """Opener load of a moist soil over that of one with 25 % clay. [1 = the same].

    Parameters
    ----------
    clay_frac : float
        Clay by weight. [0 to 1]

    Notes
    -----
    A straight line from 0.88 at 5 % clay to 1.12 at 45 %, flat beyond: judged. The draft
    standard has 1 / 0.96 / 0.92 for seeding rows in fine, medium and coarse soil and
    1 / 0.88 / 0.78 for a disc harrow (from memory). A double disc cuts, as the harrow does,
    and those are draft, not load.

    Source
    ------
    Derived. Order and spread: ASABE D497.7, Table 1 (2011)

    Examples
    --------
    >>> round(texture_ratio(0.05), 2), round(texture_ratio(0.25), 2), round(texture_ratio(0.6), 2)
    (0.88, 1.0, 1.12)
    """
    along = (clay_frac - SANDY_CLAY_FRAC) / (CLAYEY_CLAY_FRAC - SANDY_CLAY_FRAC)
    return SANDY_RATIO + (CLAYEY_RATIO - SANDY_RATIO) * min(max(along, 0.0), 1.0)


@lru_cache(maxsize=4096)
def moisture_ratio(sand_frac: float, clay_frac: float, available_share: float) -> float:
    """Strength of a soil over that of the same soil when moist. [1 = the same].

    Parameters
    ----------
    sand_frac, clay_frac : float
        Shares of the fine earth by weight. [0 to 1]
    available_share : float
        Share of the available water that is there; see `AVAILABLE_SHARE`. [0 to 1]

    Raises
    ------
    OutOfRangeError
        Where sand and clay are not parts of one soil.

    Notes
    -----
    The geometric mean of two models' ratios. They differ in level by up to four times and
    agree on direction within one soil, so each is only compared with itself. Clay is held
    to 6 to 37 % in both and in the water under them. The soil is the texture's own at its
    usual density: what packs one texture tighter than another cancels.

    Source
    ------
    Derived, from Whalley et al. (2007) and da Silva & Kay (1997), see `soil.strength`

    Examples
    --------
    >>> round(moisture_ratio(0.40, 0.20, 0.35), 2)  # loam, dry
    1.74
    >>> moisture_ratio(0.40, 0.20, 0.75)
    1.0
    """
    by_suction, by_clay = _strengths_kpa(sand_frac, clay_frac, available_share)
    moist_by_suction, moist_by_clay = _strengths_kpa(
        sand_frac, clay_frac, AVAILABLE_SHARE[Moisture.MOIST]
    )
    return math.sqrt(by_suction / moist_by_suction * (by_clay / moist_by_clay))


def _strengths_kpa(
    sand_frac: float, clay_frac: float, available_share: float
) -> tuple[float, float]:
    """By suction and by clay."""
    soil = reference_soil(sand_frac, clay_frac, LEAST_CLAY_FRAC, MOST_CLAY_FRAC)
    water = soil.water(available_share)
    suction = suction_kpa(water, soil.wilting, soil.capacity)
    return (
        strength_by_suction_kpa(suction, water / soil.saturated, soil.density_mg_m3),
        strength_by_clay_kpa(soil.clay_frac, REFERENCE_ORGANIC_PCT, water, soil.density_mg_m3),
    )
