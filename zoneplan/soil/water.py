"""How much water a soil holds, and how hard it holds it.

The equations are those of Saxton & Rawls (2006), Soil Sci. Soc. Am. J. 70:1569-1578,
doi:10.2136/sssaj2005.0117, as laid out in the paper's Table 1. Sand and clay go in as
fractions, organic matter as a percentage. That is how the coefficients were fitted,
whatever the column heads suggest. Water is by volume. [m³/m³] The paper's equation
numbers are from memory.
"""

import math

from zoneplan.errors import OutOfRangeError
from zoneplan.units import percent

MOST_CLAY_FRAC = 0.60
MOST_ORGANIC_PCT = 8.0
PARTICLE_DENSITY_MG_M3 = 2.65
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
