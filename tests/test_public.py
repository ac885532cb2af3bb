"""A plan from a boundary alone, and that nobody is asked who was not named."""

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from shapely.geometry import box, mapping

from tests.helpers.public_service import Fault, page, public_service
from tests.helpers.survey_tables import SurveyTables
from zoneplan.cli import main
from zoneplan.demo import demo_field, demo_fields
from zoneplan.errors import ServiceError
from zoneplan.field.crs import move
from zoneplan.field.outline import read_field
from zoneplan.public import SERVICE, SURVEY, asks_services, disclosure, with_services
from zoneplan.request import Request
from zoneplan.run import run
from zoneplan.sources import Sources, Upload

ROOT = Path(__file__).parents[1]
DEMOS = [demo.name for demo in demo_fields()]


@pytest.fixture(scope="module")
def tables():
    return SurveyTables([demo.survey for demo in demo_fields()])


@pytest.fixture(autouse=True)
def server(tables, tmp_path, monkeypatch):
    with public_service(tables) as service:
        monkeypatch.setenv("ZONEPLAN_SOIL_SERVICE", service.address)
        monkeypatch.setenv("ZONEPLAN_HEIGHT_SERVICE", service.address)
        monkeypatch.setenv("ZONEPLAN_CACHE", str(tmp_path / "cache"))
        monkeypatch.setattr("zoneplan.field.service.manners.APART_S", 0.0)
        monkeypatch.setattr("zoneplan.field.service.manners.WAITS_S", (0.0, 0.0, 0.0))
        monkeypatch.chdir(tmp_path)
        yield service


def asked_sources(name, **more):
    demo = demo_field(name)
    return Sources(demo.machine, boundary=demo.boundary, soils=(SURVEY,), **more)


def zoneplan(*words):
    return CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)


def plan_of(name, *soil, out="out"):
    demo = demo_field(name)
    words = ("plan", demo.boundary, "--machine", demo.machine, "--out", out)
    return zoneplan(*words, *(path for word in soil for path in ("--soil", word)))


# ---- the same plan -----------------------------------------------------------------------------

# Ten decimals of a degree move a corner by 0.01 mm. An edge that the service cut at the outline
# has a corner more and bends by less than a millimetre on its way to metres: 1 m2 in a kilometre.
ROUNDING_M2 = 1.0


@pytest.mark.parametrize("name", DEMOS)
def test_by_answers_the_plan_is_the_one_by_the_download(name):
    (sources,) = with_services([(Request(), asked_sources(name))])
    asked = run(Request(), sources).plan
    whole = run(Request(), demo_field(name).sources).plan
    assert len(asked.settings) == len(whole.settings)
    compared = 0
    for one, other in zip(asked.settings, whole.settings, strict=True):
        assert one.zone.shape.symmetric_difference(other.zone.shape).area <= ROUNDING_M2
        compared += alike(one.zone.facts, other.zone.facts)
        assert list(one.moistures) == list(other.moistures)
        for moisture in one.moistures:
            compared += alike(one.moistures[moisture], other.moistures[moisture])
    assert compared > 20 * len(whole.settings)


def alike(one, other):
    """Every number to 6 digits, for shares follow the areas; every word as it is."""
    assert type(one) is type(other)
    compared = 0
    for name, value in vars(one).items():
        if isinstance(value, float):
            assert value == pytest.approx(vars(other)[name], rel=1e-6, abs=1e-9), name
        elif isinstance(value, str | int | bool):
            assert value == vars(other)[name], name
        else:
            continue
        compared += 1
    return compared


# ---- the command line --------------------------------------------------------------------------


def test_a_plan_from_a_boundary_alone_names_its_survey(server, tmp_path):
    demo = demo_field("level")
    result = zoneplan(
        "plan", demo.boundary, "--soil", "survey", "--elevation", "service",
        "--machine", "springs", "--out", "out",
    )  # fmt: skip
    assert result.exit_code == 0
    host = server.address.removeprefix("http://")
    assert f"goes to {host} for soils, and the box around it goes to {host}" in result.stderr
    assert "survey area ZZ901 (Neverwas County (invented)), version 31, refreshed 2025-09-04" in (
        result.stdout
    )
    assert (
        "data available from U.S. Geological Survey, National Geospatial Program" in result.stdout
    )
    plan = json.loads((tmp_path / "out" / "plan.json").read_text())
    codes = [notice["code"] for notice in plan["notices"]]
    assert {"survey-vintage", "heights-asked"} <= {*codes}
    assert {question.method for question in server.seen} == {"POST", "GET"}


def test_the_soils_alone_are_a_file_that_plans_later(server):
    demo = demo_field("creek")
    result = zoneplan("soil", demo.boundary, "--out", "soil.json")
    assert result.exit_code == 0
    assert "9 polygons of 7 map units" in result.stdout
    assert "asked" in result.stdout
    seen = len(server.seen)
    assert plan_of("creek", "soil.json").exit_code == 0
    assert len(server.seen) == seen  # a file is asked of nobody


