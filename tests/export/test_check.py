import json
import re
import shutil

import pytest
from click.testing import CliRunner

from tests.export.plans import small_plan
from tests.export.planted import ONE_EACH, PLANTED
from zoneplan.cli.plan import check
from zoneplan.errors import OutputError
from zoneplan.export import bundle
from zoneplan.export.bundle import write_plan
from zoneplan.export.check import check_bundle
from zoneplan.export.manifest import Options, manifest_bytes


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plans") / "whole"
    write_plan(small_plan(), folder)
    return folder


@pytest.fixture
def folder(whole, tmp_path):
    """A copy elsewhere, to spoil."""
    return shutil.copytree(whole, tmp_path / "copied to a stick")


def test_a_copy_has_no_faults(folder):
    assert check_bundle(folder) == []


def test_missing_altered_and_foreign_files_are_told_apart(folder):
    (folder / "zones.csv").unlink()
    (folder / "cab.pdf").write_bytes((folder / "cab.pdf").read_bytes() + b"\n")
    (folder / "TASKDATA" / "GRD00001.BIN").write_bytes(b"\x01")
    (folder / "zones (1).zip").write_bytes((folder / "zones.zip").read_bytes())
    size = (folder / "cab.pdf").stat().st_size
    assert check_bundle(folder) == [
        "zones.csv is missing",
        f"cab.pdf was altered: {size} bytes, not {size - 1}",
        "TASKDATA/GRD00001.BIN is foreign: manifest.json does not list it",
        "zones (1).zip is foreign: manifest.json does not list it",
    ]


def test_what_file_managers_leave_is_no_fault(folder):
    for name in (".DS_Store", "Thumbs.db", "TASKDATA/._TASKDATA.XML"):
        (folder / name).write_bytes(b"")
    assert check_bundle(folder) == []


@pytest.mark.parametrize("planted", ONE_EACH)
def test_a_planted_difference_is_told_twice(folder, planted):
    """By its digest; and, where the file still opens, by what it says."""
    name, change, result = PLANTED[planted]
    (folder / name).write_bytes(change((folder / name).read_bytes()))
    altered, *differences = check_bundle(folder)
    assert altered.startswith(f"{name} was altered: ")
    assert differences
    if name not in ("plan.json", "zones.geojson"):  # which the others are held against
        assert any(result in fault for fault in differences)


@pytest.mark.parametrize("planted", ONE_EACH)
def test_a_difference_is_found_though_the_manifest_hides_it(folder, planted):
    name, change, _ = PLANTED[planted]
    (folder / name).write_bytes(change((folder / name).read_bytes()))
    files = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != "manifest.json"
    }
    (folder / "manifest.json").write_bytes(manifest_bytes(files, Options(), []))
    faults = check_bundle(folder)
    assert faults
    assert not any("altered" in fault for fault in faults)


def test_a_plan_that_says_something_else_is_told_by_every_file(folder):
    document = (folder / "plan.json").read_bytes()
    (folder / "plan.json").write_bytes(document.replace(b'"margin_n": 494.0', b'"margin_n": 495.0'))
    values = {fault.partition(": ")[0] for fault in check_bundle(folder)}
    assert values >= {"zones.geojson", "zones.zip", "zones.gpkg", "zones.csv"}


@pytest.mark.parametrize("name", ["plan.json", "zones.geojson"])
def test_without_plan_or_shapes_nothing_can_be_compared(folder, name):
    (folder / name).unlink()
    missing, why = check_bundle(folder)
    assert missing == f"{name} is missing"
    assert why.startswith("no zones were compared, for want of plan.json or zones.geojson")


@pytest.mark.parametrize("content", [None, b"", b"{}", b"\xff", b'{"schema": "other/1"}'])
def test_without_a_manifest_nothing_is_checked(folder, content):
    (folder / "manifest.json").unlink()
    if content is not None:
        (folder / "manifest.json").write_bytes(content)
    (fault,) = check_bundle(folder)
    assert fault.startswith("manifest.json cannot be read, so nothing can be checked: ")


@pytest.mark.parametrize("name", ["zones.csv", "plan.json", "TASKDATA"])
def test_a_link_out_of_the_folder_is_not_followed(folder, tmp_path, name):
    """Whoever sends a folder must not be told by us what is in a file of another's."""
    (folder / name).rename(tmp_path / "elsewhere")
    (folder / name).symlink_to(tmp_path / "elsewhere")
    result = "TASKDATA/TASKDATA.XML" if name == "TASKDATA" else name
    assert f"{result} cannot be read: it leads out of the folder" in check_bundle(folder)


def test_a_manifest_that_is_a_link_is_not_followed(folder, tmp_path):
    (folder / "manifest.json").rename(tmp_path / "elsewhere")
    (folder / "manifest.json").symlink_to(tmp_path / "elsewhere")
    assert check_bundle(folder) == [
        "manifest.json leads out of the folder, so nothing can be checked"
    ]


def test_a_folder_in_the_place_of_a_file_is_told(folder):
    (folder / "zones.csv").unlink()
    (folder / "zones.csv").mkdir()
    (fault,) = check_bundle(folder)
    assert fault == "zones.csv cannot be read: it is a folder, not a file."


def test_a_bundle_is_checked_for_what_was_asked_of_it(tmp_path, monkeypatch):
    monkeypatch.setattr(bundle, "SHEETS", {})
    options = Options(moisture="dry", taskset_version=3, taskset_grid=True)
    write_plan(small_plan(), tmp_path, options)
    assert check_bundle(tmp_path) == []


def test_an_earlier_versions_bundle_is_as_good(folder):
    document = json.loads((folder / "manifest.json").read_bytes())
    document["zoneplan"] = "0.0.1"
    (folder / "manifest.json").write_text(json.dumps(document))
    assert check_bundle(folder) == []


def test_the_command_counts_the_files_of_a_sound_folder(folder):
    result = CliRunner().invoke(check, [str(folder)])
    assert result.exit_code == 0, result.output
    count = sum(path.is_file() for path in folder.rglob("*"))
    assert result.output.startswith(f"No faults: {count} files, unharmed since")
    assert "against accident, not forgery" in result.output


def test_a_write_that_is_under_way_or_was_stopped_is_told(folder):
    document = json.loads((folder / "manifest.json").read_bytes())
    (folder / "manifest.json").write_text(json.dumps({**document, "unfinished": True}))
    (fault,) = check_bundle(folder)
    assert fault == "manifest.json says that it is unfinished: the write of it was stopped"


def test_the_command_undoes_what_a_stopped_write_left(folder):
    left = folder.with_name(f".zoneplan-writing-{folder.name}")
    (left / "new").mkdir(parents=True)
    (left / "new" / "plan.json").write_text("half a pl")
    assert check_bundle(folder) == []
    result = CliRunner().invoke(check, [str(folder)])
    assert "was stopped before it changed anything there" in result.stderr
    assert result.exit_code == 0
    assert not left.exists()


def test_the_command_tells_every_fault_and_what_to_do(folder):
    (folder / "zones.csv").unlink()
    (folder / "zones.zip").unlink()
    result = CliRunner().invoke(check, [str(folder)])
    assert isinstance(result.exception, OutputError)  # the doors print it and exit 1
    text = str(result.exception)
    assert re.search(r"stick has 2 faults:\n  zones\.csv is missing\n  zones\.zip is missing", text)
    assert "Do not take it to the field" in text


def test_the_command_tells_of_a_folder_that_is_not_there(tmp_path):
    result = CliRunner().invoke(check, [str(tmp_path / "nowhere")])
    assert "manifest.json cannot be read" in str(result.exception)
