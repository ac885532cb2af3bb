"""Many fields: the same plans as one by one, faults beside their fields, and nothing lost."""

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time

import geopandas as gpd
import pytest
from click.testing import CliRunner
from shapely.geometry import Polygon, box

from tests.helpers import batch_works, county
from zoneplan.batch import Fault, Outcome, Task, Totals, run_all, totals_of
from zoneplan.batch.folder import fields_in
from zoneplan.batch.pool import each
from zoneplan.cli import main
from zoneplan.errors import ZoneplanError
from zoneplan.export.check import check_bundle
from zoneplan.request import Request
from zoneplan.sources import Sources

FIELDS = 6


@pytest.fixture(scope="module")
def ground(tmp_path_factory):
    """A county's fields and its survey."""
    return county.made(tmp_path_factory.mktemp("county"), FIELDS)


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def batch(ground, out, *more):
    fields, survey = ground
    arguments = ("--soil", survey, "--machine", "springs", "--out", out, "--workers", 1)
    return run("batch", fields, *arguments, *more)


def table(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def fields_file(path, shapes, names):
    gpd.GeoDataFrame({"name": names}, geometry=shapes, crs="EPSG:4326").to_file(path)
    return path


@pytest.fixture(scope="module")
def planned(ground, tmp_path_factory):
    """The county planned, and what was said."""
    out = tmp_path_factory.mktemp("batch") / "plans"
    return out, batch(ground, out)


@pytest.mark.slow
def test_every_field_is_planned_as_it_is_alone(ground, planned, tmp_path):
    out, result = planned
    assert result.exit_code == 0, result.output
    assert f"{FIELDS} planned" in result.output
    fields, survey = ground
    for number in (1, FIELDS):
        alone = tmp_path / str(number)
        given = ("--soil", survey, "--machine", "springs", "--pick", number, "--out", alone)
        assert run("plan", fields, *given).exit_code == 0
        # PINNED: two ways to the same plan
        assert (out / f"Field {number}" / "plan.json").read_bytes() == (
            alone / "plan.json"
        ).read_bytes()
        assert check_bundle(out / f"Field {number}") == []


def test_the_table_lists_every_field_in_the_order_of_its_file(planned):
    out, _ = planned
    rows = table(out / "fields.csv")
    assert [row["field"] for row in rows] == [f"Field {n}" for n in range(1, FIELDS + 1)]
    for row in rows:
        plan = json.loads((out / row["folder"] / "plan.json").read_text("utf-8"))
        assert row["state"] == "planned"
        assert float(row["area_ha"]) == plan["field"]["area_ha"]
        assert int(row["zones"]) == len(plan["zones"])
        assert row["generic"] == "true"
    assert table(out / "faults.csv") == []


def test_run_again_it_plans_only_what_is_new_or_changed(ground, planned):
    out, _ = planned
    before = (out / "Field 2" / "plan.json").stat().st_ino
    (out / "Field 1" / "plan.json").write_text("{}")
    again = batch(ground, out)
    assert f"1 planned, {FIELDS - 1} as they were" in again.output
    assert check_bundle(out / "Field 1") == []
    assert (out / "Field 2" / "plan.json").stat().st_ino == before
    with (out / "batch.jsonl").open("a") as record:
        record.write('{"field": "Field 3", "dig')  # cut off in the middle of a write
    assert f"{FIELDS} as they were" in batch(ground, out).output


@pytest.mark.slow
def test_a_request_that_changed_plans_all_and_another_kind_of_files_too(ground, tmp_path):
    small = fields_file(
        tmp_path / "one.geojson", list(gpd.read_file(ground[0]).geometry[:1]), ["A"]
    )
    given = ((small, ground[1]), tmp_path / "plans")
    assert "1 planned" in batch(*given).output
    assert "1 as they were" in batch(*given).output
    assert "1 planned" in batch(*given, "--tillage", "no-till").output
    assert "1 planned" in batch(*given, "--tillage", "no-till", "--files", "page,zones").output
    names = {path.name for path in (tmp_path / "plans" / "A").iterdir()}
    assert {"field.html", "zones.gpkg", "plan.json", "manifest.json"} <= names
    assert not names & {"summary.pdf", "TASKDATA"}
    assert check_bundle(tmp_path / "plans" / "A") == []


@pytest.mark.slow
def test_a_fault_stays_beside_its_field(ground, tmp_path):
    shapes = [
        *gpd.read_file(ground[0]).geometry[:2],
        box(10, 10, 10.001, 10.001),  # far from any soil
        Polygon([(-87.1, 42.5), (-87.09, 42.51), (-87.09, 42.5), (-87.1, 42.51)]),  # a bow tie
    ]
    file = fields_file(tmp_path / "four.geojson", shapes, ["=1+1", "b", "afar", "bow"])
    result = batch((file, ground[1]), tmp_path / "plans")
    assert result.exit_code == 3, result.output
    assert "2 planned, 2 with a fault" in result.output
    faults = {row["field"]: row for row in table(tmp_path / "plans" / "faults.csv")}
    assert set(faults) == {"afar", "bow"}
    assert "do not meet" in faults["afar"]["why"]
    assert "crosses itself" in faults["bow"]["why"]
    assert not (tmp_path / "plans" / "afar").exists()
    states = {row["field"]: row["state"] for row in table(tmp_path / "plans" / "fields.csv")}
    assert states == {"'=1+1": "planned", "b": "planned", "afar": "fault", "bow": "fault"}


@pytest.mark.slow
def test_what_ended_its_process_is_passed_over_until_it_is_asked_for(ground, tmp_path, monkeypatch):
    def dies(tasks, *, done, **_):
        for task in tasks:
            done(Outcome(task.key, fault=Fault("worker-died", "It was ended.")))

    out = tmp_path / "plans"
    with monkeypatch.context() as patched:
        patched.setattr("zoneplan.batch.folder.run_all", dies)
        assert f"0 planned, {FIELDS} with a fault" in batch(ground, out).output
    result = batch(ground, out)
    assert result.exit_code == 3
    assert f"0 planned, {FIELDS} passed over" in result.output
    assert "Field 1: It was ended." in result.output
    assert len(table(out / "faults.csv")) == FIELDS
    assert f"{FIELDS} planned" in batch(ground, out, "--again").output
    assert table(out / "faults.csv") == []


@pytest.mark.parametrize(
    "line",
    [
        "[]",
        "null",
        '{"field": 3, "digest": "x", "totals": {}}',
        '{"field": "Field 1", "digest": "x", "fault": {"code": 3}}',
        '{"field": "Field 1", "digest": "x"}',
        "\x00\udc80",
    ],
)
def test_a_line_of_the_record_that_is_none_of_ours_is_passed_over(ground, planned, tmp_path, line):
    shutil.copytree(planned[0], tmp_path / "plans")
    with (tmp_path / "plans" / "batch.jsonl").open("ab") as record:
        record.write(line.encode("utf-8", "surrogateescape") + b"\n")
    assert f"{FIELDS} as they were" in batch(ground, tmp_path / "plans").output


@pytest.mark.slow
def test_a_fault_that_an_option_puts_right_names_the_option_once(ground, tmp_path):
    points = tmp_path / "points.csv"
    points.write_text("X,Y,clay,sand\n500000,4500000,20,40\n500100,4500000,22,41\n")
    result = batch((ground[0], points), tmp_path / "plans")
    assert result.exit_code == 3
    assert f"0 planned, {FIELDS} with a fault" in result.output
    assert result.output.count("Say it with --layer-crs") == 1


def test_totals_add_up_the_hectares_of_each_kind():
    def zone(number, area_ha, ground="soil", **moist):
        usual = {"reached": None, "gave_way": None, "inside_chance": None, "wait": False}
        instruction = {**usual, "notices": [], **moist}
        soil = {"ground": ground}
        return {"id": number, "area_ha": area_ha, "soil": soil, "moistures": {"moist": instruction}}

    document = {
        "field": {"name": "A", "area_ha": 15.5},
        "uncovered_ha": 0.5,
        "notices": [{"code": "generic-machine"}, {"code": "override-stands"}],
        "zones": [
            zone(1, 1.0, ground="no data"),
            zone(2, 2.0, reached=False, inside_chance=0.0, gave_way="most"),
            zone(3, 4.0, reached=True, inside_chance=0.5),
            zone(4, 8.0, wait=True, notices=[{"code": "rule-warns"}, {"code": "rule-warns"}]),
        ],
    }
    # WORKED: each zone's hectares are a power of two, so a sum tells which zones are in it.
    assert totals_of(document) == Totals(
        name="A",
        area_ha=15.5,
        uncovered_ha=0.5,
        zones=4,
        generic=True,
        no_data_ha=1.0,
        unreached_ha=2.0,
        gave_way_ha=2.0,
        unlikely_ha=2.0,
        wait_ha=8.0,
        overrides=1,
        notices=(("generic-machine", 1), ("override-stands", 1), ("rule-warns", 1)),
    )


NAMES = ["North/40", "north 40", "North 40", "../up", "", "CON", "x" * 300, "🌽 'east' \x1b[2J"]


def test_folders_have_names_for_any_disk_unlike_each_other(tmp_path):
    shapes = [box(n, 0, n + 0.01, 0.01) for n in range(len(NAMES))]
    listed, _ = fields_in(fields_file(tmp_path / "fields.gpkg", shapes, NAMES))
    folders = [field.folder for field in listed]
    assert len({folder.casefold() for folder in folders}) == len(NAMES)
    assert [field.name for field in listed][4] == "fields 5"
    for folder in folders:
        (tmp_path / folder).mkdir()
        assert (tmp_path / folder).resolve().parent == tmp_path.resolve()
        assert folder.isprintable()
        assert len(folder.encode()) < 200
    assert "CON" not in folders


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--files", "zones,pictures"), "'pictures' is none of plan, zones"),
        (("--workers", "0"), "--workers"),
        (("--machine", "no-such.toml"), "no-such.toml"),
    ],
)
def test_what_all_fields_share_is_refused_before_any_is_planned(ground, tmp_path, more, words):
    result = batch(ground, tmp_path / "plans", *more)
    assert result.exit_code in (1, 2)
    assert words in result.output
    assert not list(tmp_path.glob("plans/*/plan.json"))


