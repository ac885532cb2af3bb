"""What is drawn, on its way into a question and back.

All that is wrong with it is told at once, before any of it is used.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations, count

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError
from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.outline import LEAST_HA
from zoneplan.field.shapes import Field
from zoneplan.pages.outline import PLACES, Outline, rounded, stop_for
from zoneplan.pages.outline_validation import fault_of, off_the_earth
from zoneplan.request import Drawn
from zoneplan.units import M2_PER_HA
from zoneplan.zones.edit import Edit, Split
from zoneplan.zones.split_merge import parted

LINE = "line"  # that splits zones: drawn like an outline, and no ground
Ground = Polygon | MultiPolygon


def outlines_of(drawn: Iterable[Drawn], what: str) -> list[Outline]:
    """What was drawn of one kind, ring by ring: a hole is an outline inside another."""
    return [
        Outline(it.name, rounded(ring.coords[:-1]))
        for it in drawn
        if it.what == what
        for part in shapely.get_parts(shape_of(it))
        for ring in (part.exterior, *part.interiors)
    ]


def drawn_from(
    outlines: Sequence[Outline], what: str, meets: Ground | None = None
) -> tuple[Drawn, ...]:
    """Check all outlines of one kind, and put them as a question has them.

    Parameters
    ----------
    outlines : sequence of Outline
        One of the boundary that lies inside another is a hole in it. Any other that lies
        inside another comes to stand before it, so that it is not hidden.
    what : str
        "boundary", "zone", "headland" or "soil".
    meets : Polygon or MultiPolygon, optional
        In degrees: the field, or for its boundary where soil lies. Each must meet it.

    Raises
    ------
    LayerError
        Telling every outline that cannot be used, why, and what to do.
    """
    named = _named(outlines, what)
    faults = [
        f"{_called(number, it, len(named))} {fault}"
        for number, it in enumerate(named, start=1)
        if (fault := fault_of(it, what, meets))
    ]
    stop_for(faults, "What is drawn")
    shapes = [Polygon(it.corners) for it in named]
    if what == "boundary":
        parts = _with_holes(shapes)
        drawn = tuple(Drawn(what, named[0].name, shapely.to_geojson(part)) for part in parts)
        if drawn and (ground_ha := sum(map(area_ha, drawn))) < LEAST_HA:
            raise LayerError(
                f"The boundary encloses {ground_ha * M2_PER_HA:.2g} m², too little to plant: "
                "draw it larger."
            )
        return drawn
    depths = _depths(shapes)
    order = sorted(range(len(shapes)), key=lambda at: -depths[at])
    return tuple(Drawn(what, named[at].name, shapely.to_geojson(shapes[at])) for at in order)


def boundary_of(field: Field) -> tuple[Drawn, ...]:
    """The boundary of a file as if it were drawn, so that its edges can be moved."""
    shape = shapely.transform(move(field.shape, field.crs, WGS_84), lambda at: at.round(PLACES))
    return tuple(
        Drawn("boundary", field.name, shapely.to_geojson(part)) for part in shapely.get_parts(shape)
    )


def shape_of(drawn: Drawn) -> Ground:
    """Its shape, in degrees."""
    shape = shapely.from_geojson(drawn.shape)
    assert isinstance(shape, Polygon | MultiPolygon)
    return shape


def area_ha(drawn: Drawn) -> float:
    """True area. [ha]"""
    return geodesic_area_ha(shape_of(drawn), WGS_84)


def lines_of(edits: Iterable[Edit]) -> list[Outline]:
    """The lines that split zones, called by their turn."""
    splits = [edit for edit in edits if isinstance(edit, Split)]
    return [Outline(f"line {number}", edit.line) for number, edit in enumerate(splits, start=1)]


def edits_from(
    lines: Sequence[Outline], before: Sequence[Edit], zones: Sequence[Polygon], crs: str
) -> tuple[Edit, ...]:
    """Put lines in the place of those before; other changes stay where they are.

    Parameters
    ----------
    lines : sequence of Outline
        A line keeps its turn by the name that `lines_of` gave it; others come last.
    before : sequence of Edit
        All changes as they stand.
    zones, crs : sequence of Polygon, str
        The zones as they stand, in the field's metric system.

    Raises
    ------
    LayerError
        Telling every line that is new or moved and parts no zone.
    """
    stop_for([*_idle(lines, lines_of(before), np.array(zones, dtype=object), crs)], "What is drawn")
    left, turns = [*lines], iter(lines_of(before))
    edits: list[Edit] = []
    for edit in before:
        if not isinstance(edit, Split):
            edits.append(edit)
            continue
        name = next(turns).name
        if kept := next((it for it in left if it.name == name), None):
            left.remove(kept)
            edits.append(Split(kept.corners))
    return (*edits, *(Split(it.corners) for it in left))


def _idle(
    lines: Sequence[Outline], before: Sequence[Outline], zones: np.ndarray, crs: str
) -> Iterator[str]:
    """Tell which lines, of those that are new or moved, part nothing."""
    for number, it in enumerate(lines, start=1):
        if it in before:
            continue
        who = f"Line {number}" if len(lines) > 1 else "The line"
        if fault := off_the_earth(it):
            yield f"{who} {fault}"
            continue
        parts, _ = parted(zones, move(LineString(it.corners), WGS_84, crs))
        if len(parts) == len(zones):
            yield f"{who} crosses no zone from edge to edge: begin and end it outside the zone."
        zones = parts


def _named(outlines: Iterable[Outline], what: str) -> list[Outline]:
    """Give those a name that have none."""
    named: list[Outline] = []
    for it in outlines:
        taken = {other.name for other in named}
        number = next(number for number in count(1) if f"drawn {number}" not in taken)
        instead = {"boundary": "drawn field", "headland": "headland", "zone": f"drawn {number}"}
        named.append(replace(it, name=it.name or instead.get(what, "")))
    return named


def _called(number: int, outline: Outline, of: int) -> str:
    return "The outline" if of == 1 else f"Outline {number}, “{outline.name}”,"


def _with_holes(shapes: Sequence[Polygon]) -> Sequence[Polygon]:
    """Ground from outlines: one that lies inside another is a hole, one in a hole is ground.

    Their corners stay as they were drawn; only outlines that overlap are joined.
    """
    if any(one.equals(other) for one, other in combinations(shapes, 2)):
        raise LayerError("Two outlines of the boundary are the same: delete one of them.")
    if any(one.overlaps(other) for one, other in combinations(shapes, 2)):
        whole: BaseGeometry = MultiPolygon()
        for shape in sorted(shapes, key=lambda it: -it.area):
            whole = whole.difference(shape) if whole.covers(shape) else whole.union(shape)
        return [part for part in shapely.get_parts(whole) if isinstance(part, Polygon)]
    depths = _depths(shapes)
    return [
        Polygon(
            ground.exterior,
            [
                hole.exterior
                for hole, deep in zip(shapes, depths, strict=True)
                if deep == depth + 1 and _lies_in(hole, ground)
            ],
        )
        for ground, depth in zip(shapes, depths, strict=True)
        if depth % 2 == 0
    ]


def _depths(shapes: Sequence[Polygon]) -> list[int]:
    """In how many others each lies."""
    return [sum(_lies_in(one, other) for other in shapes) for one in shapes]


def _lies_in(one: Polygon, other: Polygon) -> bool:
    return one.area < other.area and bool(other.covers(one))
