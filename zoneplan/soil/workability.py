"""Whether a soil crumbles or smears: fit, test or wait, from its texture and its water."""

import math
from functools import lru_cache
from statistics import NormalDist

from zoneplan.soil.strength import organic_carbon_pct
from zoneplan.soil.water import REFERENCE_ORGANIC_PCT, ReferenceSoil, reference_soil
from zoneplan.terms import Fitness

EXTENSIBILITY_PCT = 3.0  # of every soil: the survey's own called the heaviest soil the fittest
WATER_SD_PCT = 5.0  # standard error of field capacity by volume, Saxton & Rawls (2006), eq. 2
LIMIT_SD_PCT = 3.0  # judged: of the plastic limit, by weight
SURVEY_SD_PCT = 5.0  # judged

MOST_WAITING_SHARE = 0.5  # of a zone's ground that does not make it wait

_NORMAL = NormalDist()


@lru_cache(maxsize=4096)
def smear_chance(sand_frac: float, clay_frac: float, available_share: float = 1.0) -> float:
    """Chance that a soil holds more water than its plastic limit, and smears. [0 to 1].

    Parameters
    ----------
    sand_frac, clay_frac : float
        Shares of the fine earth by weight. [0 to 1]
    available_share : float
        Share of the available water that is there; 1 is field capacity. [0 to 1]

    Raises
    ------
    OutOfRangeError
        Where sand and clay are not parts of one soil.

    Notes
    -----
    From texture alone: density, extensibility and organic matter are no arguments. Each of
    them, taken from the survey, clears its heaviest soils to plant before their lighter
    neighbours. Clay is taken at 60 % at most.

    Source
    ------
    Derived: Φ((water − plastic limit) / sd), by weight. Water: Saxton & Rawls (2006); limit:
    National Soil Survey Handbook 618.86, as in `plastic_limit_pct`

    Examples
    --------
    >>> round(smear_chance(0.31, 0.26), 2)  # a loam near clay loam, at field capacity
    0.51
    """
    soil = reference_soil(sand_frac, clay_frac)
    water_pct = 100 * soil.water(available_share) / soil.density_mg_m3
    sd_pct = math.hypot(WATER_SD_PCT / soil.density_mg_m3, LIMIT_SD_PCT)
    return _NORMAL.cdf((water_pct - _plastic_limit_pct(soil)) / sd_pct)


def plasticity_pct(sand_frac: float, clay_frac: float) -> float:
    """Plasticity index of a texture, which may come out below 0 for a clean sand. [%].

    Parameters
    ----------
    sand_frac, clay_frac : float
        As for `smear_chance`.

    Source
    ------
    National Soil Survey Handbook 618.86

    Examples
    --------
    >>> round(plasticity_pct(0.40, 0.20), 1)  # loam
    12.8
    """
    soil = reference_soil(sand_frac, clay_frac)
    return (
        -1.86
        + 0.69 * _wilting_pct(soil)
        - 1.19 * organic_carbon_pct(REFERENCE_ORGANIC_PCT)
        + 0.13 * EXTENSIBILITY_PCT
        + 0.47 * 100 * soil.clay_frac
    )


def survey_smear_chance(
    water_pct: float | None, liquid_limit_pct: float | None, plasticity_index_pct: float | None
) -> float | None:
    """Chance of smearing at field capacity by the survey's own limits. [0 to 1].

    `None` where the survey lacks one of them, or calls the soil non-plastic.

    Parameters
    ----------
    water_pct : float or None
        Water at 1/3 bar by weight of dry soil. [%]
    liquid_limit_pct, plasticity_index_pct : float or None
        The survey's; a liquid limit of 0 means non-plastic. [%]

    Notes
    -----
    A second opinion, no measurement: much of it is estimated from the texture too.

    Source
    ------
    Judged: Φ((water − (liquid limit − plasticity index)) / 5 %)

    Examples
    --------
    >>> round(survey_smear_chance(28.6 / 1.3, 39, 14), 2)
    0.27
    """
    if water_pct is None or plasticity_index_pct is None or not liquid_limit_pct:
        return None
    limit_pct = liquid_limit_pct - plasticity_index_pct
    return _NORMAL.cdf((water_pct - limit_pct) / SURVEY_SD_PCT)


def zone_fitness(waiting_share: float, at_mean: Fitness) -> Fitness:
    """Say what a zone of several soils prints.

    Parameters
    ----------
    waiting_share : float
        Share of its ground that is to wait. [0 to 1]
    at_mean : Fitness
        What the stored rules say at the mean by area of its ground's soil.

    Notes
    -----
    It waits where more than half of its ground waits, and only there.

    Source
    ------
    Judged

    Examples
    --------
    >>> zone_fitness(0.4, Fitness.WAIT).value  # 40 % at .95 and 60 % at .70
    'test'
    """
    if waiting_share > MOST_WAITING_SHARE:
        return Fitness.WAIT
    return Fitness.TEST if at_mean is Fitness.WAIT else at_mean


def _wilting_pct(soil: ReferenceSoil) -> float:
    """Water at 1500 kPa by weight. [%]."""
    return 100 * soil.wilting / soil.density_mg_m3


def _plastic_limit_pct(soil: ReferenceSoil) -> float:
    """Liquid limit less plasticity index, of any soil: also where it is hardly plastic. [%]."""
    return (
        13.46
        + 0.80 * _wilting_pct(soil)
        + 2.54 * organic_carbon_pct(REFERENCE_ORGANIC_PCT)
        + 0.47 * EXTENSIBILITY_PCT
        - 0.21 * 100 * soil.clay_frac
    )
