"""How hard a soil pushes back on an opener: always against another soil, never as a level.

Two published models are at hand. They agree that a drier and a denser soil is harder, and
differ in the level by up to four times. Neither was fitted to the loose top 5 cm. So a
strength is only ever used as a ratio to one reference state, within each model.
"""

import math

from zoneplan.errors import OutOfRangeError
from zoneplan.units import percent

# What strength_by_clay_kpa may be asked.
LEAST_CLAY_FRAC = 0.05
MOST_CLAY_FRAC = 0.37
MOST_CARBON_PCT = 4.0

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
    if not _clay_model_holds(clay_frac, organic_pct):
        raise OutOfRangeError(
            f"Strength cannot be had from {percent(clay_frac)} clay and {organic_pct:g} % organic "
            f"matter: the equation was fitted from {percent(LEAST_CLAY_FRAC)} to "
            f"{percent(MOST_CLAY_FRAC)} clay and up to {MOST_CARBON_PCT:g} % organic "
            "carbon. Use the strength by suction."
        )
    clay = 100 * clay_frac
    carbon = organic_carbon_pct(organic_pct)
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


def _clay_model_holds(clay_frac: float, organic_pct: float) -> bool:
    return (
        LEAST_CLAY_FRAC - _NOISE <= clay_frac <= MOST_CLAY_FRAC + _NOISE
        and organic_carbon_pct(organic_pct) <= MOST_CARBON_PCT
    )
