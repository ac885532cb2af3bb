import io
import zipfile

import pytest
from shapely import equals_exact

from tests.pages.uploads import DEMOS
from zoneplan.demo import plan_demo
from zoneplan.errors import OutputError
from zoneplan.export.bundle import bundle_files
from zoneplan.export.manifest import Options
from zoneplan.progress import watched
from zoneplan.work import answer
from zoneplan.work.answer import EVERYTHING, TASKSET, files_of, plan_asked
from zoneplan.work.asked import OWN_MACHINE, Asked, Upload
from zoneplan.work.ground import save


def asked(**changes):
    told = {
        "ground": "level",
        "machine": OWN_MACHINE,
        "tillage": "tilled",
        "speed_mph": None,
        "depth_in": None,
        "residue_pct": 0,
    }
    return Asked(**(told | changes))


def test_a_demo_field_is_planned_as_on_the_command_line():
    found, expected = plan_asked(asked()).plan, plan_demo(DEMOS["level"])
    assert found.conditions == expected.conditions
    assert found.machine == expected.machine
    assert [it.moistures for it in found.settings] == [it.moistures for it in expected.settings]
    assert equals_exact(found.field.shape, expected.field.shape)


def test_what_is_typed_goes_in_as_si():
    conditions = plan_asked(asked(speed_mph=5, depth_in=2, residue_pct=30)).plan.conditions
    # WORKED: 5 x 0.44704 m/s; 2 x 0.0254 m; 30 / 100
    assert conditions.speed_mps == pytest.approx(2.2352)
    assert conditions.depth_m == pytest.approx(0.0508)
    assert conditions.residue_frac == pytest.approx(0.3)


# What a browser may call a file, and the name we keep.
NAMES = {
    "boundary.geojson": "boundary.geojson",
    "North 40 (2).zip": "North 40 (2).zip",
    "Crêt-du-Noyer.kml": "Crêt-du-Noyer.kml",
    "../../etc/passwd": "passwd",
    "..\\..\\windows\\system.ini": "system.ini",
    "/etc/cron.d/job.zip": "job.zip",
    "C:\\temp\\a.zip": "a.zip",
    "..": "upload.",
    "": "upload",
    "a\x00b.zip": "a_b.zip",
    "<b>*x*.zip": "_b__x_.zip",
    "é" * 300 + ".zip": "é" * 60 + ".zip",
    "a." + "b" * 300: "a." + "b" * 60,
}


@pytest.mark.parametrize(("name", "kept"), NAMES.items(), ids=range(len(NAMES)))
def test_an_upload_stays_in_its_folder(tmp_path, name, kept):
    path = save(Upload(name, b"content"), tmp_path / "scratch")
    assert path.name == kept
    assert path.parent == tmp_path / "scratch"
    assert path.resolve().parent == (tmp_path / "scratch").resolve()
    assert path.read_bytes() == b"content"
    assert len(list(tmp_path.rglob("*"))) == 2  # the folder and the file: nothing beside them


def test_a_second_file_of_one_name_lies_beside_the_first(tmp_path):
    kept = [save(Upload("a/clay.tif", bytes([n])), tmp_path / "scratch") for n in range(3)]
    assert [path.name for path in kept] == ["clay.tif", "clay (2).tif", "clay (3).tif"]
    assert [path.read_bytes() for path in kept] == [b"\0", b"\1", b"\2"]


def test_a_demo_field_takes_a_headland():
    answer = plan_asked(asked(headland=2, sides=("north",)))
    (edge,) = answer.found.marks
    laid = edge.notes[0]
    assert (laid.code, laid["passes"], laid["sides"]) == ("headland-laid", 2, ("north",))
    assert any(it.zone.site.headland for it in answer.plan.settings)
    assert not any(it.zone.site.headland for it in plan_asked(asked()).plan.settings)


def test_one_zip_holds_all_that_the_command_line_writes():
    plan = plan_demo(DEMOS["level"])
    options = Options("wet", all_moistures=True, paper="a4", units="si", taskset_grid=True)
    said = []
    with watched(said.append):
        files, expected = files_of(plan, options).files, bundle_files(plan, options)
    assert {"Making cab.pdf", "Making field.html", "Reading every file back"} <= set(said)
    archive = zipfile.ZipFile(io.BytesIO(files[EVERYTHING]))
    assert {it: archive.read(it) for it in archive.namelist()} == expected
    tasks = zipfile.ZipFile(io.BytesIO(files[TASKSET])).namelist()
    assert tasks == ["TASKDATA/TASKDATA.XML", "TASKDATA/GRD00001.BIN"]
    assert {it.external_attr >> 16 for it in archive.infolist()} == {0o644}  # who unpacks may read


def test_a_plan_that_no_task_set_can_hold_gives_the_other_files(monkeypatch):
    def narrow(_plan, options):
        if options.taskset_version is not None:
            raise OutputError("too many zones for a task set")
        return {"plan.json": b"{}"}

    monkeypatch.setattr(answer, "bundle_files", narrow)
    monkeypatch.setattr(answer, "refuse_differences", lambda *_: None)
    made = files_of(plan_demo(DEMOS["level"]), Options())
    assert TASKSET not in made.files
    assert made.missing == "too many zones for a task set"
    assert made.files["plan.json"] == b"{}"
    assert zipfile.ZipFile(io.BytesIO(made.files[EVERYTHING])).namelist() == ["plan.json"]


def test_a_file_that_says_something_else_is_not_handed_out(monkeypatch):
    plan, made = plan_demo(DEMOS["level"]), answer.bundle_files

    def wrong(plan, options):
        files = made(plan, options)
        return files | {"zones.csv": files["zones.csv"].replace(b"loam", b"sand")}

    monkeypatch.setattr(answer, "bundle_files", wrong)
    with pytest.raises(OutputError, match=r"zones\.csv"):
        files_of(plan, Options())
