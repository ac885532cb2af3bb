"""What the model takes of one soil: its place on the texture triangle, and what follows from it."""

from dataclasses import dataclass
from functools import lru_cache

from zoneplan.soil.class_shares import shares_of_point
from zoneplan.soil.strength import moisture_ratio, texture_ratio
from zoneplan.soil.texture import CLASS_POINT, SoilFacts, texture_point
from zoneplan.soil.workability import plasticity_pct, smear_chance, survey_smear_chance

Shares = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class SoilState:
    """One soil on the triangle. What the survey says of its density and humus is not in here."""

    sand_frac: float
    clay_frac: float
    shares: Shares  # texture classes within the sample's own error, the largest first
    plasticity_pct: float
    texture_ratio: float  # opener load over that of a soil with 25 % clay

    def moisture_ratio(self, available_share: float) -> float:
        """Opener load at a share of the available water over that when moist. [1 = the same]."""
        return moisture_ratio(self.sand_frac, self.clay_frac, available_share)

    def smear_chance(self, available_share: float) -> float:
        """Chance to smear at a share of the available water. [0 to 1]."""
        return smear_chance(self.sand_frac, self.clay_frac, available_share)


def soil_state(facts: SoilFacts) -> SoilState:
    """Find a soil's place: by its fractions, or by its class alone.

    Raises
    ------
    OutOfRangeError
        Where neither is known.
    """
    sand_frac, clay_frac = texture_point(facts)
    if facts.texture is None or (facts.sand_frac is not None and facts.clay_frac is not None):
        return _of_point(sand_frac, clay_frac)
    return _of_class(facts.texture)


def survey_chance(facts: SoilFacts) -> float | None:
    """Chance to smear at field capacity by the survey's own limits and water. [0 to 1]."""
    return survey_smear_chance(
        facts.third_bar_pct, facts.liquid_limit_pct, facts.plasticity_index_pct
    )


@lru_cache(maxsize=4096)
def _of_point(sand_frac: float, clay_frac: float) -> SoilState:
    return _state(sand_frac, clay_frac, shares_of_point(sand_frac, clay_frac))


@lru_cache(maxsize=64)
def _of_class(texture: str) -> SoilState:
    return _state(*CLASS_POINT[texture], ((texture, 1.0),))


def _state(sand_frac: float, clay_frac: float, shares: Shares) -> SoilState:
    return SoilState(
        sand_frac,
        clay_frac,
        shares,
        plasticity_pct(sand_frac, clay_frac),
        texture_ratio(clay_frac),
    )
