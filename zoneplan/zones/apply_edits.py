"""What a person changes in finished zones: split, merged, named, in the order it was done.

A person's change comes after all tidying, and stands: no least area or width holds for it. One
that does not fit any more is left out, and told with what to do.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPoint, Point
from shapely.geometry.base import BaseGeometry

from zoneplan.field.crs import WGS_84, geodesic_area_ha, move
from zoneplan.field.shapes import Pieces
from zoneplan.field.tiles import HAIRLINE_M
from zoneplan.notices import Notice, notice
from zoneplan.zones.coverage import holder, merge, north_to_south, split, within
from zoneplan.zones.edit import Edit, Merge, Override, Rename, Split
from zoneplan.zones.edit import Point as Degrees
from zoneplan.zones.zone import Zone, made_of, zones_of


@dataclass(frozen=True)
class Placed:
    """A name or an override that a zone carries; its parts carry it on, and so does a union."""

    number: int  # of the change, from 1
    edit: Rename | Override

    @property
    def decides(self) -> tuple[str, ...]:
        """What it says of a zone: of two that say the same, one stands."""
        if isinstance(self.edit, Rename):
            return ("name",)
        return (self.edit.decides, self.edit.moisture)


def standing(
    carried: Sequence[Sequence[Placed]],
) -> tuple[Sequence[Sequence[Placed]], list[Notice]]:
    """Find what stands in each zone; of two that say the same and met there, the later one.

    Parameters
    ----------
    carried : sequence
        What each zone carries, in the order of their numbers.

    Returns
    -------
    tuple
        What stands in each; and a note of each change that a later one took the place of.
    """
    stands, notes = [], []
    for zone, placements in enumerate(carried, start=1):
        alike: dict[tuple[str, ...], list[Placed]] = defaultdict(list)
        for one in sorted(placements, key=lambda placed: (placed.decides, placed.number)):
            alike[one.decides].append(one)
        stands.append([met[-1] for met in alike.values()])
        notes += [
            notice("later-edit-stands", zones=(zone,), stands=last.number, falls=one.number)
            for *met, last in alike.values()
            for one in met
        ]
    return stands, notes


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
    carried: tuple[tuple[Placed, ...], ...]  # the names and numbers of each


@dataclass(frozen=True)
class _Said:
    """A note about the zones that hold some places, whatever their numbers come to be."""

    code: str
    values: Mapping[str, Any]
    places: tuple[Point, ...] = ()


def edited(
    zones: Sequence[Zone], pieces: Pieces, edits: Sequence[Edit]
) -> tuple[Edited, Overrides]:
    """Change finished zones as a person did, and find which overrides stand where.

    Parameters
    ----------
    zones : sequence of Zone
        From `build_zones`.
    pieces : Pieces
        That they were built from.
    edits : sequence of Edit
        In the order they were done.

    Returns
    -------
    tuple
        Zones that tile the same ground, numbered again from north to south, and the overrides
        that stand, by these numbers: a part of a zone keeps what its zone had. What is known of
        a zone that a person made comes from the pieces that lie in it, by area. The notes tell
        every change that was left out.
    """
    if not edits:
        return Edited(tuple(zones), ()), {}
    shapes = np.array([zone.shape for zone in zones], dtype=object)
    drawn = _Drawn(shapes, tuple(zones), ((),) * len(zones))
    messages: list[_Said] = []
    places_of_each = _places(edits, pieces.crs)
    for number, (edit, places) in enumerate(zip(edits, places_of_each, strict=True), start=1):
        if isinstance(edit, Split):
            drawn, edit_messages = _split(drawn, edit, places, number)
        elif isinstance(edit, Merge):
            drawn, edit_messages = _merge(drawn, places, number)
        else:
            drawn, edit_messages = _put(drawn, edit, places[0], number)
        messages += edit_messages

    order = north_to_south(drawn.shapes).tolist()
    drawn = _Drawn(
        drawn.shapes[order],
        tuple(drawn.zones[at] for at in order),
        tuple(drawn.carried[at] for at in order),
    )
    stands, notes = standing(drawn.carried)
    names: dict[int, str] = {}
    overrides: dict[int, list[Override]] = defaultdict(list)
    for zone, placements in enumerate(stands, start=1):
        for edit in (placement.edit for placement in placements):
            if isinstance(edit, Rename):
                names[zone] = " ".join(edit.name.split())
            else:
                overrides[zone].append(edit)
    changed = Edited(
        zones=tuple(_zones(drawn, pieces, names)),
        notes=(*(_noted(message, drawn.shapes) for message in messages), *notes),
    )
    return changed, overrides


def _places(edits: Sequence[Edit], crs: str) -> Iterator[Sequence[Point]]:
    """The places that each change names, in the field's metric system."""
    named = [_degrees(edit) for edit in edits]
    moved = iter(shapely.get_parts(move(MultiPoint(list(chain(*named))), WGS_84, crs)))
    return (list(islice(moved, len(points))) for points in named)