def test_a_file_in_the_folders_place_and_a_strangers_record_are_refused(ground, tmp_path):
    (tmp_path / "file").write_text("mine")
    assert batch(ground, tmp_path / "file").exit_code == 1
    (tmp_path / "plans").mkdir()
    (tmp_path / "plans" / "batch.jsonl").write_text("my own notes\n")
    result = batch(ground, tmp_path / "plans")
    assert "is no record of a batch" in result.output
    assert (tmp_path / "plans" / "batch.jsonl").read_text() == "my own notes\n"


# ---- the pool ----------------------------------------------------------------------------------


def tasks(*keys):
    return [Task(key, Request(), Sources("springs")) for key in keys]


def came(work, keys, workers=2, **how):
    return {outcome.key: outcome for outcome in each(work, tasks(*keys), workers, **how)}


def test_every_task_is_done_once_by_as_many_workers():
    keys = [str(n) for n in range(40)]
    outcomes = [*each(batch_works.answer, tasks(*keys), 2)]
    assert sorted(outcome.key for outcome in outcomes) == sorted(keys)
    workers = {outcome.seconds for outcome in outcomes}
    assert 1 <= len(workers) <= 2
    assert os.getpid() not in workers


@pytest.mark.slow
def test_what_kills_its_worker_is_named_and_nothing_else_is_lost(tmp_path):
    keys = ["a", "always:x", "b", f"once:{tmp_path / 'mark'}", "c", "d"]
    outcomes = came(batch_works.die_of_some, keys)
    assert set(outcomes) == set(keys)
    faults = {key: one.fault.code for key, one in outcomes.items() if one.fault}
    assert faults == {"always:x": "worker-died"}
    assert "signal 9" in outcomes["always:x"].fault.words


