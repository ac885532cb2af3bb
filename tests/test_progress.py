"""What long work tells of itself: each step as it begins, and what it took once it is done."""

import time

from click.testing import CliRunner

from tests.test_imports import CREEK
from zoneplan.cli import main
from zoneplan.fault_report import write_report
from zoneplan.field.child import run
from zoneplan.progress import stages, step, watched


def _work(cpu_s):
    end_s = time.process_time() + cpu_s
    while time.process_time() < end_s:
        pass


def test_a_step_takes_what_is_worked_in_it_here_and_in_a_child():
    heard = []
    with watched(heard.append):
        _work(0.1)
        step("Reading", "soil.zip")
        run(30, _work, 0.2)
        step("Drawing zones")
        _work(0.1)
    reading, drawing = stages()
    assert [*dict.fromkeys(heard)] == ["Reading soil.zip", "Drawing zones"]
    assert (reading.doing, reading.what) == ("Reading", "soil.zip")
    # a child that works is no work of ours, but for the asking
    assert reading.children_s >= 0.2
    assert reading.cpu_s < 0.2
    assert drawing.cpu_s >= 0.1
    assert drawing.children_s == 0
    assert reading.peak_mb is None or 20 < reading.peak_mb <= drawing.peak_mb


def test_where_nobody_watches_nothing_is_noted():
    with watched(lambda _: None):
        step("Reading", "soil.zip")
    step("Drawing zones")
    assert [stage.doing for stage in stages()] == ["Reading"]


def test_what_is_done_many_times_is_told_once():
    with watched(lambda _: None):
        for part in ("clay", "sand", "clay"):
            step("Kriging", part)
            _work(0.05)
    clay, sand = stages()
    assert (clay.what, sand.what) == ("clay", "sand")
    assert clay.cpu_s >= 0.1
    assert 0.05 <= sand.cpu_s < 0.1


def test_a_fault_report_tells_the_steps_and_no_name_in_them(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path))
    with watched(lambda _: None):
        step("Reading", "widow Smith's.zip")
        step("Drawing zones")
    text = write_report(KeyError("soil"), "a test").read_text()
    assert "\nReading: 0." in text
    assert "\nDrawing zones: 0." in text
    assert "Smith" not in text


def test_timings_tell_each_step_on_standard_error_alone(tmp_path):
    result = CliRunner().invoke(
        main,
        [
            *("plan", str(CREEK / "boundary.geojson"), "--soil", str(CREEK / "survey")),
            *("--machine", "springs", "--out", str(tmp_path / "out")),
            *("--files", "zones, page", "--timings"),
        ],
        catch_exceptions=False,
    )
    assert "CPU s" not in result.stdout
    lines = result.stderr.splitlines()
    assert lines[0].split("  ")[-1] == "step"
    assert [line for line in lines if line.endswith("Making zones.gpkg")]
    assert [line for line in lines if line.endswith("Reading every file back")]
    assert lines[-1].endswith("all of it")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        *("field.html", "manifest.json", "plan.json"),
        *("zones.csv", "zones.geojson", "zones.gpkg", "zones.zip"),
    ]


def test_a_kind_of_files_that_is_none_is_refused(tmp_path):
    result = CliRunner().invoke(main, ["plan", "x", "--out", str(tmp_path), "--files", "sheet"])
    assert result.exit_code == 2
    assert "'sheet' is none of plan, zones, taskset, sheets, page." in result.stderr
