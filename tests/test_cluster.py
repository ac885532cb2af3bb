"""The same tasks on a real cluster on this machine: a scheduler, and workers that are killed."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

pytest.importorskip("distributed")

from tests.helpers import county
from tests.test_batch import batch, done_in, table, wait_until
from zoneplan.batch import Task, run_all
from zoneplan.batch.cluster import bundle_of
from zoneplan.errors import ZoneplanError
from zoneplan.request import Request
from zoneplan.sources import Sources

ROOT = Path(__file__).parents[1]
FIELDS = 24


class Cluster:
    """A scheduler, and workers, in processes of their own."""

    def __init__(self, folder):
        self.folder = folder
        file = folder / "scheduler.json"
        self.scheduler = self._start("dask_scheduler", "--port", "0", "--scheduler-file", str(file))
        wait_until(file.exists)
        wait_until(lambda: "tcp://" in file.read_text())
        self.address = file.read_text().split('"address": "')[1].split('"')[0]
        self.workers = []

    def add(self, **environment):
        how = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory")
        self.workers.append(
            self._start("dask_worker", self.address, *how, str(self.folder), **environment)
        )

    def _start(self, module, *arguments, **environment):
        given = {**os.environ, "PYTHONPATH": str(ROOT), **environment}
        command = [sys.executable, "-m", f"distributed.cli.{module}", *arguments]
        if module == "dask_scheduler":
            command += ["--no-dashboard", "--host", "127.0.0.1"]
        with (self.folder / f"{module}.log").open("ab") as log:
            return subprocess.Popen(command, env=given, stdout=log, stderr=log, cwd=self.folder)

    def end(self):
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@pytest.fixture
def cluster(tmp_path):
    (tmp_path / "cluster").mkdir()
    made = Cluster(tmp_path / "cluster")
    yield made
    made.end()


@pytest.fixture(scope="module")
def ground(tmp_path_factory):
    return county.made(tmp_path_factory.mktemp("county"), FIELDS)


def ready(cluster, workers):
    from distributed import Client

    with Client(cluster.address, set_as_default=False) as client:
        client.wait_for_workers(workers, timeout=120)


@pytest.mark.slow
def test_a_cluster_plans_the_same_and_a_worker_that_is_killed_costs_no_field(
    cluster, ground, tmp_path
):
    cluster.add()
    cluster.add()
    ready(cluster, 2)
    out, here = tmp_path / "there", tmp_path / "here"

    def kill_one():
        wait_until(lambda: done_in(out) >= 4)
        cluster.workers[0].send_signal(signal.SIGKILL)

    killer = threading.Thread(target=kill_one)
    killer.start()
    result = batch(ground, out, "--on", cluster.address, "--files", "zones")
    killer.join()
    assert cluster.workers[0].wait(5) == -signal.SIGKILL
    assert result.exit_code == 0, result.output
    assert f"{FIELDS} planned" in result.output
    assert {row["state"] for row in table(out / "fields.csv")} == {"planned"}
    assert batch(ground, here, "--files", "zones").exit_code == 0
    for number in range(1, FIELDS + 1):
        for name in ("plan.json", "zones.geojson", "manifest.json"):
            # PINNED: two machines, one plan
            there = (out / f"Field {number}" / name).read_bytes()
            assert there == (here / f"Field {number}" / name).read_bytes()


@pytest.mark.slow
def test_a_cluster_that_goes_away_keeps_what_is_done(cluster, ground, tmp_path):
    cluster.add()
    ready(cluster, 1)
    out = tmp_path / "plans"

    def kill_it():
        wait_until(lambda: done_in(out) >= 3)
        cluster.scheduler.send_signal(signal.SIGKILL)

    killer = threading.Thread(target=kill_it)
    killer.start()
    result = batch(ground, out, "--on", cluster.address)
    killer.join()
    assert result.exit_code == 1
    assert "went away" in result.output
    done = done_in(out)
    assert done >= 3
    assert f"{FIELDS - done} planned, {done} as they were" in batch(ground, out).output


@pytest.mark.slow
def test_a_worker_of_another_version_is_told_and_nothing_is_planned(cluster, ground, tmp_path):
    older = tmp_path / "older" / "zoneplan-0.0.1.dist-info"
    older.mkdir(parents=True)
    (older / "METADATA").write_text("Metadata-Version: 2.1\nName: zoneplan\nVersion: 0.0.1\n")
    cluster.add(PYTHONPATH=f"{older.parent}{os.pathsep}{ROOT}")
    ready(cluster, 1)
    result = batch(ground, tmp_path / "plans", "--on", cluster.address)
    assert result.exit_code == 1
    assert "1 of 1 workers" in result.output
    assert "zoneplan 0.0.1" in result.output
    assert not list(tmp_path.glob("plans/*/plan.json"))


@pytest.mark.slow
def test_a_cluster_without_workers_is_told(cluster, ground, tmp_path):
    result = batch(ground, tmp_path / "plans", "--on", cluster.address)
    assert result.exit_code == 1
    assert "has no workers" in result.output


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nonsense://x", "127.0.0.1"])
def test_an_address_that_does_not_answer_is_told(monkeypatch, address):
    monkeypatch.setattr("zoneplan.batch.cluster.ANSWER_S", 1.0)
    task = Task("a", Request(), Sources("springs"))
    began = time.monotonic()
    with pytest.raises(ZoneplanError, match="No cluster answers at") as caught:
        run_all([task], on=address, done=print)
    assert caught.value.code == "no-cluster"
    assert time.monotonic() - began < 60


@pytest.mark.parametrize("address", ["nonsense", "tcp://host", "tcp://host:x", ""])
def test_an_address_of_no_place_begins_no_client(monkeypatch, address):
    """One that is begun hangs half a minute when all is done, and ends with a trace."""
    monkeypatch.setattr("distributed.Client", lambda *_, **__: pytest.fail("it was begun"))
    with pytest.raises(ZoneplanError, match="No cluster answers at"):
        run_all([Task("a", Request(), Sources("springs"))], on=address, done=print)


def test_without_the_extra_it_is_told_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ZoneplanError, match=r"zoneplan\[cluster\]"):
        run_all([Task("a", Request(), Sources("springs"))], on="tcp://x:1", done=print)


def test_a_bundle_is_a_file_a_folder_or_a_shapefile_with_its_parts(ground):
    _, survey = ground
    digest, name, contents = bundle_of(survey)
    assert name == "survey"
    assert {"survey/spatial/soilmu_a_zz901.shp", "survey/tabular/comp.txt"} <= dict(contents).keys()
    shape = survey / "spatial" / "soilmu_a_zz901.shp"
    parts = {inner for inner, _ in bundle_of(shape)[2]}
    assert parts == {f"soilmu_a_zz901.{end}" for end in ("shp", "shx", "dbf", "prj")}
    assert bundle_of(survey)[0] == digest != bundle_of(shape)[0]
