"""The client of the soil service, against a server that answers what is asked."""

import json
from dataclasses import replace
from datetime import timedelta

import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, box

from tests.field.service.conftest import NOON
from tests.helpers.public_service import Fault, page, xml
from tests.helpers.survey_tables import SurveyTables
from tests.pages.uploads import files_in, zipped
from zoneplan.demo import demo_field, demo_fields
from zoneplan.errors import ServiceError
from zoneplan.field.outline import read_field
from zoneplan.field.service import questions
from zoneplan.field.service.answer import Piece, SurveyAnswer, joined
from zoneplan.field.service.ground import asked_outline
from zoneplan.field.service.protocol import TABLE_COLUMNS
from zoneplan.field.survey.columns import Vintage
from zoneplan.field.survey.read import read_survey

TIMED_OUT = xml("Your query timed out.")  # with status 200: it looks like success
JSON = "application/json; charset=utf-8"


def fields():
    return [read_field(demo.boundary) for demo in demo_fields()]


def read(answer, folder):
    path = folder / answer.name
    path.write_bytes(answer.content)
    return read_survey(path)


def rows_of(answer):
    head, *rows = json.loads(answer.content)["Table"]
    return [dict(zip(head, row, strict=True)) for row in rows]


def test_size_first_then_the_map_the_edition_and_the_tables(soils, server, creek):
    soils.survey(creek)
    first, second, third, fourth = (request.query for request in server.seen)
    assert "COUNT(*)" in first
    assert "STIntersection" in second
    assert "sacatalog" in third
    assert "chorizon" in fourth
    assert {request.headers["user-agent"].partition("/")[0] for request in server.seen} == {
        "zoneplan"
    }
    assert {json.loads(request.body)["format"] for request in server.seen} == {"JSON+COLUMNNAME"}


def test_an_answer_is_read_as_a_survey_that_names_its_edition(soils, creek, tmp_path):
    survey = read(soils.survey(creek), tmp_path)
    (vintage,) = (note for note in survey.notes if note.code == "survey-vintage")
    assert survey.name == "ZZ901"
    assert dict(vintage.values) == {
        "area": "ZZ901",
        "area_name": "Neverwas County (invented)",
        "version": "31",
        "refreshed": "2025-09-04",
        "asked": "2026-11-28",
        "asked_of": soils.host,
    }


def test_the_map_is_cut_to_the_outline_and_covers_the_field(soils, creek, tmp_path):
    survey = read(soils.survey(creek), tmp_path)
    ground = shapely.union_all(survey.ground.to_crs(creek.crs).geometry)
    outline = creek.shape.buffer(33)  # of 30 m, simplified by 2 m, and rounding
    assert outline.covers(ground)
    # The demo survey ends beyond the field on all sides, so that nothing of it is bare.
    assert creek.shape.difference(ground).area < 0.01 * creek.shape.area


def test_each_row_of_the_tables_and_each_polygon_is_written_once(soils, creek):
    answer = soils.survey(creek)
    rows = rows_of(answer)
    shapes = [row["geom"] for row in rows if row["geom"]]
    assert len(shapes) == len(set(shapes)) == answer.polygons
    horizons = [row["chkey"] for row in rows if row["chkey"] and not row["geom"]]
    assert len(horizons) <= len(rows)
    assert {row["mukey"] for row in rows if row["geom"]} == {row["mukey"] for row in rows}


def test_a_second_row_that_describes_columns_is_no_soil(soils, server, creek, tmp_path):
    server.metadata = True
    plain = read(soils.survey(creek), tmp_path)
    server.metadata = False
    described = read(soils.survey(replace(creek, name="again")), tmp_path)
    assert list(plain.ground["facts"]) == list(described.ground["facts"])


@pytest.mark.parametrize(("rows", "shapes"), [(1, 3), (3, 1), (2, 2)])
def test_more_polygons_than_rows_and_more_rows_than_polygons(tmp_path, rows, shapes):
    unit = {"areasymbol": "ZZ901", "mukey": "7", "musym": "A", "muname": "Alpha"}
    soil = {"sandtotal_r": "40", "silttotal_r": "40", "claytotal_r": "20"}
    table = [
        {**unit, **soil, "cokey": "70", "compname": "Alpha", "comppct_r": "100"}
        | {"chkey": f"70{n}", "hzdept_r": str(10 * n), "hzdepb_r": str(10 * n + 10)}
        for n in range(rows)
    ]
    pieces = [
        Piece("ZZ901", "7", MultiPolygon([box(-93 + n, 42, -92.9 + n, 42.1)]))
        for n in range(shapes)
    ]
    answer = joined(
        pieces,
        {"7": [tuple(row.get(name) for name in TABLE_COLUMNS) for row in table]},
        {"ZZ901": Vintage("ZZ901", refreshed="2025-09-04")},
        NOON,
        "soil.example",
    )
    assert len(rows_of(answer)) == max(rows, shapes)
    survey = read(answer, tmp_path)
    assert sorted(survey.ground.bounds["minx"]) == [-93 + n for n in range(shapes)]
    assert {facts.clay_frac for facts in survey.ground["facts"]} == {0.2}


