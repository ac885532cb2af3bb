"""What several layers say of one piece of ground, put together property by property.

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
    """Put together what layers say of one piece of ground.

    Parameters
    ----------
    layer_facts : sequence of SoilFacts
        Of each layer that lies there, the fittest first; at least one.

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
    """Add up what each layer supplied.

    Parameters
    ----------
    ground : iterable
        For each piece of the field: the layer that says each property; and its area.
    area : float
        Of the field, in the same unit.
    layers : sequence of str
        Names of the layers, the fittest first.

    Returns
    -------
    list of Supplied
        By layer and property; without what is hardly ground.
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


def _says(facts: SoilFacts) -> bool:
    """Whether a layer says what the ground is."""
    return facts.texture is not None if facts.ground == "soil" else facts.ground != "no data"
