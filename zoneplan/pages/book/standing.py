"""The fields of a book as they stand, drawn from its caches.

What a list and a map need is worked out once for each change of the book, whoever made it, and
shared.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock
from typing import Any

import numpy as np
import shapely
import streamlit as st
from shapely.geometry.base import BaseGeometry

from zoneplan.book.database import Book
from zoneplan.book.fields import BookField, boundaries_of, fields, mark_of
from zoneplan.book.look import Look, by_need, needs_a_look
from zoneplan.export.maps import in_metres

EVERYBODY = "all growers"
_SIMPLER_M = 12.0  # an outline on the map may be off by so much: a county's map is 40 km wide
STEP_M = 10.0  # of the map's corners: a third of a pixel of it


@dataclass(frozen=True)
class Listed:
    """A field as the list shows it."""

    field: BookField
    looks: tuple[Look, ...]

    @property
    def id(self) -> int:
        """Its number in the book."""
        return self.field.id


@dataclass(frozen=True)
class Standing:
    """The fields of the book as they stand."""

    mark: tuple[int, ...]  # another after every change
    listed: tuple[Listed, ...]  # the worst first
    growers: tuple[str, ...]
    season: str


@dataclass(frozen=True)
class Outlines:
    """Every field's outline, ready for a map."""

    paths: dict[int, str]  # by field: an SVG path, in steps of STEP_M
    box: tuple[float, float, float, float]  # west, south, east, north, in the same
    ground: Sequence[BaseGeometry] = ()  # in metres, in the order of the paths

    def at(self, east: float, north: float) -> list[int]:
        """Give the fields that lie at a place, in steps of STEP_M."""
        there = shapely.intersects_xy(self.ground, east * STEP_M, north * STEP_M)
        return [one for one, lies in zip(self.paths, there, strict=True) if lies]


def standing(book: Book) -> Standing:
    """List the fields as they stand, the worst first."""
    mark = mark_of(book)
    shared = _shared()
    with shared.lock:
        if shared.standing is None or shared.standing.mark != mark:
            ordered = by_need(fields(book))
            listed = tuple(Listed(field, needs_a_look(field)) for field in ordered)
            growers = tuple(sorted({field.grower for field in ordered}))
            season = ordered[0].season if ordered else ""
            shared.standing = Standing(mark, listed, growers, season)
        return shared.standing


def outlines(book: Book, stands: Standing) -> Outlines:
    """Give the outlines of the fields listed; they are simplified anew when a boundary changes."""
    mark, *_ = stands.mark
    shared = _shared()
    with shared.lock:
        if shared.outlines is None or shared.outlines[0] != mark:
            ids = [one.id for one in stands.listed]
            shared.outlines = (mark, _drawn(boundaries_of(book, ids)))
        return shared.outlines[1]


def _drawn(shapes: dict[int, Any]) -> Outlines:
    if not shapes:
        return Outlines({}, (0.0, 0.0, 1.0, 1.0))
    ground = shapely.simplify(in_metres([*shapes.values()]), _SIMPLER_M)
    west, south, east, north = (float(side) / STEP_M for side in shapely.total_bounds(ground))
    paths = (_path(shape) for shape in ground)
    named = dict(zip(shapes, paths, strict=True))
    return Outlines(named, (west, south, east, north), [*ground])


def _path(shape: Any) -> str:
    """Write an outline in few letters: north up, each corner by how far it is from the last."""
    path = ""
    for part in shapely.get_parts(shape):
        for ring in (part.exterior, *part.interiors):
            corners = np.round(shapely.get_coordinates(ring)[:-1] / STEP_M).astype(int) * [1, -1]
            (x, y), steps = corners[0], np.diff(corners, axis=0)
            moved = " ".join(f"{east} {south}" for east, south in steps if east or south)
            path += f"M{x} {y}l{moved}z".replace(" -", "-")
    return path


class _Shared:
    def __init__(self) -> None:
        self.lock = Lock()
        self.standing: Standing | None = None
        self.outlines: tuple[int, Outlines] | None = None


@st.cache_resource(show_spinner=False)
def _shared() -> _Shared:
    return _Shared()
