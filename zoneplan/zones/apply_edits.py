"""What a person changes in finished zones: parted, joined, named, in the order it was done.

A person's change comes after all tidying, and stands: no least area or width holds for it. One
that does not fit any more is left out, and told with what to do.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import LineString, MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.overlay import HAIRLINE_M
from zoneplan.notices import Notice, notice
from zoneplan.zones.composition import made_of, zone_of
from zoneplan.zones.edit import Edit, Merge, Override, Rename, Split
from zoneplan.zones.edit import Point as Degrees
from zoneplan.zones.order import north_to_south
from zoneplan.zones.split_merge import holder, joined, parted
from zoneplan.zones.zone import Zone

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


Overrides = Mapping[int, Sequence[Override]]  # by the number of their zone

_NOUNS = {Rename: "name", Override: "override"}


@dataclass(frozen=True)
class Edited:
    """Zones after all changes, and what is told of the changes."""

    zones: tuple[Zone, ...]
    notes: tuple[Notice, ...]


@dataclass(frozen=True)
class _Drawn:
    """The zones after so many changes."""

    shapes: NDArray[np.object_]  # a valid coverage
    zones: tuple[Zone | None, ...]  # whose ground each is; None where a person made it


@dataclass(frozen=True)
class _Said:
    """A note about the zones that hold some places, whatever their numbers come to be."""

    code: str
    values: Mapping[str, Any]
    places: tuple[Point, ...] = ()


def edited(
    zones: Sequence[Zone], pieces: gpd.GeoDataFrame, edits: Sequence[Edit]
) -> tuple[Edited, Overrides]:
    """Change finished zones as a person did, and find which overrides stand where.

    Parameters
    ----------
    zones : sequence of Zone
        From `build_zones`.
    pieces : GeoDataFrame
        That they were built from.
    edits : sequence of Edit
        In the order they were done.

    Returns
    -------
    tuple
        Zones that tile the same ground, numbered anew from north to south, and the overrides
        that stand, by these numbers. What is known of a zone that a person made comes from
        the pieces that lie in it, by area. The notes tell every change that was left out, or
        that is not of all the ground it was made for.
    """
    if not edits:
        return Edited(tuple(zones), ()), {}
    drawn = _Drawn(np.array([zone.shape for zone in zones], dtype=object), tuple(zones))
    crs = pieces.crs
    messages: list[_Said] = []
    placed: list[Placed] = []
    for number, (edit, places) in enumerate(zip(edits, _places(edits, crs), strict=True), start=1):
        if isinstance(edit, Split):
            drawn, edit_messages = _split(drawn, places, number)
            messages += edit_messages
        elif isinstance(edit, Merge):
            drawn, edit_messages = _merge(drawn, places, number)
            messages += edit_messages
        elif (at := holder(drawn.shapes, places[0])) is None:
            messages.append(_outside(number, _NOUNS[type(edit)]))
        else:
            placed.append(Placed(number, edit, places[0], drawn.shapes[at]))

    order = north_to_south(drawn.shapes)
    drawn = _Drawn(drawn.shapes[order], tuple(drawn.zones[at] for at in order.tolist()))
    stands, notes = standing(placed, drawn.shapes)
    names: dict[int, str] = {}
    overrides: dict[int, list[Override]] = defaultdict(list)
    for zone, placements in stands.items():
        for edit in (placement.edit for placement in placements):
            if isinstance(edit, Rename):
                names[zone] = " ".join(edit.name.split())
            else:
                overrides[zone].append(edit)
    changed = Edited(
        zones=tuple(_zones(drawn, pieces, crs, names)),
        notes=(*(_noted(message, drawn.shapes) for message in messages), *notes),
    )
    return changed, overrides


def _places(edits: Sequence[Edit], crs: CRS) -> Iterator[Sequence[Point]]:
    """The places that each change names, in the field's metric system."""
    named = [_degrees(edit) for edit in edits]
    moved = iter(shapely.get_parts(move(MultiPoint(list(chain(*named))), WGS_84, crs)))
    return (list(islice(moved, len(points))) for points in named)


def _degrees(edit: Edit) -> tuple[Degrees, ...]:
    if isinstance(edit, Split):
        return edit.line
    return (edit.one, edit.other) if isinstance(edit, Merge) else (edit.at,)


def _split(drawn: _Drawn, points: Sequence[Point], change: int) -> tuple[_Drawn, list[_Said]]:
    finite = np.isfinite(shapely.get_coordinates(points)).all()
    line = LineString(points if finite and len(points) > 1 else [])
    shapes, of = parted(drawn.shapes, line)
    parts = np.bincount(of, minlength=len(drawn.shapes))
    if not (parts > 1).any():
        return drawn, [_Said("split-parts-none", {"change": change})]
    inside = shapely.intersection(drawn.shapes, line)
    ends = inside[(parts == 1) & (shapely.length(inside) > HAIRLINE_M)]
    message = _Said("split-leaves-some", {"change": change}, tuple(_middle(end) for end in ends))
    zones = tuple(drawn.zones[at] if parts[at] == 1 else None for at in of.tolist())
    return _Drawn(shapes, zones), [message] if message.places else []


def _middle(line: BaseGeometry) -> Point:
    """A place on the longest stretch of a line, away from its ends."""
    stretches = shapely.get_parts(line)
    longest: LineString = stretches[shapely.length(stretches).argmax()]
    return longest.interpolate(0.5, normalized=True)


def _merge(drawn: _Drawn, places: Sequence[Point], change: int) -> tuple[_Drawn, list[_Said]]:
    one, other = (holder(drawn.shapes, place) for place in places)
    if one is None or other is None:
        return drawn, [_outside(change, "merge")]
    if one == other:
        return drawn, [_Said("merge-within-zone", {"change": change}, (places[0],))]
    both = joined(drawn.shapes[one], drawn.shapes[other])
    if both is None:
        return drawn, [_Said("merge-without-border", {"change": change}, tuple(places))]
    others = [at for at in range(len(drawn.shapes)) if at not in (one, other)]
    shapes = np.array([both, *drawn.shapes[others]], dtype=object)
    return _Drawn(shapes, (None, *(drawn.zones[at] for at in others))), []


def _outside(change: int, edit: str) -> _Said:
    return _Said("edit-outside-field", {"change": change, "edit": edit})


def _noted(message: _Said, shapes: NDArray[np.object_]) -> Notice:
    if not message.places:
        return notice(message.code, **message.values)
    numbers = {at + 1 for place in message.places if (at := holder(shapes, place)) is not None}
    return notice(message.code, **message.values, zones=tuple(sorted(numbers)))


def _zones(
    drawn: _Drawn, pieces: gpd.GeoDataFrame, crs: CRS, names: Mapping[int, str]
) -> Iterator[Zone]:
    """Number and name the zones; those that a person made are told by the ground in them."""
    new_shapes = [
        shape for shape, zone in zip(drawn.shapes, drawn.zones, strict=True) if zone is None
    ]
    grounds = iter(made_of(new_shapes, pieces))
    for number, (shape, zone) in enumerate(zip(drawn.shapes, drawn.zones, strict=True), start=1):
        drawn_zone = zone or zone_of(shape, next(grounds), crs)
        if drawn_zone.shape is not shape:  # it has a corner more, where a neighbour was parted
            drawn_zone = replace(drawn_zone, shape=shape, area_ha=geodesic_area_ha(shape, crs))
        yield replace(drawn_zone, id=number, name=names.get(number, ""))