# ---- the cache ---------------------------------------------------------------------------------


def test_the_same_field_is_asked_for_once(client, server, creek):
    first = client().survey(creek)
    asked = len(server.seen)
    second = client(now=NOON + timedelta(hours=20)).survey(creek)
    assert len(server.seen) == asked
    assert second.content == first.content


def test_offline_nothing_is_asked_and_what_is_kept_does(client, server, creek):
    with pytest.raises(ServiceError, match="not in the cache") as caught:
        client(offline=True).survey(creek)
    assert caught.value.code == "service-offline"
    assert server.seen == []
    first = client().survey(creek)
    asked = len(server.seen)
    later = client(offline=True, now=NOON + timedelta(days=400)).survey(creek)
    assert later.content == first.content
    assert len(server.seen) == asked


def test_refresh_asks_again(client, server, creek):
    client().survey(creek)
    asked = len(server.seen)
    client(refresh=True).survey(creek)
    assert len(server.seen) == 2 * asked


def test_what_is_kept_of_an_earlier_edition_is_asked_for_again(client, server, creek):
    tables = SurveyTables([demo_field("creek").survey])
    server.tables = tables
    old = client().survey(creek)
    tables.refresh("2026-10-01")
    new = client(now=NOON + timedelta(days=2)).survey(creek)
    assert [vintage.refreshed for vintage in old.vintages] == ["2025-09-04"]
    assert [vintage.refreshed for vintage in new.vintages] == ["2026-10-01"]
    assert len(server.queries("legend")) == 2  # tables of both editions: years are not mixed
    assert len([request for request in server.seen if "STIntersection" in request.query]) == 2


def test_an_entry_that_was_altered_is_asked_for_again(client, cache, server, creek):
    client().survey(creek)
    asked = len(server.seen)
    for path in cache.folder.iterdir():
        path.write_bytes(path.read_bytes().replace(b"9010001", b"9010009"))
    answer = client().survey(creek)
    assert len(server.seen) > asked
    assert "9010009" not in answer.content.decode()


# ---- many fields -------------------------------------------------------------------------------


def test_fields_of_one_place_share_every_question(soils, server):
    answers = soils.surveys(fields())
    assert all(isinstance(answer, SurveyAnswer) for answer in answers)
    assert len(server.seen) == 4  # size, map, edition, tables: for three fields
    assert len(server.queries("legend")) == 1


def test_a_field_asked_for_with_others_has_the_soils_that_it_has_alone(client, cache, tmp_path):
    together = client().surveys(fields())
    cache.empty()
    for field, answer in zip(fields(), together, strict=True):
        alone = client().survey(field)
        one, other = (read(each, tmp_path) for each in (alone, answer))
        assert sorted(soil.named for soil in one.ground["facts"]) == sorted(
            soil.named for soil in other.ground["facts"]
        )
        # Cut here and cut there differ by rounding; a square millimetre a hectare.
        areas = [each.ground.to_crs(field.crs).area.sum() for each in (one, other)]
        assert areas[0] == pytest.approx(areas[1], rel=1e-10)


def test_neighbours_asked_for_together_have_each_its_own_ground(soils, creek, tmp_path):
    west, south, east, north = creek.shape.bounds
    middle = (west + east) / 2
    halves = [
        replace(creek, name=name, shape=creek.shape.intersection(box(*bounds)))
        for name, bounds in (
            ("west", (west, south, middle, north)),
            ("east", (middle, south, east, north)),
        )
    ]
    for half, answer in zip(halves, soils.surveys(halves), strict=True):
        ground = shapely.union_all(read(answer, tmp_path).ground.to_crs(creek.crs).geometry)
        assert half.shape.buffer(33).covers(ground)  # 30 m, simplified by 2 m
        assert half.shape.difference(ground).area < 0.01 * half.shape.area


def test_a_field_that_cannot_be_asked_for_keeps_no_other_from_its_answer(soils, server, creek):
    abroad = replace(creek, crs=creek.crs.replace("+lon_0=-87", "+lon_0=7"), name="abroad")
    first, second = soils.surveys([abroad, creek])
    assert isinstance(first, ServiceError)
    assert isinstance(second, SurveyAnswer)
    assert len(server.seen) == 4


