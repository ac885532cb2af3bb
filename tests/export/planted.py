"""Small differences planted in files that are otherwise a plan's own, one in each."""

import io
import json
import sqlite3
import zipfile
from dataclasses import replace
from functools import cache
from itertools import pairwise

import shapefile

from tests.export.plans import FIELD, small_plan
from zoneplan.export.sheets.printed import agronomist_pdf, cab_pdf, summary_pdf
from zoneplan.export.webpage import webpage_html


def text(pattern, put, encoding="utf-8"):
    """Change one text for another, the first time that it is there."""

    def change(content):
        assert pattern.encode(encoding) in content
        return content.replace(pattern.encode(encoding), put.encode(encoding), 1)

    return change


def geojson(change_collection):
    def change(content):
        collection = json.loads(content)
        change_collection(collection["features"])
        return json.dumps(collection).encode("utf-8")

    return change


def move_corner(features):
    """One corner of zone 3 goes a metre to the east."""
    ring = features[2]["geometry"]["coordinates"][0]
    for corner in ring:
        if corner == max(ring):
            corner[0] += 0.000012


def move_zone(features):
    """Zone 2 goes five metres to the east, as large as before."""
    for corner in features[1]["geometry"]["coordinates"][0]:
        corner[0] = round(corner[0] + 0.00006, 7)


def drop_zone(features):
    del features[1]


def swap_zones(features):
    features[0], features[1] = features[1], features[0]


def drop_property(features):
    for feature in features:
        del feature["properties"]["wait"]


def shapefile_zip(part, change_part):
    """Change one file in the zip."""

    def change(content):
        packed = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(packed, "w") as new:
            for name in old.namelist():
                raw = old.read(name)
                new.writestr(name, change_part(raw) if name == part else raw)
        return packed.getvalue()

    return change


def other_shapes(content):
    """The same table, with all zones drawn a hundredth larger."""
    with zipfile.ZipFile(io.BytesIO(content)) as old:
        parts = {kind: io.BytesIO(old.read(f"zones.{kind}")) for kind in ("shp", "shx", "dbf")}
        shapes = shapefile.Reader(**parts).shapes()
        shp, shx = io.BytesIO(), io.BytesIO()
        with shapefile.Writer(shp=shp, shx=shx, shapeType=shapefile.POLYGON) as writer:
            for shape in shapes:
                starts = [*shape.parts, len(shape.points)]
                rings = [shape.points[a:b] for a, b in pairwise(starts)]
                _, y0 = rings[0][0]
                writer.poly([[(x, y0 + 1.01 * (y - y0)) for x, y in ring] for ring in rings])
            writer.close()
    for part, raw in (("zones.shp", shp.getvalue()), ("zones.shx", shx.getvalue())):
        content = shapefile_zip(part, lambda _, raw=raw: raw)(content)
    return content


def geopackage(statement):
    def change(content):
        database = sqlite3.connect(":memory:")
        database.deserialize(content)
        for name in ("IsEmpty", "MinX", "MaxX", "MinY", "MaxY"):
            database.create_function(f"ST_{name}", 1, lambda _: 0)  # its triggers name them
        database.execute(statement)
        database.commit()
        changed = database.serialize()
        database.close()
        return changed

    return change


def sheet(make):
    """The same sheet for another field."""
    return lambda _: _elsewhere(make)


@cache
def _elsewhere(make):
    return make(replace(small_plan(), field=replace(FIELD, name="Crêt-du-Noyer, côté sud")))


