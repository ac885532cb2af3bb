"""How hard a soil pushes back on an opener: always against another soil, never as a level.

Two published models are at hand. They agree that a drier and a denser soil is harder, and
differ in the level by up to four times. Neither was fitted to the loose top 5 cm. So a
strength is only ever used as a ratio to one reference state, within each model.
"""

import math
from dataclasses import dataclass

from zoneplan.errors import OutOfRangeError
from zoneplan.notices import Notice, notice
from zoneplan.soil.complete import CompleteSoil, complete
from zoneplan.soil.moisture import organic_carbon_pct, water_content
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.water import suction_kpa
from zoneplan.terms import Moisture
from zoneplan.units import percent

# What strength_by_clay_kpa may be asked.
LEAST_CLAY_FRAC = 0.05
MOST_CLAY_FRAC = 0.37
MOST_CARBON_PCT = 4.0

LEAST_STRENGTH_KPA = 300.0
MOST_STRENGTH_KPA = 3000.0
LEAST_RATIO, MOST_RATIO = 0.5, 2.7
_NOISE = 1e-9

# The state that all others are measured against: a moist loam of the usual density.
REFERENCE = SoilFacts(texture="loam", organic_pct=2.5)
REFERENCE_WETNESS = Moisture.MOIST


@dataclass(frozen=True)
class StrengthRatio:
    """A soil's strength over that of the reference state; the models' spread around it."""

    ratio: float
    least: float
    most: float
    notes: tuple[Notice, ...]  # what was assumed of the soil, and what the spread cannot tell


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


def strength_ratio(facts: SoilFacts, wetness: Moisture, shift: float = 0.0) -> StrengthRatio:
    """Say how much harder a soil is at a wetness than a moist loam.

    Parameters
    ----------
    facts : SoilFacts
        The soil; what is missing is filled by `complete`, which is told in the notes.
    wetness : str
        "dry", "moist" or "wet".
    shift : float
        Share of the available water beside that, see `moisture.water_content`.

    Returns
    -------
    StrengthRatio
        `ratio` by suction, which holds for all textures; `least` and `most` span it and,
        where that holds too, the ratio by clay.

    Raises
    ------
    OutOfRangeError
        Where neither fractions nor a texture class are known.

    Notes
    -----
    Strengths are clipped to 0.3 to 3 MPa before the ratio is taken: softer, an opener sinks
    by its weight; harder, no planter is in the field. The ratio is clipped in turn to 0.5 to
    2.7: judged, from opener loads of 450 to 900 N in tilled moist soil, up to twice that when
    dry, and a little less when wet, against 675 N for the reference state.

    Source
    ------
    Derived: see strength in DEVELOPERS.md

    Examples
    --------
    >>> round(strength_ratio(SoilFacts(texture="clay loam"), "dry").ratio, 2)
    1.78
    """
    soil = complete(facts)
    reference = complete(REFERENCE)
    ratios = [
        min(max(here / there, LEAST_RATIO), MOST_RATIO)
        for here, there in zip(
            _strengths_kpa(soil, water_content(facts, wetness, shift)),
            _strengths_kpa(reference, water_content(REFERENCE, REFERENCE_WETNESS)),
            strict=False,
        )
    ]
    notes = soil.notes
    if len(ratios) == 1:
        notes += (notice("one-strength-model"),)
    return StrengthRatio(ratios[0], min(ratios), max(ratios), notes)


def _strengths_kpa(soil: CompleteSoil, water: float) -> list[float]:
    """By suction and, within its range, by clay; clipped."""
    suction = suction_kpa(water, soil.wilting, soil.capacity)
    strengths = [strength_by_suction_kpa(suction, water / soil.saturated, soil.density_mg_m3)]
    if _clay_model_holds(soil.clay_frac, soil.organic_pct):
        strengths.append(
            strength_by_clay_kpa(soil.clay_frac, soil.organic_pct, water, soil.density_mg_m3)
        )
    return [min(max(strength, LEAST_STRENGTH_KPA), MOST_STRENGTH_KPA) for strength in strengths]


def _clay_model_holds(clay_frac: float, organic_pct: float) -> bool:
    return (
        LEAST_CLAY_FRAC - _NOISE <= clay_frac <= MOST_CLAY_FRAC + _NOISE
        and organic_carbon_pct(organic_pct) <= MOST_CARBON_PCT
    )