def many(field, count):
    """Copies of a field, moved by a metre each: none has the outline of another."""
    return [
        replace(field, shape=translate(field.shape, n, 0), name=f"field {n}") for n in range(count)
    ]


def download(demo):
    folder = demo_field(demo).survey
    return zipped({str(path.relative_to(folder)): path.read_bytes() for path in files_in(folder)})


def test_many_fields_of_one_area_are_served_from_its_download(soils, server, creek, tmp_path):
    server.downloads["ZZ901", "2025-09-04"] = download("creek")
    answers = soils.surveys(many(creek, 60))
    assert all(isinstance(answer, SurveyAnswer) for answer in answers)
    assert [request.method for request in server.seen].count("GET") == 1
    assert [request for request in server.seen if "STIntersection" in request.query] == []
    assert server.queries("legend") == []
    server.seen.clear()
    alone = soils.survey(replace(creek, shape=creek.shape.buffer(1)))
    assert len(server.seen) == 2  # size and map: edition and tables are known from the download
    one, other = (read(each, tmp_path) for each in (alone, answers[0]))
    assert {soil.named: soil for soil in one.ground["facts"]} == {
        soil.named: soil for soil in other.ground["facts"]
    }


def test_without_the_download_they_are_asked_for_in_few_questions(soils, server, creek):
    answers = soils.surveys(many(creek, 60))  # the server answers 400 for the zip
    assert all(isinstance(answer, SurveyAnswer) for answer in answers)
    groups = 3  # of 25 fields at the most
    sizes, maps = groups, groups
    areas, editions, downloads, tables = groups, 1, 1, 1
    assert len(server.seen) == sizes + maps + areas + editions + downloads + tables


# ---- too much ----------------------------------------------------------------------------------


