"""How much water a soil holds, how hard it holds it, and the soil that a texture stands for.

The equations are those of Saxton & Rawls (2006), Soil Sci. Soc. Am. J. 70:1569-1578,
doi:10.2136/sssaj2005.0117, as laid out in the paper's Table 1. Sand and clay go in as
fractions, organic matter as a percentage. That is how the coefficients were fitted,
whatever the column heads suggest. Water is by volume. [m³/m³] The paper's equation
numbers are from memory.

Levels of density and organic matter say little of what a disc meets, so the ratios of the
opener load and the plastic limit are taken on the reference soil of a texture, at 2.5 % organic
matter, and not on the survey's own.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

from zoneplan.errors import OutOfRangeError
from zoneplan.terms import Moisture
from zoneplan.units import percent

MOST_CLAY_FRAC = 0.60
MOST_ORGANIC_PCT = 8.0
PARTICLE_DENSITY_MG_M3 = 2.65
REFERENCE_ORGANIC_PCT = 2.5  # as in Table 3 of Saxton & Rawls (2006)

# Share of the available water, between wilting point and field capacity, that is there.
# Judged: drier than 35 % one digs for moisture before one plants.
AVAILABLE_SHARE = {Moisture.DRY: 0.35, Moisture.MOIST: 0.75, Moisture.WET: 1.0}
_NOISE = 1e-9


def wilting_point(sand_frac: float, clay_frac: float, organic_pct: float) -> float:
    """Water that corn can no longer draw, at 1500 kPa, by volume. [m³/m³].

    Parameters
    ----------
    sand_frac : float
        Sand by weight. [0 to 1]
    clay_frac : float
        Clay by weight. [0 to 0.60]
    organic_pct : float
        Organic matter by weight. [%, 0 to 8]

    Raises
    ------
    OutOfRangeError
        For a soil outside the ones the equation was fitted to.

    Source
    ------
    Saxton & Rawls (2006), eq. 1

    Examples
    --------
    >>> round(wilting_point(0.40, 0.20, 2.5), 2)  # loam
    0.14
    """
    _refuse_outside(sand_frac, clay_frac, organic_pct)
    first = (
        -0.024 * sand_frac
        + 0.487 * clay_frac
        + 0.006 * organic_pct
        + 0.005 * sand_frac * organic_pct
        - 0.013 * clay_frac * organic_pct
        + 0.068 * sand_frac * clay_frac
        + 0.031
    )
    return first + (0.14 * first - 0.02)


def field_capacity(sand_frac: float, clay_frac: float, organic_pct: float) -> float:
    """Water held after free drainage, at 33 kPa, by volume. [m³/m³].

    Parameters
    ----------
    sand_frac, clay_frac, organic_pct : float
        As for `wilting_point`, and with its `OutOfRangeError`.

    Notes
    -----
    Public code carries this equation with 1.238 where the paper has 1.283.

    Source
    ------
    Saxton & Rawls (2006), eq. 2

    Examples
    --------
    >>> round(field_capacity(0.40, 0.20, 2.5), 2)  # loam
    0.28
    """
    _refuse_outside(sand_frac, clay_frac, organic_pct)
    first = (
        -0.251 * sand_frac
        + 0.195 * clay_frac
        + 0.011 * organic_pct
        + 0.006 * sand_frac * organic_pct
        - 0.027 * clay_frac * organic_pct
        + 0.452 * sand_frac * clay_frac
        + 0.299
    )
    return first + (1.283 * first**2 - 0.374 * first - 0.015)


def drainable_water(sand_frac: float, clay_frac: float, organic_pct: float) -> float:
    """Water that drains away between saturation and 33 kPa, by volume. [m³/m³].

    Parameters
    ----------
    sand_frac, clay_frac, organic_pct : float
        As for `wilting_point`, and with its `OutOfRangeError`.

    Notes
    -----
    The last term is negative; public code has it positive. This is the paper's first
    estimate: `saturation` adds its own correction for sand.

    Source
    ------
    Saxton & Rawls (2006), eq. 3
    """
    _refuse_outside(sand_frac, clay_frac, organic_pct)
    first = (
        0.278 * sand_frac
        + 0.034 * clay_frac
        + 0.022 * organic_pct
        - 0.018 * sand_frac * organic_pct
        - 0.027 * clay_frac * organic_pct
        - 0.584 * sand_frac * clay_frac
        + 0.078
    )
    return first + (0.636 * first - 0.107)


def saturation(sand_frac: float, clay_frac: float, organic_pct: float) -> float:
    """Water in a soil with every pore full, by volume. [m³/m³].

    Parameters
    ----------
    sand_frac, clay_frac, organic_pct : float
        As for `wilting_point`, and with its `OutOfRangeError`.

    Source
    ------
    Saxton & Rawls (2006), eq. 5

    Examples
    --------
    >>> round(saturation(0.40, 0.20, 2.5), 2)  # loam
    0.46
    """
    return (
        field_capacity(sand_frac, clay_frac, organic_pct)
        + drainable_water(sand_frac, clay_frac, organic_pct)
        - 0.097 * sand_frac
        + 0.043
    )


def retention_exponent(wilting: float, capacity: float) -> float:
    """How steeply suction rises as a soil dries: B of the retention curve. [-].

    Parameters
    ----------
    wilting, capacity : float
        Water at 1500 and at 33 kPa. [m³/m³]

    Source
    ------
    Saxton & Rawls (2006), eq. 15; lambda of eq. 18 is its inverse

    Examples
    --------
    >>> round(1 / retention_exponent(0.13702, 0.27961), 4)  # loam, lambda
    0.1869
    """
    return (math.log(1500) - math.log(33)) / (math.log(capacity) - math.log(wilting))


def suction_kpa(water: float, wilting: float, capacity: float) -> float:
    """How hard a soil holds the water that is in it. [kPa].

    Parameters
    ----------
    water : float
        Water in the soil now, from `wilting` to `capacity`. [m³/m³]
    wilting, capacity : float
        Water at 1500 and at 33 kPa. [m³/m³]

    Source
    ------
    Saxton & Rawls (2006), eqs. 11, 14 and 15

    Examples
    --------
    >>> round(suction_kpa(0.28, 0.14, 0.28))
    33
    >>> round(suction_kpa(0.14, 0.14, 0.28))
    1500
    """
    b = retention_exponent(wilting, capacity)
    a = math.exp(math.log(33) + b * math.log(capacity))
    return float(a * water**-b)


@dataclass(frozen=True)
class ReferenceSoil:
    """A texture at its usual density. Water by volume. [m³/m³]."""

    sand_frac: float
    clay_frac: float  # as the equations took it
    density_mg_m3: float
    wilting: float
    capacity: float
    saturated: float

    def water(self, available_share: float) -> float:
        """Water by volume at a share of the available water. [m³/m³].

        >>> round(reference_soil(0.40, 0.20).water(0.75), 3)  # 0.137 + 0.75 × 0.143
        0.244
        """
        return self.wilting + available_share * (self.capacity - self.wilting)


@lru_cache(maxsize=4096)
def reference_soil(
    sand_frac: float,
    clay_frac: float,
    least_clay_frac: float = 0.0,
    most_clay_frac: float = MOST_CLAY_FRAC,
) -> ReferenceSoil:
    """Water and density of a texture, neither loosened nor packed.

    Parameters
    ----------
    sand_frac, clay_frac : float
        Shares of the fine earth by weight. [0 to 1]
    least_clay_frac, most_clay_frac : float
        The range that clay is held to before the equations are asked. [0 to 0.60]

    Raises
    ------
    OutOfRangeError
        Where the two are not parts of one soil.

    Notes
    -----
    Clay past the range is held at its edge: a class point in its stead would make a step
    between two soils that no hand can tell apart. Where more clay is taken than a sand
    leaves room for, the sand gives way.

    Source
    ------
    Saxton & Rawls (2006), eqs. 1 to 6

    Examples
    --------
    >>> round(reference_soil(0.40, 0.20).density_mg_m3, 2)  # loam
    1.43
    """
    if not (min(sand_frac, clay_frac) >= -_NOISE and sand_frac + clay_frac <= 1 + _NOISE):
        raise OutOfRangeError(
            f"Sand {sand_frac:.3g} and clay {clay_frac:.3g} are not shares of one soil: each "
            "runs from 0 to 1, and 1 is the most together. Check whether the columns hold "
            "fractions or percentages."
        )
    clay = min(max(clay_frac, least_clay_frac), most_clay_frac)
    sand = min(max(sand_frac, 0.0), 1 - clay)
    saturated = saturation(sand, clay, REFERENCE_ORGANIC_PCT)
    return ReferenceSoil(
        sand_frac=sand,
        clay_frac=clay,
        density_mg_m3=(1 - saturated) * PARTICLE_DENSITY_MG_M3,
        wilting=wilting_point(sand, clay, REFERENCE_ORGANIC_PCT),
        capacity=field_capacity(sand, clay, REFERENCE_ORGANIC_PCT),
        saturated=saturated,
    )


def _refuse_outside(sand_frac: float, clay_frac: float, organic_pct: float) -> None:
    inside = (
        sand_frac >= -_NOISE
        and sand_frac + clay_frac <= 1 + _NOISE
        and -_NOISE <= clay_frac <= MOST_CLAY_FRAC + _NOISE
        and 0 <= organic_pct <= MOST_ORGANIC_PCT + _NOISE
    )
    if not inside:
        raise OutOfRangeError(
            f"The water equations do not hold for {percent(sand_frac)} sand, "
            f"{percent(clay_frac)} clay and {organic_pct:g} % organic matter: "
            f"they were fitted to mineral soils up to {percent(MOST_CLAY_FRAC)} clay and "
            f"{MOST_ORGANIC_PCT:g} % organic matter. Check the soil, or plan this ground by "
            "its texture class."
        )