def test_what_cannot_be_sent_is_the_tasks_fault():
    outcomes = came(batch_works.unsendable, ["a", "b"], workers=1)
    assert {key: one.fault.code for key, one in outcomes.items()} == dict.fromkeys(
        "ab", "our-fault"
    )


@pytest.mark.slow
def test_what_hangs_is_stopped():
    outcomes = came(batch_works.die_of_some, ["a", "hangs:x", "b"], most_s=8.0)
    assert {key: one.fault and one.fault.code for key, one in outcomes.items()} == {
        "a": None,
        "hangs:x": "too-slow",
        "b": None,
    }


def test_an_outcome_that_the_caller_refuses_ends_all_and_leaves_no_worker():
    pids = []

    def refuse(outcome):
        pids.append(int(outcome.seconds))
        raise KeyboardInterrupt

    coming = each(batch_works.answer, tasks(*map(str, range(9))), 2)
    with pytest.raises(KeyboardInterrupt):
        refuse(next(coming))
    coming.close()
    assert len(pids) == 1
    assert gone(pids)


def test_no_workers_are_started_for_nothing():
    came_of_nothing = []
    run_all([], done=came_of_nothing.append)
    assert came_of_nothing == []


def test_in_this_process_tasks_are_done_one_after_another(ground):
    fields, survey = ground
    listed, _ = fields_in(fields)
    given = Sources("springs", soils=(survey,))
    one, other = listed[0], listed[1]
    outcomes = []
    run_all(
        [
            Task("one", Request(name=one.name), given, one.outline),
            Task("broken", Request(), given, b"not a shape"),
            Task("other", Request(name=other.name), given, other.outline),
        ],
        workers=0,
        done=outcomes.append,
    )
    assert [outcome.key for outcome in outcomes] == ["one", "broken", "other"]
    assert outcomes[0].totals.name == "Field 1"
    assert outcomes[1].fault.code == "LayerError"
    assert isinstance(outcomes[1].fault, Fault)
    assert all(isinstance(outcome, Outcome) for outcome in outcomes)