def test_a_list_of_keys_that_is_too_much_is_halved(soils, server, creek):
    server.most_keys = 2
    answer = soils.survey(creek)
    asked = [query.partition("IN (")[2].count("'") // 2 for query in server.queries("legend")]
    assert asked == [7, 3, 1, 2, 4, 2, 2]
    assert answer.map_units == 7


def test_a_map_that_times_out_is_asked_for_in_halves(client, server, creek, tmp_path):
    whole = read(client().survey(creek), tmp_path)
    server.faults = [None, TIMED_OUT]  # its size comes; the map does not
    halves = read(client(refresh=True).survey(creek), tmp_path)
    for survey in (whole, halves):
        survey.ground["unit"] = [soil.named for soil in survey.ground["facts"]]
    areas = [
        each.ground.to_crs(creek.crs).dissolve("unit").area.to_dict() for each in (whole, halves)
    ]
    assert areas[0] == pytest.approx(
        areas[1], rel=1e-5
    )  # an edge of 800 m bends by a centimetre where it is cut


def test_so_many_corners_that_they_come_slowly_are_asked_for_in_parts(
    soils, server, creek, monkeypatch
):
    monkeypatch.setattr(questions, "MOST_POINTS", 500)
    soils.survey(creek)
    assert len([request for request in server.seen if "STIntersection" in request.query]) > 1


def test_what_stays_too_much_is_told(soils, server, creek):
    server.always = TIMED_OUT
    with pytest.raises(ServiceError, match="question is too much") as caught:
        soils.survey(creek)
    assert "Your query timed out" in str(caught.value)
    assert caught.value.code == "service-too-much"


# ---- faults ------------------------------------------------------------------------------------

MAINTENANCE = page("Site is under daily maintenance from 12:30 AM CST to 12:45 AM CST")
FAULTS = {
    "a refused query": (
        xml("Invalid query: Invalid column name 'clay'.", 400),
        "service-refuses",
        "Invalid column name 'clay'",
    ),
    "a refused query at 200": (
        xml("Invalid query: Invalid object name 'x'."),
        "service-refuses",
        "Try the services",
    ),
    "maintenance": (MAINTENANCE, "service-maintenance", "15 minutes"),
    "maintenance at 503": (replace(MAINTENANCE, status=503), "service-maintenance", "15 minutes"),
    "a page": (page("Service unavailable"), "service-down", "wss_SSA"),
    "a page at 500": (page("Runtime error", 500), "service-down", "15 minutes"),
    "no ground": (Fault(body=b"{}", kind=JSON), "service-no-ground", "open water"),
    "no table": (Fault(body=b'{"error": 1}', kind=JSON), "service-strange", "no Table"),
    "other columns": (
        Fault(body=b'{"Table": [["a"], ["1"]]}', kind=JSON),
        "service-strange",
        "its columns are a",
    ),
    "no names": (
        Fault(body=b'{"Table": [["12", "90"]]}', kind=JSON),
        "service-strange",
        "its columns are 12, 90",
    ),
    "half an answer": (
        Fault(body=b'{"Table": [["polygons", "poi', kind=JSON),
        "service-cut-off",
        "cut off",
    ),
    "nothing": (Fault(), "service-down", "in place of soils"),
    "a plain 404": (Fault(404, b"no such page", "text/plain"), "service-down", "status 404"),
    "a plain 500": (Fault(500, b"oops", "text/plain"), "service-down", "status 500"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_told_for_what_it_is_with_what_to_do(soils, server, creek, cache, name):
    fault, code, words = FAULTS[name]
    server.always = fault
    with pytest.raises(ServiceError) as caught:
        soils.survey(creek)
    result, why, todo = str(caught.value).partition("\n")[0], words, str(caught.value)
    assert caught.value.code == code
    assert soils.host in result
    assert why in todo
    assert len(str(caught.value).splitlines()) >= 3, "what, why, what to do"
    assert cache.entries() == []  # nothing of a fault is kept


def test_a_cut_answer_is_asked_for_once_more(soils, server, creek):
    server.faults = [None, Fault(share=0.5)]
    assert soils.survey(creek).map_units == 7
    assert len(server.seen) == 5


def test_what_stays_cut_is_asked_for_twice_and_no_more(soils, server, creek):
    for cut in (Fault(share=0.5), Fault(share=0.5, length=-1)):
        server.seen.clear()
        server.always = cut
        with pytest.raises(ServiceError, match="cut off"):
            soils.survey(creek)
        assert len(server.seen) == 2


def test_a_map_with_fewer_polygons_than_were_counted_is_refused(soils, server, creek):
    head = b'{"Table": [["polygons", "points"], ["99", "1000"]]}'
    server.faults = [Fault(body=head, kind=JSON)]
    with pytest.raises(ServiceError, match="has 99 polygons there and gives 9") as caught:
        soils.survey(creek)
    assert caught.value.code == "service-cut-off"


def test_tables_without_a_unit_that_the_map_shows_are_refused(soils, server, creek):
    tables = SurveyTables([demo_field("creek").survey])
    tables.database.execute("DELETE FROM mapunit WHERE mukey = '9010004'")
    tables.database.execute("INSERT INTO mapunit (mukey, lkey) VALUES ('9010004', 'none')")
    server.tables = tables
    with pytest.raises(ServiceError, match="no tables of map unit 9010004") as caught:
        soils.survey(creek)
    address = "/DSD/Download/Cache/SSA/wss_SSA_ZZ901_%5B2025-09-04%5D.zip"
    assert f"Its download: {server.address}{address}" in str(caught.value)


def test_a_key_that_is_none_goes_into_no_query(soils, server, creek):
    tables = SurveyTables([demo_field("creek").survey])
    evil = "1'); DROP TABLE mapunit; --"
    for table in ("mupolygon", "mapunit"):
        tables.database.execute(f"UPDATE {table} SET mukey = ? WHERE mukey = '9010004'", (evil,))
    server.tables = tables
    with pytest.raises(ServiceError, match="keys of another kind"):
        soils.survey(creek)
    assert "DROP" not in "".join(request.query for request in server.seen)


@pytest.mark.parametrize("kind", ["EMPTY", "LINE", "MIXED"])
def test_only_the_areas_of_a_cut_are_ground(soils, server, creek, tmp_path, kind):
    west, south, east, north = asked_outline(creek).bounds
    line = f"LINESTRING ({west} {south}, {east} {north})"
    square = f"POLYGON (({west} {south}, {east} {south}, {east} {north}, {west} {south}))"
    odd = {
        "EMPTY": "POLYGON EMPTY",
        "LINE": line,
        "MIXED": f"GEOMETRYCOLLECTION ({line}, {square})",
    }
    rows = [["areasymbol", "mukey", "musym", "muname", "mupolygonkey", "geom"]]
    rows += [["ZZ901", "9010001", "A", "Alpha", "1", square]]
    rows += [["ZZ901", "9010002", "B", "Beta", "2", odd[kind]]]
    size = {"Table": [["polygons", "points"], ["2", "8"]]}
    server.faults = [
        Fault(body=json.dumps(each).encode(), kind=JSON) for each in (size, {"Table": rows})
    ]
    survey = read(soils.survey(creek), tmp_path)
    assert set(survey.ground.geom_type) <= {"Polygon", "MultiPolygon"}
    assert len(survey.ground) == (2 if kind == "MIXED" else 1)


@pytest.mark.parametrize("question", [0, 1, 3], ids=["size", "map", "tables"])
def test_what_is_always_too_much_ends_soon(soils, server, creek, question):
    server.faults = [None] * question
    server.always = TIMED_OUT
    with pytest.raises(ServiceError, match="question is too much"):
        soils.survey(creek)
    assert len(server.seen) <= 10