def _degrees(edit: Edit) -> tuple[Degrees, ...]:
    if isinstance(edit, Split):
        return edit.line if edit.at is None else (*edit.line, edit.at)
    return (edit.one, edit.other) if isinstance(edit, Merge) else (edit.at,)


def _split(
    drawn: _Drawn, edit: Split, places: Sequence[Point], change: int
) -> tuple[_Drawn, list[_Said]]:
    points, meant = (places, None) if edit.at is None else (places[:-1], places[-1])
    finite = np.isfinite(shapely.get_coordinates(points)).all()
    line: BaseGeometry = LineString(points if finite and len(points) > 1 else [])
    if meant is not None:
        at = holder(drawn.shapes, meant)
        if at is None:
            return drawn, [_outside(change, "split")]
        line = within(line, drawn.shapes[at])
    shapes, of = split(drawn.shapes, line)
    parts = np.bincount(of, minlength=len(drawn.shapes))
    if not (parts > 1).any():
        return drawn, [_Said("split-parts-none", {"change": change})]
    message = _Said("split-leaves-some", {"change": change})
    if meant is None:
        inside = shapely.intersection(drawn.shapes, line)
        ends = inside[(parts == 1) & (shapely.length(inside) > HAIRLINE_M)]
        message = replace(message, places=tuple(_middle(end) for end in ends))
    zones = tuple(drawn.zones[at] if parts[at] == 1 else None for at in of.tolist())
    carried = tuple(drawn.carried[at] for at in of.tolist())
    return _Drawn(shapes, zones, carried), [message] if message.places else []


def _middle(line: BaseGeometry) -> Point:
    """A place on the longest stretch of a line, away from its ends."""
    stretches = shapely.get_parts(line)
    longest: LineString = stretches[shapely.length(stretches).argmax()]
    return longest.interpolate(0.5, normalized=True)


def _merge(drawn: _Drawn, places: Sequence[Point], change: int) -> tuple[_Drawn, list[_Said]]:
    one, other = (holder(drawn.shapes, place) for place in places)
    if one is None or other is None:
        return drawn, [_outside(change, "join")]
    if one == other:
        return drawn, [_Said("merge-within-zone", {"change": change}, (places[0],))]
    both = merge(drawn.shapes[one], drawn.shapes[other])
    if both is None:
        return drawn, [_Said("merge-without-border", {"change": change}, tuple(places))]
    others = [at for at in range(len(drawn.shapes)) if at not in (one, other)]
    shapes = np.array([both, *drawn.shapes[others]], dtype=object)
    united = (*drawn.carried[one], *drawn.carried[other])
    return (
        _Drawn(
            shapes,
            (None, *(drawn.zones[at] for at in others)),
            (tuple(dict.fromkeys(united)), *(drawn.carried[at] for at in others)),
        ),
        [],
    )


def _put(
    drawn: _Drawn, edit: Rename | Override, place: Point, change: int
) -> tuple[_Drawn, list[_Said]]:
    """Let a zone carry a name or a number, in place of the one that said the same of it."""
    at = holder(drawn.shapes, place)
    if at is None:
        return drawn, [_outside(change, _NOUNS[type(edit)])]
    placed = Placed(change, edit)
    others = tuple(one for one in drawn.carried[at] if one.decides != placed.decides)
    takes_away = isinstance(edit, Rename) and not edit.name.strip()
    now = others if takes_away else (*others, placed)
    return replace(drawn, carried=(*drawn.carried[:at], now, *drawn.carried[at + 1 :])), []


def _outside(change: int, edit: str) -> _Said:
    return _Said("edit-outside-field", {"change": change, "edit": edit})


def _noted(message: _Said, shapes: NDArray[np.object_]) -> Notice:
    if not message.places:
        return notice(message.code, **message.values)
    numbers = {at + 1 for place in message.places if (at := holder(shapes, place)) is not None}
    return notice(message.code, **message.values, zones=tuple(sorted(numbers)))


def _zones(drawn: _Drawn, pieces: Pieces, names: Mapping[int, str]) -> Iterator[Zone]:
    """Number and name the zones; those that a person made are told by the ground in them."""
    new_shapes = [
        shape for shape, zone in zip(drawn.shapes, drawn.zones, strict=True) if zone is None
    ]
    soils = list(zip(pieces.facts, pieces.sites, strict=True))
    grounds = made_of(new_shapes, pieces.shapes, soils)
    made = iter(zones_of(new_shapes, grounds, pieces.crs))
    for number, (shape, zone) in enumerate(zip(drawn.shapes, drawn.zones, strict=True), start=1):
        drawn_zone = zone or next(made)
        if drawn_zone.shape is not shape:  # it has a corner more, where a neighbour was parted
            area_ha = geodesic_area_ha(shape, pieces.crs)
            drawn_zone = replace(drawn_zone, shape=shape, area_ha=area_ha)
        yield replace(drawn_zone, id=number, name=names.get(number, ""))
