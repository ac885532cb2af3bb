"""Many soils, or many sites, as a few: those that differ in numbers only are kept as one."""

from collections.abc import Callable, Mapping
from typing import TypeVar

from zoneplan.field.shapes import Site
from zoneplan.soil.texture import SoilFacts

Known = TypeVar("Known", SoilFacts, Site)
Kind = tuple[object, ...]
Mixture = dict[Kind, tuple[Known, float]]  # by kind: what is known of it, and its area in m²


def mixture_of(known: Known, area_m2: float) -> Mixture[Known]:
    """Begin a mixture with one soil or one site."""
    return {_kind(known): (known, area_m2)}


def add(
    mixture: Mixture[Known],
    other: Mapping[Kind, tuple[Known, float]],
    blend: Callable[[list[tuple[Known, float]]], Known],
) -> None:
    """Add another mixture, kind by kind.

    Joining a thousand pieces one by one then costs a thousand small blends, and not one
    that grows. Blending the kinds gives what blending all the soils would have given, for
    what is averaged is known, or not, in all of a kind, and what is chosen is the same.
    """
    for kind, (known, area_m2) in other.items():
        if kind not in mixture:
            mixture[kind] = (known, area_m2)
            continue
        before, before_m2 = mixture[kind]
        both = before if before == known else blend([(before, before_m2), (known, area_m2)])
        mixture[kind] = (both, before_m2 + area_m2)


def _kind(known: SoilFacts | Site) -> Kind:
    """All that is known but the numbers, of which only that they are known."""
    return tuple(float if isinstance(value, float) else value for value in vars(known).values())
