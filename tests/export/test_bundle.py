import errno
import io
import json
import os
import sqlite3
from dataclasses import replace
from datetime import date
from pathlib import Path

import geopandas as gpd
import pytest

from tests.export.plans import small_plan
from tests.export.planted import ONE_EACH, PLANTED
from zoneplan.errors import OutputError
from zoneplan.export import bundle
from zoneplan.export.bundle import MAKERS, bundle_files, check_folder, write_plan
from zoneplan.export.check import check_bundle
from zoneplan.export.document import validate
from zoneplan.export.manifest import Options, manifest_bytes, read_manifest
from zoneplan.export.readback import differences
from zoneplan.request import TitleBlock

TASKDATA, GRID = "TASKDATA/TASKDATA.XML", "TASKDATA/GRD00001.BIN"
NAMES = sorted([*MAKERS, TASKDATA, "manifest.json"])
ASKED = {
    "moisture": "wet",
    "all_moistures": True,
    "paper": "a4",
    "units": "si",
    "taskset_version": 3,
    "taskset_grid": True,
}


@pytest.fixture
def quick(monkeypatch):
    """Files of a few bytes, for tests of where they go rather than of what they say."""

    def files(_, options):
        tasks = {None: []}.get(options.taskset_version, [TASKDATA])
        tasks += [GRID] if options.taskset_grid else []
        made = {name: f"new {name}".encode() for name in (*MAKERS, *tasks)}
        return {**made, "manifest.json": manifest_bytes(made, options, [])}

    monkeypatch.setattr(bundle, "bundle_files", files)
    monkeypatch.setattr(bundle, "refuse_differences", lambda *_: None)


@pytest.fixture(scope="module")
def files():
    return bundle_files(small_plan(), Options())


