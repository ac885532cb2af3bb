"""Places in a plan: one in a zone, the zone at one, a line that splits it; which changes hold."""

from collections.abc import Collection, Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, move
from zoneplan.notices import Notice
from zoneplan.plan.model import Plan
from zoneplan.zones.coverage import split, within
from zoneplan.zones.edit import Edit, Override, Point, Rename, Split

_PLACES = 7  # decimals of a degree: a centimetre
_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)  # of the way across: the middle first
_BEYOND_M = 0.1  # past both edges, so that rounding leaves no neck
NOT_PLACED = (
    "edit-outside-field",
    "split-parts-none",
    "merge-within-zone",
    "merge-without-border",
)
WAYS = ("north from south", "east from west")


def place_in(plan: Plan, number: int) -> Point:
    """A place well inside a zone, which says which zone is meant when zones are drawn again."""
    return _degrees(plan, shapely.maximum_inscribed_circle(_shape(plan, number)))


def zone_at(plan: Plan, at: Point) -> int | None:
    """Number of the zone that holds a place; None where none does."""
    point = move(shapely.Point(at), WGS_84, plan.field.crs)
    return next(
        (
            setting.zone.id
            for setting in plan.settings
            if shapely.intersects(setting.zone.shape, point)
        ),
        None,
    )


def neighbours(plan: Plan, number: int) -> list[int]:
    """Numbers of the zones that have a border with a zone, not only a corner."""
    shape = _shape(plan, number)
    return [
        setting.zone.id
        for setting in plan.settings
        if setting.zone.id != number and shapely.intersection(setting.zone.shape, shape).length > 0
    ]


def halved(plan: Plan, number: int, way: str) -> Split:
    """Split a zone in two near its middle, and no other zone.

    Parameters
    ----------
    plan, number : Plan, int
        Whose zone.
    way : str
        One of WAYS.

    Raises
    ------
    LayerError
        Where no straight line that way runs through it from edge to edge: a ring, as thin.
    """
    shape = _shape(plan, number)
    west, south, east, north = shape.bounds
    for share in _SHARES:
        x, y = west + share * (east - west), south + share * (north - south)
        across = [(west, y), (east, y)] if way == WAYS[0] else [(x, south), (x, north)]
        inside = shapely.get_parts(shapely.intersection(LineString(across), shape))
        for chord in sorted(inside, key=shapely.length, reverse=True):
            ends = shapely.points(shapely.get_coordinates(chord)[[0, -1]])
            outer = shapely.distance(ends, shape.exterior) < _BEYOND_M
            if chord.length and outer.all():  # one to a hole would split nothing
                (x0, y0), (x1, y1) = shapely.get_coordinates(chord)[[0, -1]].tolist()
                dx, dy = (_BEYOND_M * step / chord.length for step in (x1 - x0, y1 - y0))
                line = shapely.Point(x0 - dx, y0 - dy), shapely.Point(x1 + dx, y1 + dy)
                across_it = _degrees(plan, line[0]), _degrees(plan, line[1])
                return Split(across_it, at=place_in(plan, number))
    raise LayerError(
        f"No straight line splits zone {number}, {way}.\n"
        "It runs round other ground, or it is too thin.\n"
        "Draw a line of your own on the map."
    )


def split_by(plan: Plan, number: int, line: Sequence[Point]) -> Split:
    """Split one zone along a line, however far that is drawn past its edges.

    Parameters
    ----------
    plan, number : Plan, int
        Whose zone.
    line : sequence of (float, float)
        Its corners, longitude and latitude in degrees.

    Raises
    ------
    LayerError
        Where it does not split the zone, or is nowhere on earth.
    """
    for east, north in line:
        if not (abs(north) <= 90 and abs(east) <= 180):
            raise LayerError(
                f"The line has a corner at latitude {north:g}, longitude {east:g}, which is no "
                "place on earth: write latitude first, then longitude."
            )
    drawn = LineString(line) if len(line) > 1 else LineString()
    across = within(move(drawn, WGS_84, plan.field.crs), _shape(plan, number))
    pieces, _ = split(np.array([_shape(plan, number)], dtype=object), across)
    if len(pieces) == 1:
        raise LayerError(
            f"The line does not split zone {number}: it crosses it nowhere from edge to edge.\n"
            "Begin it outside the zone, and end it outside."
        )
    corners = tuple((round(east, _PLACES), round(north, _PLACES)) for east, north in line)
    return Split(corners, at=place_in(plan, number))


def left_out(
    plan: Plan, edits: Sequence[Edit], codes: Collection[str] | None = None
) -> Mapping[int, Notice]:
    """Give the changes that do not hold, by their number, counted from 1.

    Parameters
    ----------
    plan : Plan
        Made with these changes.
    edits : sequence of Edit
        In the order they were made.
    codes : collection of str, optional
        Only of notices with these codes: `NOT_PLACED` for changes that fit nowhere.
    """
    out: dict[int, Notice] = {}
    for notice in plan.notices:
        if codes is not None and notice.code not in codes:
            continue
        if notice.code in NOT_PLACED:
            out[notice["change"]] = notice
        elif notice.code == "later-edit-stands":
            out[notice["falls"]] = notice
        elif notice.code == "override-left-out":
            for number, edit in enumerate(edits, start=1):
                if (
                    isinstance(edit, Override)
                    and (edit.decides, edit.moisture) == (notice["decides"], notice.moisture)
                    and zone_at(plan, edit.at) == notice.zone
                ):
                    out[number] = notice
    return out


def replaced(plan: Plan, edits: Sequence[Edit]) -> Mapping[int, int]:
    """Give the changes that a later one of the same zone took the place of, and which one.

    Parameters
    ----------
    plan, edits : Plan, sequence of Edit
        As `left_out` takes them.
    """
    last: dict[tuple[int | None, str, str], int] = {}
    out = {}
    for number, edit in reversed([*enumerate(edits, start=1)]):
        if not isinstance(edit, Override | Rename):
            continue
        says = ("name", "") if isinstance(edit, Rename) else (edit.decides, edit.moisture)
        subject = (zone_at(plan, edit.at), *says)
        if subject in last and subject[0] is not None:
            out[number] = last[subject]
        last.setdefault(subject, number)
    return out


def _shape(plan: Plan, number: int) -> Polygon:
    return next(setting.zone.shape for setting in plan.settings if setting.zone.id == number)


def _degrees(plan: Plan, place: BaseGeometry) -> Point:
    moved = shapely.get_coordinates(move(place, plan.field.crs, WGS_84))[0]
    east, north = moved.round(_PLACES).tolist()
    return east, north
