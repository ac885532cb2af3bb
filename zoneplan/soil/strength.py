"""How hard a soil pushes back on an opener: always against another soil, never as a level.

Two published models are at hand, and what the opener load makes of them: it goes with texture
and with moisture by two ratios. The models agree that a drier and a denser soil is harder, and
differ in the level by up to four times. Neither was fitted to the loose top 5 cm. So a
strength is only ever used as a ratio to one reference state, within each model.
"""

import math
from functools import lru_cache

from zoneplan.errors import OutOfRangeError
from zoneplan.soil.water import (
    AVAILABLE_SHARE,
    REFERENCE_ORGANIC_PCT,
    reference_soil,
    suction_kpa,
)
from zoneplan.terms import Moisture
from zoneplan.units import percent

# What strength_by_clay_kpa may be asked.
LEAST_CLAY_FRAC = 0.05
MOST_CLAY_FRAC = 0.37
MOST_CARBON_PCT = 4.0
# From where it was fitted (from memory); `moisture_ratio` holds clay between here and its most.
LEAST_FITTED_CLAY_FRAC = 0.06

SANDY_CLAY_FRAC, SANDY_RATIO = 0.05, 0.88
CLAYEY_CLAY_FRAC, CLAYEY_RATIO = 0.45, 1.12

_NOISE = 1e-9


def organic_carbon_pct(organic_pct: float) -> float:
    """Organic carbon in a soil's organic matter, by weight of soil. [%].

    Source
    ------
    National Soil Survey Handbook 618.44

    Examples
    --------
    >>> round(organic_carbon_pct(2.5), 2)
    1.45
    """
    return organic_pct / 1.724


def strength_by_clay_kpa(
    clay_frac: float, organic_pct: float, water: float, density_mg_m3: float
) -> float:
    """Resistance to a cone, from clay, organic matter, water and density. [kPa].

    Parameters
    ----------
    clay_frac : float
        Clay by weight. [0.05 to 0.37]
    organic_pct : float
        Organic matter by weight, of which 4 % may be carbon. [%, 0 to 6.9]
    water : float
        Water by volume. [m³/m³]
    density_mg_m3 : float
        Bulk density. [Mg/m³]

    Raises
    ------
    OutOfRangeError
        Past 37 % clay, where it makes a dry clay softer than a dry sand; under 5 % clay or
        past 4 % organic carbon, where it can make a soil harder as it gets wetter.

    Notes
    -----
    Clay and organic carbon go in as percentages. Fitted to Ontario soils of about 6 to 37 %
    clay and 1 to 4 % organic carbon (the range from memory). With less carbon it still
    behaves, and is not refused.

    Source
    ------
    da Silva & Kay (1997), Soil Sci. Soc. Am. J. 61:877-883

    Examples
    --------
    >>> round(strength_by_clay_kpa(0.20, 2.0 * 1.724, 0.25, 1.30))
    1004
    """
    clay, carbon = 100 * clay_frac, organic_carbon_pct(organic_pct)
    if not (
        LEAST_CLAY_FRAC - _NOISE <= clay_frac <= MOST_CLAY_FRAC + _NOISE
        and carbon <= MOST_CARBON_PCT
    ):
        raise OutOfRangeError(
            f"Strength cannot be had from {percent(clay_frac)} clay and {organic_pct:g} % organic "
            f"matter: the equation was fitted from {percent(LEAST_CLAY_FRAC)} to "
            f"{percent(MOST_CLAY_FRAC)} clay and up to {MOST_CARBON_PCT:g} % organic "
            "carbon. Use the strength by suction."
        )
    c = math.exp(-3.6733 - 0.1447 * clay + 0.7653 * carbon)
    d = -0.4805 - 0.1239 * clay + 0.2080 * carbon
    e = 3.8521 + 0.0963 * clay
    return float(1000 * c * water**d * density_mg_m3**e)


def strength_by_suction_kpa(suction: float, saturated_share: float, density_mg_m3: float) -> float:
    """Resistance to a cone, from how hard the soil holds its water, and density. [kPa].

    Parameters
    ----------
    suction : float
        Suction of the soil's water. [kPa]
    saturated_share : float
        Share of the pores that is full. [0 to 1]
    density_mg_m3 : float
        Bulk density. [Mg/m³]

    Notes
    -----
    Holds for all textures. The coefficients are from memory of the paper; its abstract
    confirms what goes in, and that soil type hardly matters.

    Source
    ------
    Whalley, To, Kay & Whitmore (2007), Geoderma 137:370-377

    Examples
    --------
    >>> round(strength_by_suction_kpa(33, 0.6085, 1.4324) / 1000, 2)  # loam at field capacity
    1.12
    """
    return float(
        10 ** (0.35 * math.log10(suction * saturated_share) + 0.93 * density_mg_m3 + 1.2623)
    )


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
    Derived, from Whalley et al. (2007) and da Silva & Kay (1997), as above

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
    soil = reference_soil(sand_frac, clay_frac, LEAST_FITTED_CLAY_FRAC, MOST_CLAY_FRAC)
    water = soil.water(available_share)
    suction = suction_kpa(water, soil.wilting, soil.capacity)
    return (
        strength_by_suction_kpa(suction, water / soil.saturated, soil.density_mg_m3),
        strength_by_clay_kpa(soil.clay_frac, REFERENCE_ORGANIC_PCT, water, soil.density_mg_m3),
    )
