"""Compose what several layers say of one piece of ground, and tell where they disagree.

The first layer that says what the ground is says its texture too. What that one does not know
is filled from the next that does, each property by itself; nothing is taken from a layer that
says that the ground is something else.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import SoilFacts

TEXTURE = "texture"
# Properties that a lesser layer may fill, each with the facts that only mean anything together.
FILLED = {
    "organic matter": ("organic_pct",),
    "bulk density": ("density_mg_m3", "density_measured"),
    "rock fragments": ("fragments_frac",),
    "linear extensibility": ("extensibility_pct",),
    "liquid and plastic limits": ("liquid_limit_pct", "plasticity_index_pct", "third_bar_pct"),
    "drainage class": ("drainage",),
    "hydrologic group": ("hydrologic_group",),
    "name": ("named",),
}
UNTOLD = ("name",)  # whose share is of no use to a reader
LEAST_SHARE = 0.005  # of the field: less is the rounding of a map
LEAST_SAID_HA = 0.05  # judged: less than this is the ill fit of two maps


@dataclass(frozen=True)
class Supplied:
    """How much of a field one layer says one property of."""

    layer: str
    property: str  # TEXTURE, or a key of FILLED
    share: float  # of the field's area, 0 to 1


@dataclass(frozen=True)
class Composed:
    """One piece of ground, as the layers over it say it together."""

    facts: SoilFacts
    base: int  # place of the layer that says what it is
    sources: Mapping[str, int]  # property to the place of the layer that says it


def compose(layer_facts: Sequence[SoilFacts]) -> Composed:
    """Put together what layers say of one piece of ground, the fittest first; at least one.

    Examples
    --------
    >>> sample = SoilFacts(texture="loam", organic_pct=3.0)
    >>> survey = SoilFacts(texture="clay loam", organic_pct=5.0, drainage="Poorly drained")
    >>> whole = compose([sample, survey])
    >>> whole.facts.texture, whole.facts.organic_pct, whole.facts.drainage
    ('loam', 3.0, 'Poorly drained')
    >>> dict(whole.sources)
    {'texture': 0, 'organic matter': 0, 'drainage class': 1}
    """
    base = next((place for place, facts in enumerate(layer_facts) if _says(facts)), 0)
    facts = layer_facts[base]
    sources = {TEXTURE: base} if _says(facts) else {}
    if facts.ground != "soil":
        return Composed(facts, base, sources)
    filled: dict[str, Any] = {}
    for name, fields in FILLED.items():
        if getattr(facts, fields[0]) is not None:
            sources[name] = base
            continue
        for place, other in enumerate(layer_facts):
            if other.ground in ("soil", "no data") and getattr(other, fields[0]) is not None:
                sources[name] = place
                filled |= {field: getattr(other, field) for field in fields}
                break
    return Composed(replace(facts, **filled) if filled else facts, base, sources)


def supplied(
    ground: Iterable[tuple[Mapping[str, str], float]], area: float, layers: Sequence[str]
) -> list[Supplied]:
    """Add up what each layer supplied, by layer and property, without what is hardly ground.

    Parameters
    ----------
    ground : iterable
        For each piece of the field: the layer that says each property; and its area.
    area : float
        Of the field, in the same unit.
    layers : sequence of str
        Names of the layers, the fittest first.
    """
    areas: dict[tuple[str, str], float] = defaultdict(float)
    for sources, part in ground:
        for name, layer in sources.items():
            areas[layer, name] += part
    order = (TEXTURE, *(name for name in FILLED if name not in UNTOLD))
    supplies = [
        Supplied(layer, name, min(1.0, areas[layer, name] / area))
        for layer in dict.fromkeys(layers)
        for name in order
        if (layer, name) in areas
    ]
    return [supply for supply in supplies if supply.share >= LEAST_SHARE]


def supply_notices(supplies: Sequence[Supplied]) -> list[Notice]:
    """Tell what each of several layers supplied, properties of like share together."""
    alike: dict[tuple[str, int], list[Supplied]] = defaultdict(list)
    for supply in supplies:
        alike[supply.layer, round(100 * supply.share)].append(supply)
    if len({supply.layer for supply in supplies}) < 2:
        return []
    return [
        notice(
            "layer-supplies",
            layer=layer,
            properties=tuple(member.property for member in members),
            share=members[0].share,
        )
        for (layer, _), members in alike.items()
    ]


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

    A layer whose facts have no texture class says nothing of soil. Every other layer is held
    against the first that says something.

    Parameters
    ----------
    ground : iterable
        For each piece of it: what each layer that lies there says, name and facts, the one
        that is planned first; and its area. [ha]

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


def disagreement_notices(disagreements: Iterable[Disagreement]) -> list[Notice]:
    """Note where layers disagree, but for what is hardly ground."""
    return [
        notice("layers-disagree", **vars(disagreement))
        for disagreement in disagreements
        if disagreement.area_ha >= LEAST_SAID_HA
    ]


def _says(facts: SoilFacts) -> str | None:
    """What a layer says that the ground is: its texture class, or its kind where it is no soil."""
    if facts.ground == "soil":
        return facts.texture
    return None if facts.ground == "no data" else facts.ground
