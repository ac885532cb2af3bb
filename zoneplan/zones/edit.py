"""What a person changes in a plan, each change tied to a place and not to a zone's number.

Zones are drawn again whenever the ground or the machine changes; a place stays where it is. Every
change says who made it, when and why; those of before zoneplan asked for it leave that empty.
"""

import datetime
from dataclasses import dataclass

from zoneplan.terms import Moisture

Point = tuple[float, float]  # longitude, latitude in degrees: WGS 84
More = tuple[tuple[str, str], ...]  # what a newer zoneplan says besides: names, and values as JSON


@dataclass(frozen=True)
class Split:
    """Part the zone that holds a place along a line; without one, every zone that it crosses."""

    line: tuple[Point, ...]
    at: Point | None = None
    why: str = ""
    initials: str = ""
    on: datetime.date | None = None
    more: More = ()


@dataclass(frozen=True)
class Merge:
    """Make one zone of the two that hold these places, which must be neighbours."""

    one: Point
    other: Point
    why: str = ""
    initials: str = ""
    on: datetime.date | None = None
    more: More = ()


@dataclass(frozen=True)
class Rename:
    """Give the zone that holds this place a name; an empty one takes it away."""

    at: Point
    name: str
    why: str = ""
    initials: str = ""
    on: datetime.date | None = None
    more: More = ()


@dataclass(frozen=True)
class Override:
    """Put a person's number in place of the rules'."""

    at: Point  # in the zone
    decides: str  # "margin" or "closing"
    moisture: Moisture
    value: float | str  # margin target [N], or the name of a closing notch
    why: str
    initials: str
    on: datetime.date
    sure: bool = False  # it lies far outside its window: that was asked, and it is meant
    more: More = ()


Edit = Split | Merge | Rename | Override
