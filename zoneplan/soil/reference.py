"""The soil that a texture stands for: its water and its density at 2.5 % organic matter.

Levels of density and organic matter say little of what a disc meets, so the ratios of the
opener load and the plastic limit are taken on this soil and not on the survey's own.
"""

from dataclasses import dataclass
from functools import lru_cache

from zoneplan.errors import OutOfRangeError
from zoneplan.soil.texture import CLASS_POINT, SoilFacts
from zoneplan.soil.water import (
    MOST_CLAY_FRAC,
    PARTICLE_DENSITY_MG_M3,
    field_capacity,
    saturation,
    wilting_point,
)
from zoneplan.terms import Moisture

REFERENCE_ORGANIC_PCT = 2.5  # as in Table 3 of Saxton & Rawls (2006)

# Share of the available water, between wilting point and field capacity, that is there.
# Judged: drier than 35 % one digs for moisture before one plants.
AVAILABLE_SHARE = {Moisture.DRY: 0.35, Moisture.MOIST: 0.75, Moisture.WET: 1.0}
_NOISE = 1e-9


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
    Saxton & Rawls (2006), eqs. 1 to 6, see `soil.water`

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


def texture_point(facts: SoilFacts) -> tuple[float, float]:
    """Sand and clay that stand for what is known of a soil. [0 to 1, 0 to 1].

    Parameters
    ----------
    facts : SoilFacts
        A soil known by sand and clay, or at least by its texture class.

    Raises
    ------
    OutOfRangeError
        Where neither is known.

    Notes
    -----
    Sand, silt and clay that miss 1 together by a rounding are scaled to it. A soil that is
    known by class only stands at the class point of Saxton & Rawls (2006), Table 3.

    Examples
    --------
    >>> texture_point(SoilFacts(texture="clay loam"))
    (0.3, 0.35)
    """
    if facts.sand_frac is not None and facts.clay_frac is not None:
        total = 1.0
        if facts.silt_frac is not None:
            total = facts.sand_frac + facts.silt_frac + facts.clay_frac
        return facts.sand_frac / total, facts.clay_frac / total
    if facts.texture in CLASS_POINT:
        return CLASS_POINT[facts.texture]
    raise OutOfRangeError(
        f"{facts.named or 'This ground'} has no texture, so neither its water nor its "
        "strength can be worked out. Give it a USDA texture class, or sand, silt and clay."
    )
