"""Where each zone's number goes on the map: inside its zone, or beside the field."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import shapely
from shapely.geometry import MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from zoneplan.plan.model import ZoneSetting
from zoneplan.say.summary import why_blank
from zoneplan.terms import Moisture

APART_MM = 6.0  # from the field to the numbers beside it


@dataclass(frozen=True)
class Label:
    """A zone's number, in metres. One that does not fit its zone stands beside the field."""

    number: int
    word: str  # why there is no number to aim for; empty where there is one
    x: float
    y: float
    foot: tuple[float, float] | None = None  # where its leader line touches the zone

    @property
    def radius_mm(self) -> float:
        """Of its disc, which holds two digits, or three."""
        return 2.5 if self.number < 100 else 3.2

    @property
    def half_word_mm(self) -> float:
        """Half the width that its word takes."""
        return 0.8 * len(self.word)


@lru_cache(maxsize=1024)  # every map of a plan asks
def roomiest(shape: Polygon | MultiPolygon) -> tuple[float, float, float]:
    """Find the middle of the largest circle inside a shape, and its radius."""
    radius = shapely.maximum_inscribed_circle(shape)
    x, y = radius.coords[0]
    return x, y, radius.length


def place_labels(
    settings: Sequence[ZoneSetting],
    moisture: Moisture,
    bounds: tuple[float, float, float, float],
    mm: float,
) -> list[Label]:
    """Set each number at the roomiest place of its zone, or beside the field.

    Parameters
    ----------
    settings : sequence of ZoneSetting
        The zones to number.
    moisture : str
        Decides which zones carry a word with their number.
    bounds : (float, float, float, float)
        West, south, east and north of the field. [m]
    mm : float
        Metres of ground to a millimetre of the drawing.
    """
    inside, outside = [], []
    for setting in settings:
        word = why_blank(setting.moistures[moisture])
        x, y, room_m = roomiest(setting.zone.shape)
        label = Label(setting.zone.id, word, x, y)
        if room_m < label.radius_mm * mm:
            outside.append(replace(label, foot=(x, y)))
            continue
        # a word wants the number a little higher; where both do not fit, the number goes alone
        worded = replace(label, y=y + 1.7 * mm)
        fits = word and setting.zone.shape.covers(_footprint(worded, mm))
        inside.append(worded if fits else replace(label, word=""))
    west, south, east, north = bounds
    left = [label for label in outside if label.x < (west + east) / 2]
    right = [label for label in outside if label.x >= (west + east) / 2]
    return [
        *inside,
        *_beside(left, west, -APART_MM * mm, (south, north), mm),
        *_beside(right, east, APART_MM * mm, (south, north), mm),
    ]


def _footprint(label: Label, mm: float) -> BaseGeometry:
    """The ground that a label covers: its disc, and its word below."""
    disc = Point(label.x, label.y).buffer(label.radius_mm * mm)
    if not label.word:
        return disc
    half = label.half_word_mm * mm
    return disc.union(box(label.x - half, label.y - 6.2 * mm, label.x + half, label.y))


def _beside(
    labels: list[Label], edge: float, apart: float, reach: tuple[float, float], mm: float
) -> list[Label]:
    """Set labels beside one edge of the field, in as many columns as its height asks for."""
    ordered = sorted(labels, key=lambda label: label.y)
    columns = math.ceil(sum(_step(label, mm) for label in ordered) / (reach[1] - reach[0]))
    if columns > 1:  # no room for words between them
        ordered = [replace(label, word="") for label in ordered]
    return [
        replace(label, x=edge + (i + 1) * apart, y=y)
        for i in range(columns)
        for label, y in _stacked(ordered[i::columns], reach, mm)
    ]


def _stacked(
    ordered: list[Label], reach: tuple[float, float], mm: float
) -> Iterator[tuple[Label, float]]:
    """Set labels in a column, each near its zone's height, from the field's foot to its head."""
    lowest, highest = reach
    steps = [_step(label, mm) for label in ordered]
    heights: list[float] = []
    for label, step in zip(ordered, steps, strict=True):
        heights.append(max(label.y, heights[-1] + step if heights else lowest))
    ceiling = max(highest, lowest + sum(steps[1:]))
    for i in reversed(range(len(heights))):
        heights[i] = min(heights[i], ceiling)
        ceiling = heights[i] - steps[i]
    return zip(ordered, heights, strict=True)


def _step(label: Label, mm: float) -> float:
    """From the label below to this one, whose word hangs below its number."""
    return (9.8 if label.word else 5.8) * mm