def test_a_saved_plan_holds_what_was_answered(server):
    demo = demo_field("level")
    words = ("plan", demo.boundary, "--soil", "survey", "--machine", "springs")
    assert zoneplan(*words, "--out", "out", "--save", "saved.zip").exit_code == 0
    seen = len(server.seen)
    result = zoneplan("open", "saved.zip", "--out", "again")
    assert result.exit_code == 0
    assert "with the numbers it had" in result.stdout
    assert len(server.seen) == seen


def test_a_folder_of_that_name_comes_first_and_that_is_said(server, tmp_path):
    (tmp_path / "survey").symlink_to(demo_field("creek").survey)
    result = plan_of("creek", "survey")
    assert result.exit_code == 0
    assert "--soil survey: what is here under that name is read" in result.stderr
    assert server.seen == []


def test_offline_asks_nobody(server):
    demo = demo_field("creek")
    result = zoneplan("soil", demo.boundary, "--out", "soil.json", "--offline")
    assert result.exit_code == 1
    assert "not in the cache" in result.stderr
    assert server.seen == []
    assert not Path("soil.json").exists()


def test_a_fault_is_told_and_writes_nothing(server):
    server.always = page("Site is under daily maintenance from 12:30 AM CST to 12:45 AM CST")
    result = plan_of("creek", "survey")
    assert result.exit_code == 1
    assert "maintenance" in result.stderr
    assert "Try again in 15 minutes" in result.stderr
    assert not Path("out", "plan.json").exists()


def test_no_ground_is_told(server):
    server.always = Fault(body=b"{}", kind="application/json")
    result = plan_of("creek", "survey")
    assert result.exit_code == 1
    assert "knows no soil on Creek field" in result.stderr


def test_the_cache_is_shown_and_emptied():
    assert "keeps 0 answers" in zoneplan("soil", "--cache").stdout
    zoneplan("soil", demo_field("creek").boundary, "--out", "soil.json")
    shown = zoneplan("soil", "--cache").stdout
    assert "keeps 9 answers" in shown
    assert "soil map, 9 polygons in ZZ901" in shown
    assert "Emptied" in zoneplan("soil", "--cache", "empty").stdout
    assert "keeps 0 answers" in zoneplan("soil", "--cache").stdout


def test_no_file_of_another_kind_is_written_over(server, tmp_path):
    (tmp_path / "notes.json").write_text('{"mine": 1}')
    result = zoneplan("soil", demo_field("creek").boundary, "--out", "notes.json")
    assert result.exit_code == 1
    assert "It would be lost" in result.stderr
    assert server.seen == []
    assert (tmp_path / "notes.json").read_text() == '{"mine": 1}'


@pytest.mark.parametrize("words", [(), ("boundary.geojson",), ("--out", "soil.json")])
def test_what_is_missing_is_told(words):
    assert zoneplan("soil", *words).exit_code == 2


def test_the_probe_tells_what_is_otherwise_and_exits_so():
    result = zoneplan("soil", "--probe")  # the demo survey lies elsewhere
    assert result.exit_code == 1
    assert "Nothing of yours is sent" in result.stdout
    assert "map: NOT AS EXPECTED" in result.stdout
    assert "not as zoneplan expects" in result.stderr


# ---- many jobs ---------------------------------------------------------------------------------


def test_many_jobs_ask_once_for_what_they_share(server):
    local = demo_field("creek").sources
    jobs = [(Request(), asked_sources(name)) for name in DEMOS]
    results = with_services([*jobs, (Request(), local)])
    assert results[-1] is local
    assert all(isinstance(sources.soils[0], Upload) for sources in results[:-1])
    assert len(server.queries("legend")) == 1
    assert len([question for question in server.seen if "sacatalog" in question.query]) == 1


def test_a_job_that_fails_keeps_no_other_from_its_soils():
    lost = Sources("springs", boundary=Path("nowhere.geojson"), soils=(SURVEY,))
    first, second = with_services([(Request(), lost), (Request(), asked_sources("creek"))])
    assert "nowhere.geojson" in str(first)
    assert isinstance(second, Sources)


def test_an_answer_takes_the_place_of_its_word_among_other_layers():
    other = Path("samples.csv")
    demo = demo_field("creek")
    sources = Sources(demo.machine, boundary=demo.boundary, soils=(other, SURVEY))
    (result,) = with_services([(Request(), sources)])
    assert result.soils[0] == other
    assert result.soils[1].name.startswith("soil survey ZZ901 ")


def test_heights_that_fail_are_told_for_their_job(server):
    server.always = page("down", 502)
    sources = Sources("springs", boundary=demo_field("creek").boundary, elevation=SERVICE)
    (result,) = with_services([(Request(), sources)])
    assert isinstance(result, ServiceError)


def test_what_would_be_sent_is_said(server):
    host = server.address.removeprefix("http://")
    assert disclosure(survey=False, heights=False) == ""
    assert disclosure(survey=True, heights=False) == (
        "The field's place leaves this machine: the outline (or its box), grown by 30 m, goes to "
        f"{host} for soils."
    )