# What is changed, how, and what is told of it.
PLANTED = {
    "a value in the document": (
        "plan.json",
        text('"margin_n": 494.0', '"margin_n": 495.0'),
        "$.zones[1].moistures.moist.margin_n is 495.0, not 494.0",
    ),
    "a value in GeoJSON": (
        "zones.geojson",
        text('"margin_n": 544.0', '"margin_n": 545.0'),
        "zone 1: margin_n is 545.0, not 544.0",
    ),
    "a word in GeoJSON": (
        "zones.geojson",
        text('"closing_notch": "middle"', '"closing_notch": "firm"'),
        "zone 1: closing_notch is 'firm', not 'middle'",
    ),
    "a value where there is none": (
        "zones.geojson",
        text('"margin_n": null', '"margin_n": 100.0'),
        "zone 3: margin_n is 100.0, not None",
    ),
    "a corner in GeoJSON": (
        "zones.geojson",
        geojson(move_corner),
        "zone 3 encloses 2.0",
    ),
    "a zone elsewhere": (
        "zones.geojson",
        geojson(move_zone),
        "zone 2 does not lie where the plan has it",
    ),
    "a zone less": ("zones.geojson", geojson(drop_zone), "it has the zones 1, 3, not 1, 2, 3"),
    "zones in another order": (
        "zones.geojson",
        geojson(swap_zones),
        "it has the zones 2, 1, 3, not 1, 2, 3",
    ),
    "a column less": ("zones.geojson", geojson(drop_property), "it has no column wait"),
    "half of GeoJSON": ("zones.geojson", lambda each: each[: len(each) // 2], "it cannot be read"),
    "a value in the shapefile": (
        "zones.zip",
        shapefile_zip("zones.dbf", text("494.000", "495.000", "ascii")),
        "zone 2: MARGIN is 495.0, not 494.0",
    ),
    "the shapes of the shapefile": ("zones.zip", other_shapes, "zone 1 encloses 3.6"),
    "a shapefile without its table": (
        "zones.zip",
        lambda each: each.replace(b"zones.dbf", b"zones.xyz"),
        "it cannot be read",
    ),
    "a zip that is none": ("zones.zip", lambda each: each[:100], "it cannot be read"),
    "a value in the GeoPackage": (
        "zones.gpkg",
        geopackage("UPDATE zones SET clay_frac = 0.21 WHERE id = 1"),
        "zone 1: clay_frac is 0.21, not 0.2",
    ),
    "a setting in the GeoPackage": (
        "zones.gpkg",
        geopackage("UPDATE settings SET setting = 0 WHERE zone = 2"),
        "zone 2: setting is 0.0, not 556.0",
    ),
    "a setting less": (
        "zones.gpkg",
        geopackage("DELETE FROM settings WHERE zone = 3"),
        "it has the zones 1, 2, not 1, 2, 3",
    ),
    "provenance": (
        "zones.gpkg",
        geopackage("UPDATE provenance SET value = 'tilled' WHERE name = 'tillage'"),
        "its table provenance is not the plan's",
    ),
    "another kind of database": (
        "zones.gpkg",
        geopackage("PRAGMA application_id = 0"),
        "its application_id is [(0,)], not [(1196444487,)]",
    ),
    "a damaged database": (
        "zones.gpkg",
        lambda each: each[:20000] + bytes(20000) + each[40000:],
        "it cannot be read",
    ),
    "a value in the table": (
        "zones.csv",
        text(",556.0,true,", ",556.0,false,"),
        "zone 1: reached is False, not True",
    ),
    "a column more": (
        "zones.csv",
        lambda each: each.replace(b"\r\n", b",x\r\n"),
        "it has a column x, which is not ours",
    ),
    "a command": (
        "TASKDATA/TASKDATA.XML",
        text('B="556"', 'B="557"'),
        "zone 1: it commands 557 N, not 556",
    ),
    "a name at the terminal": (
        "TASKDATA/TASKDATA.XML",
        text("close middle", "close firm"),
        "zone 1 is named '1 downforce 125lb close firm', not '1 downforce 125lb close middle'",
    ),
    "a zone's number": (
        "TASKDATA/TASKDATA.XML",
        text('TZN A="3"', 'TZN A="4"'),
        "it has the zones [0, 1, 2, 4], not 0 and [1, 2, 3]",
    ),
    "a corner at the terminal": (
        "TASKDATA/TASKDATA.XML",
        text('C="42.0509', 'C="42.0519'),
        "its field has",
    ),
    "half a task set": (
        "TASKDATA/TASKDATA.XML",
        lambda each: each[:-9],
        "TASKDATA.XML cannot be read",
    ),
    "another field's summary": ("summary.pdf", sheet(summary_pdf), "so it is not for Crêt"),
    "another field's cab sheet": ("cab.pdf", sheet(cab_pdf), "so it is not for Crêt"),
    "another field's reasons": ("agronomist.pdf", sheet(agronomist_pdf), "so it is not for Crêt"),
    "another field's page": ("field.html", sheet(webpage_html), "not Crêt"),
    "a zone the page forgot": (
        "field.html",
        lambda each: each.replace(b'data-zone="2"', b'data-zone="3"'),
        "it tells of zones ['1', '3']",
    ),
    "half a sheet": ("cab.pdf", lambda each: each[: len(each) // 2], "it cannot be read"),
}

ONE_EACH = list({name: planted for planted, (name, _, _) in PLANTED.items()}.values())
