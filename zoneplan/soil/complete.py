"""What the equations need of a soil, and a note of everything that had to be assumed."""

from dataclasses import dataclass
from functools import lru_cache

from zoneplan.errors import OutOfRangeError
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import CLASS_POINT, GROUP_OF, SoilFacts, texture_class
from zoneplan.soil.water import (
    LEAST_DENSITY_FACTOR,
    MOST_CLAY_FRAC,
    MOST_DENSITY_FACTOR,
    MOST_ORGANIC_PCT,
    field_capacity,
    matric_density_mg_m3,
    packed,
    saturation,
    wilting_point,
)

ASSUMED_ORGANIC_PCT = 2.5  # as in Table 3 of Saxton & Rawls (2006), and a common plough layer

# Mid-points of the survey's shrink-swell classes low (under 3 %), moderate (3 to 6) and high
# (6 to 9), National Soil Survey Handbook part 618, from memory. Which texture group gets
# which class is our judgement; 3 % more or less moves a plastic limit by 1.4 points.
ASSUMED_EXTENSIBILITY_PCT = {
    "coarse": 1.5,
    "moderately coarse": 1.5,
    "medium": 1.5,
    "moderately fine": 4.5,
    "fine": 7.5,
}

# Less than this and the regressions have left the soils they were fitted to, as they do in
# a clean sand without organic matter: its wilting point comes out at nothing. Our judgement.
LEAST_WILTING = 0.01  # m³/m³
LEAST_AVAILABLE = 0.02  # m³/m³


@dataclass(frozen=True)
class CompleteSoil:
    """A soil with nothing missing. Water contents are by volume, at the soil's own density."""

    texture: str
    sand_frac: float
    clay_frac: float
    organic_pct: float
    density_mg_m3: float
    extensibility_pct: float
    wilting: float  # m³/m³ at 1500 kPa
    capacity: float  # m³/m³ at 33 kPa
    saturated: float  # m³/m³
    notes: tuple[Notice, ...]  # what was assumed


@lru_cache(maxsize=4096)
def complete(facts: SoilFacts) -> CompleteSoil:
    """Fill what the equations need and the facts do not say; tell it in the notes.

    Parameters
    ----------
    facts : SoilFacts
        A soil known by its fractions, or at least by its texture class.

    Raises
    ------
    OutOfRangeError
        Where neither is known.

    Notes
    -----
    A soil known by class only is taken at the class point of Saxton & Rawls (2006), Table
    3; so is one past the clay that the equations were fitted to. Organic matter past their
    range is held at its end instead: at the class point, which stands at 2.5 %, a mucky
    soil would come out dense and poor in water. A bulk density far from the expected one
    stays, but the water is adjusted only as far as the adjustment is meant to go. Where the
    equations leave next to no water, that of the class point is taken.

    Examples
    --------
    >>> soil = complete(SoilFacts(texture="loam", density_mg_m3=1.4, extensibility_pct=1.5))
    >>> soil.organic_pct, soil.clay_frac
    (2.5, 0.2)
    >>> [told.code for told in soil.notes]
    ['texture-from-class', 'organic-unknown']
    """
    notes: list[Notice] = []
    texture, sand, clay = _fractions(facts, notes)
    organic = _organic(facts, notes)
    extensibility = facts.extensibility_pct
    if extensibility is None:
        extensibility = ASSUMED_EXTENSIBILITY_PCT[GROUP_OF[texture]]
        notes.append(notice("extensibility-unknown", taken_pct=extensibility))

    expected = matric_density_mg_m3(sand, clay, organic)
    density = facts.density_mg_m3
    if density is None:
        density = expected
        notes.append(notice("density-unknown", taken_mg_m3=expected))
    factor = min(max(density / expected, LEAST_DENSITY_FACTOR), MOST_DENSITY_FACTOR)
    if factor != density / expected:
        notes.append(
            notice(
                "density-out-of-range",
                density_mg_m3=density,
                expected_mg_m3=expected,
                taken_mg_m3=factor * expected,
                least_factor=LEAST_DENSITY_FACTOR,
                most_factor=MOST_DENSITY_FACTOR,
            )
        )
    wilting, capacity, saturated = _held(sand, clay, organic, factor)
    if wilting < LEAST_WILTING or capacity - wilting < LEAST_AVAILABLE:
        notes.append(notice("water-out-of-range", texture=texture))
        wilting, capacity, saturated = _held(*CLASS_POINT[texture], ASSUMED_ORGANIC_PCT, 1.0)
    return CompleteSoil(
        texture=texture,
        sand_frac=sand,
        clay_frac=clay,
        organic_pct=organic,
        density_mg_m3=density,
        extensibility_pct=extensibility,
        wilting=wilting,
        capacity=capacity,
        saturated=saturated,
        notes=tuple(notes),
    )


def _held(
    sand: float, clay: float, organic: float, density_factor: float
) -> tuple[float, float, float]:
    """Wilting point, field capacity and saturation at a density. [m³/m³]."""
    capacity, saturated = packed(
        field_capacity(sand, clay, organic), saturation(sand, clay, organic), density_factor
    )
    # In a tight clay the adjusted field capacity passes the pores there are.
    return wilting_point(sand, clay, organic), min(capacity, saturated), saturated


def _fractions(facts: SoilFacts, notes: list[Notice]) -> tuple[str, float, float]:
    """Texture class, sand and clay."""
    if facts.sand_frac is None or facts.silt_frac is None or facts.clay_frac is None:
        if facts.texture not in CLASS_POINT:
            raise OutOfRangeError(
                f"{facts.named or 'This ground'} has no texture, so neither its water nor its "
                "strength can be worked out. Give it a USDA texture class, or sand, silt and clay."
            )
        sand, clay = CLASS_POINT[facts.texture]
        notes.append(
            notice("texture-from-class", texture=facts.texture, sand_frac=sand, clay_frac=clay)
        )
        return facts.texture, sand, clay
    texture = texture_class(facts.sand_frac, facts.silt_frac, facts.clay_frac)
    if facts.clay_frac > MOST_CLAY_FRAC:
        sand, clay = CLASS_POINT[texture]
        notes.append(
            notice(
                "clay-out-of-range",
                clay_frac=facts.clay_frac,
                texture=texture,
                taken_sand_frac=sand,
                taken_clay_frac=clay,
            )
        )
        return texture, sand, clay
    return texture, facts.sand_frac, facts.clay_frac


def _organic(facts: SoilFacts, notes: list[Notice]) -> float:
    """Organic matter. [%]."""
    if facts.organic_pct is None:
        notes.append(notice("organic-unknown", taken_pct=ASSUMED_ORGANIC_PCT))
        return ASSUMED_ORGANIC_PCT
    if facts.organic_pct > MOST_ORGANIC_PCT:
        notes.append(
            notice(
                "organic-out-of-range", organic_pct=facts.organic_pct, taken_pct=MOST_ORGANIC_PCT
            )
        )
        return MOST_ORGANIC_PCT
    return facts.organic_pct
