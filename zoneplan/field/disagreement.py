"""Where two soil layers say different things of the same ground."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import SoilFacts

LEAST_SAID_HA = 0.05  # judged: less than this is the ill fit of two maps


@dataclass(frozen=True)
class Disagreement:
    """Ground that two layers say different things of."""

    first: str  # the layer that is planned
    first_says: str  # USDA texture class, or kind of ground
    other: str
    other_says: str
    area_ha: float


def disagreements(
    ground: Iterable[tuple[Sequence[tuple[str, SoilFacts]], float]],
) -> list[Disagreement]:
    """Add up where layers disagree, the largest area first.

    Parameters
    ----------
    ground : iterable
        For each piece of it: what each layer that lies there says, name and facts, the one
        that is planned first; and its area. [ha]

    Notes
    -----
    A layer whose facts have no texture class says nothing of soil. Every other layer is
    held against the first that says something.

    Examples
    --------
    >>> loam, clay = SoilFacts(texture="loam"), SoilFacts(texture="clay")
    >>> [disagreement] = disagreements([([("survey", loam), ("samples", clay)], 2.0)])
    >>> disagreement.first_says, disagreement.other_says, disagreement.area_ha
    ('loam', 'clay', 2.0)
    """
    areas_ha: dict[tuple[str, str, str, str], float] = defaultdict(float)
    for layers, area_ha in ground:
        textures = [(name, texture) for name, facts in layers if (texture := _says(facts))]
        for name, texture in textures[1:]:
            if texture != textures[0][1]:
                areas_ha[(*textures[0], name, texture)] += area_ha
    ranked = sorted(areas_ha.items(), key=lambda part: (-part[1], part[0]))
    return [Disagreement(*who, area_ha) for who, area_ha in ranked]


def noted(disagreements: Iterable[Disagreement]) -> list[Notice]:
    """Note where layers disagree, but for what is hardly ground."""
    return [
        notice("layers-disagree", **vars(disagreement))
        for disagreement in disagreements
        if disagreement.area_ha >= LEAST_SAID_HA
    ]


def _says(facts: SoilFacts) -> str | None:
    if facts.ground == "soil":
        return facts.texture
    return None if facts.ground == "no data" else facts.ground
