"""Names and overrides belong to a place: which of them stand once zones are parted and joined."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon

from zoneplan.field.overlay import HAIRLINE_M
from zoneplan.notices import Notice, notice
from zoneplan.zones.edit import Override, Rename

_Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Placed:
    """A name or an override, and the zone that it was made for."""

    number: int  # of the change, from 1
    edit: Rename | Override
    place: Point  # in the field's metric system
    ground: Polygon  # of the zone, as it then was

    @property
    def decides(self) -> tuple[str, ...]:
        """What it says of a zone: of two that say the same, one stands."""
        if isinstance(self.edit, Rename):
            return ("name",)
        return (self.edit.decides, self.edit.moisture)

    @property
    def empty(self) -> bool:
        """Whether it takes a name away and gives none."""
        return isinstance(self.edit, Rename) and not self.edit.name.strip()

    def replaces(self, other: "Placed") -> bool:
        """Whether it was made after the other, for a zone that held the other's place."""
        return self.number > other.number and bool(self.ground.intersects(other.place))


def standing(
    placed: Sequence[Placed], shapes: _Shapes
) -> tuple[Mapping[int, Sequence[Placed]], list[Notice]]:
    """Find what stands in each zone, and tell what does not, or not for all that it was made for.

    A change stays with the part of its zone that holds its place. Where two that say the same
    have come to lie in one zone, the later one stands.

    Parameters
    ----------
    placed : sequence of Placed
        In the order they were made.
    shapes : array of Polygon
        The zones as they are now, in the order of their numbers.

    Returns
    -------
    tuple
        What stands, by number of the zone; and notes.
    """
    alike: dict[tuple[int, tuple[str, ...]], list[Placed]] = defaultdict(list)
    for one in placed:
        nearest = int(shapely.distance(shapes, one.place).argmin())  # it may be on the very edge
        alike[nearest + 1, one.decides].append(one)
    stands: dict[int, list[Placed]] = defaultdict(list)
    notes = []
    for (zone, _), placements in sorted(alike.items()):
        *met, last = (
            one for one in placements if not any(other.replaces(one) for other in placements)
        )
        stands[zone].append(last)
        notes += [
            notice("later-edit-stands", zones=(zone,), stands=last.number, falls=one.number)
            for one in met
            if not one.empty
        ]
    return stands, [*notes, *_for_less_ground(stands, shapes)]


def _for_less_ground(stands: Mapping[int, Sequence[Placed]], shapes: _Shapes) -> Iterator[Notice]:
    """Tell where ground that a change was made for lies in a zone that has none like it."""
    decisions = {zone: {one.decides for one in placements} for zone, placements in stands.items()}
    lacking: dict[tuple[int, tuple[int, ...]], list[int]] = defaultdict(list)
    for zone, placements in stands.items():
        for one in placements:
            if one.empty or one.ground is shapes[zone - 1]:
                continue
            shared_m2 = shapely.area(shapely.intersection(shapes, one.ground))
            zone_numbers = (np.flatnonzero(shared_m2 > HAIRLINE_M**2) + 1).tolist()
            others = tuple(
                number for number in zone_numbers if one.decides not in decisions.get(number, ())
            )
            lacking[zone, others].append(one.number)
    for (zone, others), numbers in lacking.items():
        if others:
            yield notice("edit-of-part", changes=tuple(numbers), zones=(zone,), parted=others)