# ---- nobody else is asked ----------------------------------------------------------------------

# Put before all other modules: what opens a socket, or looks a name up, is written down.
WATCH = """
import os, sys
def watch(event, args):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.sendto", "urllib.Request"):
        with open(os.environ["CALLED"], "a") as book:
            print(event, args, file=book)
sys.addaudithook(watch)
"""


@pytest.fixture
def watched(tmp_path):
    (tmp_path / "sitecustomize.py").write_text(WATCH)
    book = tmp_path / "called"

    def command(*words):
        book.write_text("")
        done = subprocess.run(
            [sys.executable, "-m", "zoneplan", *map(str, words)],
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": f"{tmp_path}:{ROOT}", "CALLED": str(book)},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return book.read_text()

    return command


@pytest.mark.slow
def test_every_other_command_opens_no_socket(watched, server):
    demo = demo_field("level")
    plan = ("--machine", demo.machine, "--out", "out", "--save", "saved.zip")
    assert watched("plan", demo.boundary, "--soil", demo.survey, *plan) == ""
    assert watched("open", "saved.zip", "--out", "again") == ""
    assert watched("check", "out") == ""
    assert watched("soil", "--cache") == ""
    assert server.seen == []


@pytest.mark.slow
def test_the_watch_sees_one_that_does(watched, server):
    demo = demo_field("level")
    assert "socket.connect" in watched("soil", demo.boundary, "--out", "soil.json")
    assert len(server.seen) == 4


SENDS = {"urllib.request", "http.client", "ftplib", "smtplib", "requests", "httpx", "aiohttp"}
ALLOWED = {"zoneplan/field/service/manners.py"}


def test_one_module_alone_can_send():
    senders = set()
    for path in sorted((ROOT / "zoneplan").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
            if SENDS & {*names}:
                senders.add(path.relative_to(ROOT).as_posix())
    assert senders == ALLOWED


def test_a_word_is_one_only_where_no_file_has_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sources = Sources("springs", soils=(SURVEY,))
    assert asks_services(sources)
    (tmp_path / "survey").mkdir()
    assert not asks_services(sources)


# ---- a batch and a book ------------------------------------------------------------------------


def outlines(folder, *more):
    """A file of the demo fields, and more."""
    shapes = [(read_field(demo.boundary), demo.name) for demo in demo_fields()]
    placed = [(move(field.shape, field.crs, "EPSG:4326"), name) for field, name in shapes]
    path = folder / "fields.geojson"
    features = [
        {
            "type": "Feature",
            "properties": {"owner": "Ann", "name": name},
            "geometry": mapping(shape),
        }
        for shape, name in [*placed, *more]
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


ABROAD = (box(9.0, 55.0, 9.004, 55.004), "abroad")


def apart(*words):
    """Run a command in a process of its own: tests of pages leave none that workers start from."""
    return subprocess.run(
        [sys.executable, "-m", "zoneplan", *map(str, words)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.slow
def test_a_batch_asks_once_for_all_and_a_field_without_soils_stops_no_other(server, tmp_path):
    words = ("batch", outlines(tmp_path, ABROAD), "--soil", "survey", "--machine", "springs")
    result = apart(*words, "--out", "plans", "--workers", "1", "--json")
    assert result.returncode == 3, result.stderr
    digest = json.loads(result.stdout)
    assert sorted(digest["planned"]) == sorted(DEMOS)
    assert [(fault["field"], fault["code"]) for fault in digest["failed"]] == [
        ("abroad", "outline-outside")
    ]
    assert len(server.seen) == 4
    plan = json.loads((tmp_path / "plans" / "creek" / "plan.json").read_text())
    assert "survey-vintage" in [notice["code"] for notice in plan["notices"]]
    again = json.loads(apart(*words, "--out", "plans", "--workers", "1", "--json").stdout)
    assert sorted(again["as_they_were"]) == sorted(DEMOS)
    assert len(server.seen) == 4


@pytest.mark.slow
def test_a_book_asks_once_for_all_and_keeps_each_field_s_answer(server, tmp_path):
    assert zoneplan("book", "new", "season.book").exit_code == 0
    columns = ("--grower", "owner", "--field", "name")
    added = zoneplan("book", "add", "fields", "season.book", outlines(tmp_path, ABROAD), *columns)
    assert added.exit_code == 0, added.output
    result = zoneplan("book", "add", "soil", "season.book", "survey")
    assert result.exit_code == 3
    assert "Public soil survey, field by field: 3 new." in result.stdout
    assert "abroad lies at longitude 9.0020" in result.stdout
    assert len(server.seen) == 4
    again = zoneplan("book", "add", "soil", "season.book", "survey", "--offline")
    assert "3 the same" in again.stdout
    zoneplan("book", "add", "planter", "season.book", "springs")
    planned = apart("book", "plan", "season.book", "--workers", "1")
    assert "Planned 3 fields" in planned.stdout, planned.stderr
    assert len(server.seen) == 4
