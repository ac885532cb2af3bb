"""The report of `zoneplan soil --probe`."""

import itertools
import json

import pytest
from shapely.geometry import box

from tests.helpers.public_service import Fault, page, public_service
from tests.helpers.survey_tables import SurveyTables
from zoneplan.demo import demo_field
from zoneplan.field.service.elevation import HeightService
from zoneplan.field.service.manners import Caller
from zoneplan.field.service.probe import SQUARE, probe
from zoneplan.field.service.questions import Questions


@pytest.fixture
def iowa():
    """A server whose demo survey lies under the square that is asked about."""
    tables = SurveyTables([demo_field("creek").survey])
    west, south, east, north = SQUARE.bounds
    tables.database.execute(
        "UPDATE mupolygon SET mupolygongeo = ? WHERE mupolygonkey = '500001'",
        (box(west - 1, south - 1, east + 1, north + 1).wkt,),
    )
    with public_service(tables, most_cells=4000) as service:
        yield service


def report(server, cache):
    caller = Caller(sleep=lambda _: None)
    clock = itertools.count()
    soils = Questions(caller, server.address)
    heights = HeightService(caller, cache, base=server.address)
    return [*probe(soils, heights, caller, lambda: float(next(clock)))]


def test_each_question_is_tried_once_and_found_as_expected(iowa, cache):
    lines = report(iowa, cache)
    trials = [line for line in lines if not line.startswith("    ")]
    assert len(trials) == len(iowa.seen) == 11
    assert all(": as expected" in line for line in trials)
    assert any("status 400, text/xml" in line for line in lines)  # as the wrong column is refused
    forms = {request.headers.get("content-type") for request in iowa.seen}
    assert forms == {"application/json", "application/x-www-form-urlencoded", None}


def test_what_is_otherwise_is_said_with_what_came(iowa, cache):
    iowa.always = page("Site is under daily maintenance")
    lines = report(iowa, cache)
    assert any("NOT AS EXPECTED" in line for line in lines)
    assert any("daily maintenance" in line for line in lines)


def test_keys_of_another_kind_are_told_and_go_into_no_question(iowa, cache):
    rows = [["areasymbol", "mukey", "musym", "muname", "mupolygonkey", "geom"]]
    rows.append(["Iowa'; --", "one", "7A", "Alpha", "1", "POLYGON ((0 0, 1 0, 1 1, 0 0))"])
    iowa.always = Fault(body=json.dumps({"Table": rows}).encode(), kind="application/json")
    lines = report(iowa, cache)
    assert "edition, tables: not tried, for no map named a survey area and map units" in lines
    assert any(line.startswith("map: as expected") for line in lines)


def test_where_nobody_answers_it_ends_soon(cache):
    with public_service() as gone:
        pass
    lines = report(gone, cache)
    assert [line for line in lines if "NOT ANSWERED" in line]
    assert "more of soils: not tried" in lines
    assert len(lines) <= 6