def contents(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def earlier(folder, **files):
    """A plan that was written before, and what its manifest says of it."""
    by_name = {**{each: f"old {each}".encode() for each in ("plan.json", "zones.csv")}, **files}
    by_name["manifest.json"] = manifest_bytes(by_name, Options(), [])
    for name, content in by_name.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return by_name


def fails(*_, **__):
    raise ValueError("no picture today")


def test_every_file_is_written_and_nothing_else(tmp_path):
    out = tmp_path / "plans" / "ridge"
    written = write_plan(small_plan(), out)
    assert written == {name: out / name for name in written}
    assert sorted(written) == sorted(contents(out)) == NAMES
    assert sorted(path.name for path in out.iterdir() if path.is_dir()) == ["TASKDATA"]
    validate(json.loads((out / "plan.json").read_text("utf-8")))
    assert check_bundle(out) == []


@pytest.mark.parametrize("asked", [{}, ASKED], ids=["usual", "asked"])
def test_writing_again_gives_the_same_bytes(tmp_path, asked):
    first, second = tmp_path / "first", tmp_path / "second"
    write_plan(small_plan(), first, Options(**asked))
    write_plan(small_plan(), second, Options(**asked))
    assert contents(first) == contents(second)
    assert check_bundle(first) == []


def test_one_moisture_goes_out_unless_all_are_asked_for(files):
    everything = bundle_files(small_plan(), Options(all_moistures=True))
    for name in ("zones.geojson", "zones.csv"):
        assert b"margin_n" in files[name]
        assert b"dry_margin_n" not in files[name]
        assert b"dry_margin_n" in everything[name]
    short = gpd.read_file(io.BytesIO(everything["zones.zip"])).columns
    assert {"D_MARGIN", "M_MARGIN", "W_MARGIN"} < set(short)
    assert list(gpd.read_file(io.BytesIO(files["zones.zip"]))["MOISTURE"]) == ["moist"] * 3
    database = sqlite3.connect(":memory:")
    database.deserialize(everything["zones.gpkg"])
    assert database.execute("SELECT count(*) FROM settings").fetchone() == (9,)
    database.close()
    assert files["plan.json"] == everything["plan.json"]  # it always has all three
    assert files[TASKDATA] == everything[TASKDATA]  # it has room for one


def test_what_was_asked_reaches_every_file(files):
    other = bundle_files(small_plan(), Options(**ASKED))
    assert {name for name in files if files[name] == other[name]} == {"plan.json"}
    assert set(other) - set(files) == {GRID}


CHOSEN = {  # kinds of files, and what they are beside plan.json and the manifest
    (): set(),
    ("zones",): {"zones.geojson", "zones.zip", "zones.gpkg", "zones.csv"},
    ("taskset", "page"): {TASKDATA, "field.html"},
    ("sheets",): {"summary.pdf", "cab.pdf", "agronomist.pdf"},
}


@pytest.mark.parametrize("chosen", CHOSEN, ids="+".join)
def test_only_files_that_are_asked_for_are_written_each_as_among_all(tmp_path, files, chosen):
    write_plan(small_plan(), tmp_path / "chosen", Options(files=chosen))
    written = contents(tmp_path / "chosen")
    assert set(written) == {"plan.json", "manifest.json"} | CHOSEN[chosen]
    assert {name for name in written if written[name] != files[name]} == {"manifest.json"}
    assert check_bundle(tmp_path / "chosen") == []
    (tmp_path / "chosen" / "plan.json").write_bytes(b"{}")
    assert check_bundle(tmp_path / "chosen")


def test_files_that_are_no_longer_asked_for_go(tmp_path):
    write_plan(small_plan(), tmp_path / "plan")
    write_plan(small_plan(), tmp_path / "plan", Options(files=()))
    assert set(contents(tmp_path / "plan")) == {"plan.json", "manifest.json"}


def test_the_manifest_tells_what_the_task_set_means(files):
    (first, *_) = json.loads(files["manifest.json"])["taskset_notes"]
    assert first.startswith("The task set carries the field's one spring position")


def test_each_maker_makes_its_usual_file_from_a_plan_alone(files):
    assert {name: make(small_plan()) for name, make in MAKERS.items()} == {
        name: files[name] for name in MAKERS
    }


@pytest.mark.parametrize("planted", ONE_EACH)
def test_a_file_that_does_not_say_what_the_plan_says_is_not_put_in_place(
    tmp_path, monkeypatch, files, planted
):
    name, change, result = PLANTED[planted]
    spoilt = {**files, name: change(files[name])}
    monkeypatch.setattr(bundle, "bundle_files", lambda *_: spoilt)
    with pytest.raises(OutputError, match="read back from its files, has ") as caught:
        write_plan(small_plan(), tmp_path / "new" / "deeper")
    assert result in str(caught.value)
    assert f"\n  {name} was altered" in str(caught.value)  # its manifest was made before
    assert "Nothing was put in place." in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_what_a_disk_spoils_is_not_put_in_place(tmp_path, monkeypatch, files):
    write_bytes = Path.write_bytes
    monkeypatch.setattr(bundle, "bundle_files", lambda *_: files)
    monkeypatch.setattr(
        Path,
        "write_bytes",
        lambda path, content: write_bytes(
            path, content.replace(b"544.0", b"544.5") if path.suffix == ".csv" else content
        ),
    )
    before = earlier(tmp_path)
    with pytest.raises(OutputError, match=r"zones.csv: zone 1: margin_n is 544.5, not 544.0"):
        write_plan(small_plan(), tmp_path)
    assert contents(tmp_path) == before


def test_margins_that_cannot_go_out_leave_nothing(tmp_path):
    with pytest.raises(OutputError, match="Ask for downforce instead"):
        write_plan(small_plan(), tmp_path / "new", Options(taskset_value="margin"))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
def test_foreign_files_stay(tmp_path):
    earlier(tmp_path)
    mine = {"TASKDATA/TLG00001.BIN": b"a machine's", "notes.txt": b"mine", "photos/1.jpg": b"mine"}
    for name, content in mine.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(content)
    (tmp_path / "nothing yet").mkdir()
    write_plan(small_plan(), tmp_path)
    result = contents(tmp_path)
    assert {name: result.pop(name) for name in mine} == mine
    assert sorted(result) == NAMES
    assert result["plan.json"] == b"new plan.json"
    assert (tmp_path / "nothing yet").is_dir()


TITLE = TitleBlock("A. Grower", "Mud / Farm", "2027", 2, "B. Reed", "555 0142", date(2027, 4, 1))


def test_what_people_pass_on_is_named_for_whose_it_is(tmp_path):
    files = write_plan(small_plan(), tmp_path / "out", Options(title=TITLE))
    usual = {*bundle.SHEETS, "field.html"}
    named = {f"mud-farm-crêt-du-noyer-côté-nord-2027-r2-{each}" for each in usual}
    assert named < set(files)
    assert not usual & set(files)
    assert {"plan.json", "zones.geojson", TASKDATA} < set(files)
    assert read_manifest((tmp_path / "out" / "manifest.json").read_bytes()).options.title == TITLE
    assert check_bundle(tmp_path / "out") == []
    xml = (tmp_path / "out" / TASKDATA).read_text("utf-8")
    assert '<CTR A="CTR1" B="A. Grower"' in xml
    assert '<FRM A="FRM1" B="Mud / Farm"' in xml


def test_another_revision_takes_the_files_of_the_one_before(tmp_path):
    first = write_plan(small_plan(), tmp_path / "out", Options(title=TITLE))
    again = write_plan(small_plan(), tmp_path / "out", Options(title=replace(TITLE, revision=3)))
    out = tmp_path / "out"
    there = {path.relative_to(out).as_posix() for path in out.rglob("*")}
    assert set(again) <= there
    assert not (set(first) - set(again)) & there


def test_a_task_set_of_another_grower_is_refused():
    options = Options(title=TITLE)
    files = bundle_files(small_plan(), replace(options, title=replace(TITLE, grower="C. Other")))
    assert differences(files, small_plan(), options) == [
        "TASKDATA/: its grower is 'C. Other', not 'A. Grower'"
    ]


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", ["plan.json", "summary.pdf", TASKDATA])
def test_a_file_of_somebody_elses_is_not_written_over(tmp_path, name):
    (tmp_path / name).parent.mkdir(exist_ok=True)
    (tmp_path / name).write_bytes(b"mine")
    with pytest.raises(OutputError, match=f"{name} is there, and not from zoneplan") as caught:
        write_plan(small_plan(), tmp_path)
    assert "Nothing was changed. Move them to another place" in str(caught.value)
    assert contents(tmp_path) == {name: b"mine"}


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("content", [b"{}", b"", b'{"name": "a web app"}', b"\xff"])
def test_a_manifest_of_somebody_elses_is_not_written_over(tmp_path, content):
    (tmp_path / "manifest.json").write_bytes(content)
    with pytest.raises(OutputError, match=r"so which files there are a plan's is not known"):
        write_plan(small_plan(), tmp_path)
    assert contents(tmp_path) == {"manifest.json": content}


@pytest.mark.usefixtures("quick")
def test_an_earlier_task_set_does_not_stay_beside_the_new_one(tmp_path):
    write_plan(small_plan(), tmp_path, Options(taskset_grid=True))
    assert GRID in contents(tmp_path)
    (tmp_path / "notes.txt").write_text("mine")  # so that it is not the folder that is changed
    write_plan(small_plan(), tmp_path)
    assert sorted(contents(tmp_path)) == sorted([*NAMES, "notes.txt"])
    write_plan(small_plan(), tmp_path, Options(taskset_version=None))
    assert not (tmp_path / "TASKDATA").exists()


def test_a_file_that_cannot_be_made_leaves_nothing(tmp_path, monkeypatch):
    monkeypatch.setitem(bundle.SHEETS, "summary.pdf", fails)
    with pytest.raises(ValueError, match="no picture today"):
        write_plan(small_plan(), tmp_path / "new")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", ["zones.zip", "TASKDATA.XML"])
def test_a_full_disk_leaves_nothing(tmp_path, monkeypatch, name):
    write_bytes = Path.write_bytes

    def fill_up(path, content):
        if path.name == name:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write_bytes(path, content)

    monkeypatch.setattr(Path, "write_bytes", fill_up)
    with pytest.raises(OutputError, match=r"No space left on device\.\nNothing was changed"):
        write_plan(small_plan(), tmp_path / "far" / "new")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("late", ["summary.pdf", "manifest.json"])
def test_a_file_held_open_elsewhere_brings_the_old_ones_back(tmp_path, monkeypatch, late):
    earlier(tmp_path, **{"summary.pdf": b"old and held", GRID: b"old grid"})
    (tmp_path / "notes.txt").write_text("mine")
    before, move = contents(tmp_path), Path.replace

    def refused(path, target):
        if Path(target) == tmp_path / late and path.parent.name == "new":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return move(path, target)

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(OutputError, match=r"denied\.\nNothing was changed there\. Close programs"):
        write_plan(small_plan(), tmp_path)
    assert contents(tmp_path) == before
    assert list(tmp_path.parent.glob(".zoneplan*")) == []


@pytest.mark.usefixtures("quick")
def test_an_old_file_that_cannot_be_taken_away_brings_the_others_back(tmp_path, monkeypatch):
    earlier(tmp_path, **{GRID: b"old grid"})
    (tmp_path / "notes.txt").write_text("mine")
    before, move = contents(tmp_path), Path.replace

    def refused(path, target):
        if path == tmp_path / GRID:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return move(path, target)

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(OutputError, match="Permission denied"):
        write_plan(small_plan(), tmp_path)
    assert contents(tmp_path) == before


def test_a_file_in_the_way_is_told_before_any_work(tmp_path, monkeypatch):
    monkeypatch.setattr(bundle, "bundle_files", fails)
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError, match=r"out is a file.*\nName a folder"):
        write_plan(small_plan(), tmp_path / "out")
    with pytest.raises(OutputError, match="out is a file"):
        check_folder(tmp_path / "out" / "deeper")
    assert (tmp_path / "out").read_text() == "mine"


def test_everything_in_the_way_is_told(tmp_path):
    (tmp_path / "plan.json").mkdir()
    (tmp_path / "manifest.json").mkdir()
    (tmp_path / "TASKDATA").write_text("mine")
    with pytest.raises(OutputError) as caught:
        check_folder(tmp_path)
    assert "has 3 faults:" in str(caught.value)
    for result in ("plan.json is a folder", "manifest.json is a folder", "TASKDATA/ is a file or"):
        assert result in str(caught.value)


def test_a_folder_we_may_not_write_is_refused(tmp_path, monkeypatch):
    # The right is asked of the system; tests may run as root, who has every right.
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(OutputError, match="may not write"):
        check_folder(tmp_path / "new")


def test_a_name_too_long_for_a_folder_is_refused(tmp_path):
    with pytest.raises(OutputError, match="cannot be reached"):
        check_folder(tmp_path / ("x" * 300))


def test_checking_makes_nothing(tmp_path):
    check_folder(tmp_path / "new" / "deeper")
    assert list(tmp_path.iterdir()) == []
