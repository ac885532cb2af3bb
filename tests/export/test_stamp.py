"""A plan of a generic planter says so on every page and in every file, until it is weighed."""

import csv
import io
import json
import sqlite3
from dataclasses import replace
from functools import cache

import geopandas as gpd
import pytest
from pypdf import PdfReader

from tests.export.plans import MACHINE, small_plan
from tests.export.sheets.test_summary import words as page_words
from zoneplan.export.bundle import bundle_files
from zoneplan.export.manifest import Options
from zoneplan.notices import notice
from zoneplan.plan.model import Plan
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.say.summary import stamp
from zoneplan.say.trade import INVENTED
from zoneplan.terms import System

STAMP = "Generic planter, invented weights: weigh your own"


def generic() -> Plan:
    machine = replace(MACHINE, generic=True)
    return replace(small_plan(), machine=machine, notices=(notice("generic-machine"),))


@cache
def files(units: str) -> dict[str, bytes]:
    return bundle_files(generic(), Options(units=units))


@cache
def own_files() -> dict[str, bytes]:
    return bundle_files(small_plan(), Options())


def test_the_generic_planters_are_marked_and_a_weighed_one_is_not() -> None:
    assert INVENTED == "invented weights: weigh your own"
    assert {read_machine(system).generic for system in System} == {True}
    assert (stamp(generic()), stamp(small_plan())) == (STAMP, "")


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("name", ["summary.pdf", "cab.pdf", "agronomist.pdf"])
def test_every_page_of_every_sheet_says_it(name: str, units: str) -> None:
    pages = [page_words(page) for page in PdfReader(io.BytesIO(files(units)[name])).pages]
    assert pages
    assert [page for page in pages if f"{STAMP}. Starting point only" not in page] == []
    assert pages[0].count(STAMP) >= 2  # and once beside the planter, where it is read first
    own = PdfReader(io.BytesIO(own_files()[name])).pages
    assert not any("weigh your own" in page_words(each) for each in own)


@pytest.mark.parametrize("units", ["us", "si"])
def test_the_page_says_it_at_its_head_and_at_its_foot(units: str) -> None:
    html = files(units)["field.html"].decode()
    head, foot = html.index("<h1>"), html.index("<footer>")
    assert STAMP in html[head : head + 300]
    assert STAMP in html[foot:]
    assert "weigh your own" not in own_files()["field.html"].decode()


def test_files_of_zones_say_it_zone_by_zone() -> None:
    result, own = files("us"), own_files()
    for name, text in ((result, STAMP), (own, "")):
        table = csv.DictReader(io.StringIO(name["zones.csv"].decode(), newline=""))
        assert {each["planter"] for each in table} == {text}
        features = json.loads(name["zones.geojson"])["features"]
        assert {feature["properties"]["planter"] for feature in features} == {text}
    shapes = gpd.read_file(io.BytesIO(result["zones.zip"]))
    assert set(shapes["PLANTER"]) == {STAMP}


def test_the_geopackage_says_it_in_its_provenance() -> None:
    database = sqlite3.connect(":memory:")
    database.deserialize(files("us")["zones.gpkg"])
    query = "SELECT value FROM provenance WHERE name = 'planter'"
    assert database.execute(query).fetchall() == [(STAMP,)]
    database.close()


def test_documents_say_it() -> None:
    plan = json.loads(files("us")["plan.json"])
    assert plan["machine"]["generic"] is True
    assert any(note.startswith("Invented weights: weigh your own.") for note in plan["notes"])
    manifest = json.loads(files("us")["manifest.json"])
    assert manifest["planter"] == STAMP
    assert manifest["taskset_notes"][0] == f"{STAMP}."
    assert json.loads(own_files()["manifest.json"])["planter"] == ""
