"""A file of many fields on the soil of a demo field, and a book that is made of it."""

import json

from zoneplan.book.bring_in import bring_in, look_over
from zoneplan.book.opening import new_book
from zoneplan.book.outlines import Columns
from zoneplan.book.soil import add_soil
from zoneplan.book.supply import add_planter
from zoneplan.demo import demo_field

CREEK = demo_field("creek")
WEST, SOUTH, EAST, NORTH = -87.1007, 42.5395, -87.0895, 42.5477  # that its survey covers
NAMES = Columns("owner", "farm", "name")


def square(place, side=4, inset=0.05):
    """One of side x side squares of the survey, counted from the south-west, row by row."""
    across, up = place % side, place // side
    wide, high = (EAST - WEST) / side, (NORTH - SOUTH) / side
    west, east = (WEST + wide * (across + edge) for edge in (inset, 1 - inset))
    south, north = (SOUTH + high * (up + edge) for edge in (inset, 1 - inset))
    return [[west, south], [east, south], [east, north], [west, north], [west, south]]


def county(path, *rows, columns=("owner", "farm", "name")):
    """Write a GeoJSON of fields: what stands in their columns, then a ring."""
    features = [
        {
            "type": "Feature",
            "properties": dict(zip(columns, cells, strict=True)),
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        for *cells, ring in rows
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    return path


def book_of(address, tmp_path, *rows, soil=True, planter=True):
    """Make a book of fields on the demo survey, with its planter."""
    book = new_book(address, season="2027")
    file = county(tmp_path / "fields.geojson", *rows)
    bring_in(book, look_over(book, file, NAMES), who="Ann")
    if soil:
        add_soil(book, CREEK.survey, who="Ann")
    if planter:
        add_planter(book, CREEK.machine, who="Ann")
    return book


THREE = (
    ("Ann", "Home", "North", square(0)),
    ("Ann", "Home", "South", square(1)),
    ("Bob", "Hill", "North", square(2)),
)
