"""run(): from a request and its files to a plan; and every file of that plan in memory."""

import io
import shutil
import textwrap
import zipfile
from pathlib import Path

import pytest
from shapely import equals_exact

import zoneplan
from tests.helpers.jobs import demo_job, plan_of, run_of
from tests.pages.uploads import DEMOS
from zoneplan.demo import plan_demo
from zoneplan.errors import LayerError, OutOfRangeError, OutputError
from zoneplan.export import bundle as output
from zoneplan.export.bundle import EVERYTHING, TASKSET, bundle_files, output_files
from zoneplan.export.manifest import Options
from zoneplan.progress import watched
from zoneplan.request import Request
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.run import least_patch_m2, read_setup, run
from zoneplan.sources import Sources, Upload, on_disk, packed, provenance

ROOT = Path(__file__).parents[1]


def test_a_demo_field_is_planned_as_on_the_command_line():
    plan, expected = plan_of(demo_job("level")), plan_demo(DEMOS["level"])
    assert plan.conditions == expected.conditions
    assert plan.machine == expected.machine
    assert [zoned.moistures for zoned in plan.settings] == [
        zoned.moistures for zoned in expected.settings
    ]
    assert equals_exact(plan.field.shape, expected.field.shape)


def test_the_lines_that_the_package_shows_make_a_plan(tmp_path, monkeypatch):
    shutil.copytree(ROOT / "demo_fields" / "creek", tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    names = {}
    exec(textwrap.dedent(zoneplan.__doc__.partition("\n")[2]), names)
    assert names["result"].plan.conditions.tillage == "no-till"
    assert (tmp_path / "plan" / "plan.json").is_file()


def test_conditions_are_the_planters_unless_given():
    planter = plan_demo(DEMOS["level"]).machine
    conditions = plan_of(demo_job("level", speed_mps=2.5, residue_frac=0.3)).conditions
    assert (conditions.speed_mps, conditions.depth_m) == (2.5, planter.depth_m)
    assert conditions.residue_frac == 0.3


def test_a_request_past_its_limits_cannot_be():
    with pytest.raises(OutOfRangeError) as error:
        Request(speed_mps=44.0, headland_passes=21, tillage="ploughed", residue_frac=float("nan"))
    assert str(error.value).startswith("The request has 4 faults:")
    # WORKED: 44 / 0.44704 = 98.4252
    assert "speed_mps: 98.4252 mph is not from 1 to 15 mph" in str(error.value)
    assert "headland_passes: 21 is not from 0 to 20" in str(error.value)
    assert "tillage: ploughed is none of tilled, strip-till, no-till" in str(error.value)


def test_without_ground_there_is_no_plan():
    with pytest.raises(LayerError, match="There is no boundary"):
        run(Request(), Sources("springs"))
    with pytest.raises(LayerError, match="There is no soil layer"):
        run(Request(), Sources("springs", boundary=DEMOS["level"].boundary))


CHECK = b"""zone = 1
moisture = "moist"
fill = 0.6
setting = "200 lb"
margin = "90 lb"
notch = "2"
"""


def test_hand_checks_are_taken_from_files_and_from_the_request():
    check = Upload("check.toml", CHECK)
    seen = read_setup(demo_job("level", checks=[check]).sources).observations
    assert [notice.zone for notice in seen] == [1]
    given = [
        plan_of(demo_job("level", checks=[check])),
        plan_of(demo_job("level", observations=seen)),
        plan_of(demo_job("level", checks=[check], observations=seen)),
    ]
    looked = [
        len([notice for notice in plan.notices if notice.code == "hand-check"]) for plan in given
    ]
    assert looked == [1, 1, 2]
    assert given[0].settings == given[1].settings != given[2].settings


def test_a_folder_is_packed_as_a_zip_and_each_file_is_remembered():
    demo = DEMOS["level"]
    (upload,) = packed(demo.survey)
    names = zipfile.ZipFile(io.BytesIO(upload.content)).namelist()
    assert upload.name == "survey.zip"
    assert {origin.name for origin in provenance(demo.sources) if origin.role == "soils"} == {
        *names
    }
    again = run(Request(), Sources(demo.machine, boundary=demo.boundary, soils=(upload,))).plan
    first = plan_demo(demo)
    assert [zoned.moistures for zoned in again.settings] == [
        zoned.moistures for zoned in first.settings
    ]


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


@pytest.mark.parametrize(("name", "safe_name"), NAMES.items(), ids=range(len(NAMES)))
def test_an_upload_stays_in_its_folder(tmp_path, name, safe_name):
    path = on_disk(Upload(name, b"content"), tmp_path / "scratch")
    assert path.name == safe_name
    assert path.parent == tmp_path / "scratch"
    assert path.resolve().parent == (tmp_path / "scratch").resolve()
    assert path.read_bytes() == b"content"
    assert len(list(tmp_path.rglob("*"))) == 2  # the folder and the file: nothing beside them


def test_a_second_file_of_one_name_lies_beside_the_first(tmp_path):
    paths = [on_disk(Upload("a/clay.tif", bytes([n])), tmp_path / "scratch") for n in range(3)]
    assert [path.name for path in paths] == ["clay.tif", "clay (2).tif", "clay (3).tif"]
    assert [path.read_bytes() for path in paths] == [b"\0", b"\1", b"\2"]


def test_a_demo_field_takes_a_headland():
    made = run_of(demo_job("level", headland_passes=2, headland_sides=("north",)))
    (edge,) = made.summary.marks
    laid = edge.notes[0]
    assert (laid.code, laid["passes"], laid["sides"]) == ("headland-laid", 2, ("north",))
    assert any(zoned.zone.site.headland for zoned in made.plan.settings)
    assert not any(zoned.zone.site.headland for zoned in plan_of(demo_job("level")).settings)


def test_one_zip_holds_all_that_the_command_line_writes():
    plan = plan_demo(DEMOS["level"])
    options = Options("wet", all_moistures=True, paper="a4", units="si", taskset_grid=True)
    steps = []
    with watched(steps.append):
        files, expected = output_files(plan, options).files, bundle_files(plan, options)
    assert {"Making cab.pdf", "Making field.html", "Reading every file back"} <= set(steps)
    archive = zipfile.ZipFile(io.BytesIO(files[EVERYTHING]))
    assert {member: archive.read(member) for member in archive.namelist()} == expected
    tasks = zipfile.ZipFile(io.BytesIO(files[TASKSET])).namelist()
    assert tasks == ["TASKDATA/TASKDATA.XML", "TASKDATA/GRD00001.BIN"]
    assert {entry.external_attr >> 16 for entry in archive.infolist()} == {
        0o644
    }  # who unpacks may read


def test_a_plan_that_no_task_set_can_hold_gives_the_other_files(monkeypatch):
    def narrow(_plan, options):
        if options.taskset_version is not None:
            raise OutputError("too many zones for a task set")
        return {"plan.json": b"{}"}

    monkeypatch.setattr(output, "bundle_files", narrow)
    monkeypatch.setattr(output, "refuse_differences", lambda *_: None)
    made = output_files(plan_demo(DEMOS["level"]), Options())
    assert TASKSET not in made.files
    assert made.missing == "too many zones for a task set"
    assert made.files["plan.json"] == b"{}"
    assert zipfile.ZipFile(io.BytesIO(made.files[EVERYTHING])).namelist() == ["plan.json"]


def test_a_file_that_says_something_else_is_not_handed_out(monkeypatch):
    plan, made = plan_demo(DEMOS["level"]), output.bundle_files

    def wrong(plan, options):
        files = made(plan, options)
        return files | {"zones.csv": files["zones.csv"].replace(b"loam", b"sand")}

    monkeypatch.setattr(output, "bundle_files", wrong)
    with pytest.raises(OutputError, match=r"zones\.csv"):
        output_files(plan, Options())


def test_a_raster_is_read_as_fine_as_the_planter_follows_or_as_zones_are_asked_for():
    # WORKED: 12 rows of 30 in are 9.144 m wide, and shorter ground than 100 m is no zone.
    machine = read_machine("springs")
    assert least_patch_m2(Request(), machine) == pytest.approx(914.4)
    assert least_patch_m2(Request(least_area_m2=600.0), machine) == 600.0
    assert least_patch_m2(Request(least_area_m2=9_000.0), machine) == pytest.approx(914.4)