def gone(pids, seconds=20.0):
    """Whether processes have ended, or do within so long."""
    until = time.monotonic() + seconds
    while any(_lives(pid) for pid in pids):
        if time.monotonic() > until:
            return False
        time.sleep(0.1)
    return True


def _lives(pid):
    try:
        with open(f"/proc/{pid}/stat") as file:  # noqa: PTH123
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.slow
def test_the_parent_does_so_little_that_two_workers_do_nearly_twice_as_much(larger):
    fields, survey = larger
    listed, _ = fields_in(fields)
    sources = Sources("springs", soils=(survey,))
    outcomes, began_s = [], time.process_time()
    run_all(
        [Task(one.folder, Request(name=one.name), sources, one.outline) for one in listed],
        workers=2,
        done=outcomes.append,
    )
    parent_s = time.process_time() - began_s
    workers_s = sum(outcome.cpu_s for outcome in outcomes)
    # WORKED: of one worker's time W and the parent's P, which nothing is done beside, two workers
    # take P + W / 2. That is (P + W) / (P + W / 2) >= 1.7 times as fast where P <= 0.21 W.
    assert parent_s <= 0.21 * workers_s, (parent_s, workers_s)


# ---- killed ------------------------------------------------------------------------------------


def start(ground, out, workers=2):
    fields, survey = ground
    command = [sys.executable, "-m", "zoneplan", "batch", fields, "--soil", survey]
    command += ["--machine", "springs", "--out", out, "--workers", str(workers)]
    return subprocess.Popen(command, stderr=subprocess.DEVNULL, start_new_session=True)


def done_in(out):
    path = out / "batch.jsonl"
    return path.read_text("utf-8").count('"totals"') if path.exists() else 0


def wait_until(what, seconds=120.0):
    until = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until, "it never came"
        time.sleep(0.02)


def family(pid):
    """The processes under one."""
    under = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False
    )
    children = [int(line) for line in under.stdout.split()]
    return [*children, *(pid for child in children for pid in family(child))]


@pytest.fixture(scope="module")
def larger(tmp_path_factory):
    return county.made(tmp_path_factory.mktemp("larger"), 40)


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_a_run_that_is_killed_goes_on_where_it_stood_and_leaves_no_worker(larger, tmp_path, how):
    out = tmp_path / "plans"
    running = start(larger, out)
    wait_until(lambda: done_in(out) >= 5)
    workers = family(running.pid)
    assert len(workers) >= 2
    os.kill(running.pid, how)
    running.wait(30)
    assert gone(workers)
    finished = done_in(out)
    inodes = {path: path.stat().st_ino for path in out.glob("*/plan.json")}
    assert 5 <= finished <= len(inodes)
    if how == signal.SIGINT:
        assert sum(row["state"] == "planned" for row in table(out / "fields.csv")) == finished
    result = batch(larger, out)
    assert result.exit_code == 0, result.output
    assert f"{40 - finished} planned, {finished} as they were" in result.output
    recorded = {path for path, inode in inodes.items() if path.stat().st_ino == inode}
    assert len(recorded) >= finished
    assert all(check_bundle(out / f"Field {n}") == [] for n in range(1, 41))
    assert {row["state"] for row in table(out / "fields.csv")} == {"planned"}


@pytest.mark.slow
def test_a_worker_that_is_killed_costs_no_field(larger, tmp_path):
    out = tmp_path / "plans"
    running = start(larger, out)
    for least in (3, 10, 20):
        wait_until(lambda least=least: done_in(out) >= least)
        workers = [pid for pid in family(running.pid) if "spawn_main" in _command(pid)]
        os.kill(workers[0], signal.SIGKILL)
    assert running.wait(120) == 0
    assert {row["state"] for row in table(out / "fields.csv")} == {"planned"}
    assert table(out / "faults.csv") == []


def _command(pid):
    try:
        with open(f"/proc/{pid}/cmdline") as file:  # noqa: PTH123
            return file.read()
    except (FileNotFoundError, ProcessLookupError):
        return ""


def test_two_runs_into_one_folder_are_told_apart(ground, tmp_path):
    from zoneplan.export.stopped import locked

    out = tmp_path / "plans"
    out.mkdir()
    with locked(out / ".zoneplan-batch" / "lock"):
        result = batch(ground, out)
    assert result.exit_code == 1
    assert "Another zoneplan is planning into" in result.output


@pytest.mark.slow
def test_no_worker_that_starts_is_an_error_and_not_a_loop(monkeypatch):
    monkeypatch.setenv("PYTHONPATH", "/nowhere")
    monkeypatch.setattr("zoneplan.batch.pool._serve", _ends_at_once)
    with pytest.raises(ZoneplanError, match="No process to plan in can be started"):
        came(batch_works.answer, ["a", "b", "c"])


def _ends_at_once(*_):
    os._exit(7)
