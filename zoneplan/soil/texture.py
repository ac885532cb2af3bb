"""What a soil is made of: SoilFacts, and sand, silt and clay to a USDA texture class."""

from dataclasses import dataclass

GROUNDS = ("soil", "organic", "water", "not soil", "no data")  # what a piece of ground can be


@dataclass(frozen=True)
class SoilFacts:
    """What is known of the seed zone of one piece of ground; `None` where unknown.

    Fractions run 0 to 1 by weight of the fine earth; `fragments_frac` is rock by volume.
    """

    ground: str = "soil"  # one of GROUNDS; only "soil" ever gets numbers
    texture: str | None = None  # USDA class, "silt loam"; see TEXTURES
    sand_frac: float | None = None
    silt_frac: float | None = None
    clay_frac: float | None = None
    organic_pct: float | None = None  # organic matter by weight
    density_mg_m3: float | None = None  # moist bulk density at 33 kPa
    fragments_frac: float | None = None
    extensibility_pct: float | None = None  # linear extensibility
    drainage: str | None = None  # drainage class, dominant condition
    hydrologic_group: str | None = None  # dominant condition
    rated_share: float = 0.0  # share of this ground with texture data, 0 to 1
    named: str | None = None  # what the source calls it, "L138B Clarion loam, 2 to 6 % slopes"
    notes: tuple[str, ...] = ()  # what a reader must know: gaps, flags, assumptions
