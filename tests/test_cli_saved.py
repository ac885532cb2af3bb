"""Requests and saved plans at the command line: what the app can do, it can."""

import datetime
import io
import json
import zipfile
from dataclasses import replace

import pytest
from click.testing import CliRunner

from tests.helpers.jobs import demo_job, plan_of
from tests.pages.uploads import DEMOS
from zoneplan.cli import main
from zoneplan.demo import plan_demo
from zoneplan.export.zone_files import zipped
from zoneplan.plan.places import WAYS, halved, place_in
from zoneplan.request import Request
from zoneplan.store.archive import opened, saved
from zoneplan.store.request_json import read_request, request_document
from zoneplan.zones.edit import Override, Rename

LEVEL = DEMOS["level"]
DAY = datetime.date(2026, 4, 20)


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def plan(out, *more):
    return run("plan", LEVEL.boundary, "--soil", LEVEL.survey, "--machine", LEVEL.machine, "--out",
               out, *more)  # fmt: skip


def plan_in(folder):
    return json.loads((folder / "plan.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def edits():
    first = plan_demo(LEVEL)
    at = place_in(first, 1)
    return (Rename(at, "Knoll"), Override(at, "margin", "dry", 556.0, "dug there", "AB", DAY))


def test_a_request_from_a_file_is_laid_under_the_options(tmp_path, edits):
    request = Request(edits=edits, tillage="no-till", speed_mps=2.0, headland_passes=1)
    path = tmp_path / "request.json"
    path.write_text(json.dumps(request_document(request)), encoding="utf-8")
    result = plan(tmp_path / "out", "--request", path, "--speed", 6)
    assert result.exit_code == 0, result.output
    document = plan_in(tmp_path / "out")
    # WORKED: 6 x 0.44704; tillage as the file says, for no option does
    assert document["conditions"]["speed_mps"] == pytest.approx(2.68224)
    assert document["conditions"]["tillage"] == "no-till"
    assert "Knoll" in {zone["name"] for zone in document["zones"]}
    assert "headland-laid" in {notice["code"] for notice in document["notices"]}
    knoll = next(zone for zone in document["zones"] if zone["name"] == "Knoll")
    assert knoll["moistures"]["dry"]["margin_n"] == 556.0


def test_every_fault_of_a_request_is_told(tmp_path):
    path = tmp_path / "request.json"
    path.write_text('{"speed_mps": 99, "tillage": "ploughed"}', encoding="utf-8")
    result = plan(tmp_path / "out", "--request", path)
    assert result.exit_code == 1
    assert result.stderr.startswith("request.json has 2 faults:")
    path.write_text("{", encoding="utf-8")
    assert "request.json is no request" in plan(tmp_path / "out", "--request", path).stderr
    missing = plan(tmp_path / "out", "--request", tmp_path / "nowhere.json")
    assert (missing.exit_code, "There is no file" in missing.stderr) == (1, True)
    assert not (tmp_path / "out").exists()


def test_what_is_saved_is_planned_again_with_the_numbers_it_had(tmp_path):
    more = ("--speed", 6, "--headland", 1, "--moisture", "wet", "--save", tmp_path / "x.zip")
    assert plan(tmp_path / "first", *more).exit_code == 0
    result = run("open", tmp_path / "x.zip", "--out", tmp_path / "again")
    assert result.exit_code == 0, result.output
    assert result.stdout.endswith("Opened: Level eighty, with the numbers it had.\n")
    for name in ("plan.json", "zones.csv", "cab.pdf"):
        assert (tmp_path / "again" / name).read_bytes() == (tmp_path / "first" / name).read_bytes()
    again = plan(tmp_path / "second", "--save", tmp_path / "x.zip")
    assert again.exit_code == 1
    assert "is there already" in again.stderr


def test_what_was_changed_on_the_map_is_the_same_from_a_file(tmp_path):
    first = plan_demo(LEVEL)
    by = {"why": "dug there", "initials": "AB", "on": DAY}
    number = Override(place_in(first, 1), "margin", "moist", 1500.0, sure=True, **by)
    edits = (number, replace(halved(first, 1, WAYS[0]), **by))
    request = Request(edits=edits)
    path = tmp_path / "request.json"
    path.write_text(json.dumps(request_document(request)), encoding="utf-8")
    assert read_request(path.read_bytes(), path.name) == request
    result = plan(tmp_path / "out", "--request", path)
    assert result.exit_code == 0, result.output
    zones = plan_in(tmp_path / "out")["zones"]
    assert len(zones) == len(first.settings) + 1
    # WORKED: both halves of the one zone that had the number have it, and say so.
    mine = [
        zone["moistures"]["moist"]
        for zone in zones
        if zone["moistures"]["moist"]["margin_n"] == 1500
    ]
    assert len(mine) == 2
    for moist in mine:
        assert moist["reasons"][-1]["source"].endswith("; far outside its window, asked and meant")


def test_what_the_app_saved_is_opened_and_its_numbers_that_changed_are_told(tmp_path, edits):
    job = demo_job("level", edits=edits)
    content = saved(job, plan_of(job))
    path = tmp_path / "app.zip"
    members = files(content)
    document = json.loads(members["plan.json"])
    document["zones"][0]["moistures"]["dry"]["closing_notch"] = "Q"
    path.write_bytes(zipped(members | {"plan.json": json.dumps(document).encode()}))
    result = run("open", path, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "not all of its numbers are what they were" in result.stdout
    number = plan_in(tmp_path / "out")["zones"][0]["id"]
    assert f"  Zone {number}, dry: closing notch " in result.stdout
    assert result.stdout.endswith(", was Q.\n")
    digest = json.loads(run("open", path, "--out", tmp_path / "json", "--json").stdout)
    assert len(digest["changed"]) == 1
    assert opened(content, "x").job == job


def files(content):
    archive = zipfile.ZipFile(io.BytesIO(content))
    return {name: archive.read(name) for name in archive.namelist()}


def test_what_is_no_saved_plan_is_refused(tmp_path):
    result = run("open", LEVEL.boundary, "--out", tmp_path / "out")
    assert result.exit_code == 1
    assert "cannot be unpacked" in result.stderr
    assert not (tmp_path / "out").exists()


def test_without_a_boundary_or_soil_the_usage_is_told(tmp_path):
    result = run("plan", "--soil", LEVEL.survey, "--machine", "springs", "--out", tmp_path / "out")
    assert (result.exit_code, "Missing argument 'BOUNDARY'" in result.stderr) == (2, True)
    result = run("plan", LEVEL.boundary, "--machine", "springs", "--out", tmp_path / "out")
    assert (result.exit_code, "Missing option '--soil'" in result.stderr) == (2, True)
