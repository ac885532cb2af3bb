import errno
import json
import os
from pathlib import Path

import pytest

from tests.export.plans import small_plan
from zoneplan.errors import OutputError
from zoneplan.export import bundle
from zoneplan.export.bundle import check_folder, write_plan
from zoneplan.export.document import validate

NAMES = ["plan.json", "summary.pdf", "zones.geojson", "zones.zip"]


@pytest.fixture
def quick(monkeypatch):
    """Files of a few bytes, for tests of where they go rather than of what they say."""
    for name in NAMES:
        monkeypatch.setitem(bundle.MAKERS, name, lambda _, name=name: f"new {name}".encode())


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def fails(*_):
    raise ValueError("no picture today")


def test_all_four_files_are_written(tmp_path):
    out = tmp_path / "plans" / "ridge"
    written = write_plan(small_plan(), out)
    assert written == {name: out / name for name in written}
    assert sorted(written) == sorted(path.name for path in out.iterdir()) == NAMES
    validate(json.loads((out / "plan.json").read_text("utf-8")))
    assert (out / "zones.zip").read_bytes().startswith(b"PK")
    assert (out / "summary.pdf").read_bytes().startswith(b"%PDF")


def test_writing_again_gives_the_same_bytes(tmp_path):
    write_plan(small_plan(), tmp_path)
    first = contents(tmp_path)
    write_plan(small_plan(), tmp_path)
    assert contents(tmp_path) == first


@pytest.mark.usefixtures("quick")
def test_foreign_files_stay(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "plan.json").write_text("old")
    write_plan(small_plan(), tmp_path)
    assert contents(tmp_path)["notes.txt"] == b"mine"
    assert contents(tmp_path)["plan.json"] == b"new plan.json"
    assert len(contents(tmp_path)) == 5


@pytest.mark.usefixtures("quick")
def test_a_file_that_cannot_be_made_leaves_nothing(tmp_path, monkeypatch):
    monkeypatch.setitem(bundle.MAKERS, "summary.pdf", fails)
    with pytest.raises(ValueError, match="no picture today"):
        write_plan(small_plan(), tmp_path / "new")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
def test_a_full_disk_leaves_nothing(tmp_path, monkeypatch):
    write_bytes = Path.write_bytes

    def fill_up(path, content):
        if path.name == "zones.zip":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write_bytes(path, content)

    monkeypatch.setattr(Path, "write_bytes", fill_up)
    with pytest.raises(OutputError, match=r"No space left on device\.\nNothing was changed"):
        write_plan(small_plan(), tmp_path / "far" / "new")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
def test_a_file_held_open_elsewhere_brings_the_old_ones_back(tmp_path, monkeypatch):
    old = {"plan.json": b"old plan", "summary.pdf": b"old summary", "notes.txt": b"mine"}
    for name, content in old.items():
        (tmp_path / name).write_bytes(content)
    move = Path.replace

    def held(path, target):
        if path.read_bytes() == b"new summary.pdf":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return move(path, target)

    monkeypatch.setattr(Path, "replace", held)
    with pytest.raises(OutputError, match="Close programs that hold its files open"):
        write_plan(small_plan(), tmp_path)
    assert contents(tmp_path) == old


def test_a_file_in_the_way_is_told_before_any_work(tmp_path, monkeypatch):
    monkeypatch.setitem(bundle.MAKERS, "plan.json", fails)
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError, match=r"out is a file.*\nName a folder"):
        write_plan(small_plan(), tmp_path / "out")
    with pytest.raises(OutputError, match="out is a file"):
        check_folder(tmp_path / "out" / "deeper")
    assert (tmp_path / "out").read_text() == "mine"


def test_folders_in_the_way_are_all_told(tmp_path):
    (tmp_path / "plan.json").mkdir()
    (tmp_path / "zones.zip").mkdir()
    with pytest.raises(OutputError, match=r"has 2 faults:\n  plan\.json .*\n  zones\.zip"):
        check_folder(tmp_path)


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
