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
    >>> [found] = disagreements([([("survey", loam), ("samples", clay)], 2.0)])
    >>> found.first_says, found.other_says, found.area_ha
    ('loam', 'clay', 2.0)
    """
    areas_ha: dict[tuple[str, str, str, str], float] = defaultdict(float)
    for layers, area_ha in ground:
        told = [(name, said) for name, facts in layers if (said := _says(facts))]
        for name, said in told[1:]:
            if said != told[0][1]:
                areas_ha[(*told[0], name, said)] += area_ha
    ranked = sorted(areas_ha.items(), key=lambda part: (-part[1], part[0]))
    return [Disagreement(*who, area_ha) for who, area_ha in ranked]


def noted(found: Iterable[Disagreement]) -> list[Notice]:
    """Note where layers disagree, but for what is hardly ground."""
    return [notice("layers-disagree", **vars(it)) for it in found if it.area_ha >= LEAST_SAID_HA]


def _says(facts: SoilFacts) -> str | None:
    if facts.ground == "soil":
        return facts.texture
    return None if facts.ground == "no data" else facts.ground
