"""A run over a book is killed, stopped or loses a worker: no finished field is lost."""

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest
import sqlalchemy as sa

from tests.book import killing
from tests.book.county import book_of, square
from zoneplan.book import planning
from zoneplan.book.fields import State, fields, find_field
from zoneplan.book.opening import open_book
from zoneplan.book.planning import plan_all
from zoneplan.book.tables import states

pytestmark = pytest.mark.slow
MANY = tuple(("Ann", "Home", f"Field {place:03}", square(place, side=12)) for place in range(144))


@pytest.fixture
def season(address, tmp_path):
    """A book of many fields, none of them planned."""
    book_of(address, tmp_path, *MANY).close()
    return address


def start(address):
    """Plan the book in a process of its own, with two workers."""
    return subprocess.Popen(
        [sys.executable, "-m", "zoneplan", "book", "plan", address, "--workers", "2"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def done(address):
    """How many fields have a plan."""
    with open_book(address) as book:
        return sum(field.state == State.PLANNED for field in fields(book))


def wait_for(address, count, run):
    """Wait until so many are done."""
    asked = sa.select(sa.func.count()).select_from(states)
    with open_book(address) as book:
        while run.poll() is None:
            with book.read() as connection:
                if connection.execute(asked).scalar() >= count:
                    return
            time.sleep(0.02)


def children(pid):
    """The processes that a process has started."""
    pids = []
    for file in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):  # it has just ended
            parent = int(file.read_text().rpartition(")")[2].split()[1])
            pids += [int(file.parent.name)] if parent == pid else []
    return pids


def is_worker(pid):
    """Whether a process plans fields."""
    with suppress(OSError):
        return b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    return False


def gone(pid):
    """Whether a process is gone, or only its record is left."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def test_a_killed_run_loses_nothing_leaves_no_worker_and_goes_on(season):
    counts = []
    for more in (1, 3, 3):
        run = start(season)
        wait_for(season, (counts or [0])[-1] + more, run)
        workers = children(run.pid)
        run.kill()
        run.communicate()
        for _ in range(200):
            if all(map(gone, workers)):
                break
            time.sleep(0.1)
        assert workers
        assert all(map(gone, workers))
        counts.append(done(season))
    assert counts == sorted(counts)
    assert 1 <= counts[0] < counts[-1] < len(MANY)
    run = start(season)
    out, _ = run.communicate()
    assert run.returncode == 0
    assert f"Planned {len(MANY) - counts[-1]} fields; {counts[-1]} up to date." in out
    assert done(season) == len(MANY)


def test_ctrl_c_says_so_and_what_is_done_stays(season):
    run = start(season)
    wait_for(season, 3, run)
    run.send_signal(signal.SIGINT)
    _, err = run.communicate()
    assert run.returncode == 130
    assert "What was done is in the book" in err
    assert 3 <= done(season) < len(MANY)


def test_a_worker_that_is_killed_costs_no_field(season):
    run = start(season)
    wait_for(season, 2, run)
    workers = [pid for pid in children(run.pid) if is_worker(pid)]
    os.kill(workers[0], signal.SIGKILL)
    out, _ = run.communicate()
    assert run.returncode == 0, out
    assert done(season) == len(MANY)


def test_a_field_that_always_kills_its_worker_is_named_and_passed_over(season, monkeypatch):
    with open_book(season) as book:
        victim = find_field(book, "Field 007")
        monkeypatch.setattr(planning, "packed", killing.packed)
        report = plan_all(book, who="Ann", workers=2)
        assert len(report.planned) == len(MANY) - 1
        ((field, fault),) = report.failed
        assert (field.id, fault.code) == (victim.id, "worker-died")
        again = plan_all(book, who="Ann", workers=2)
        assert [one.id for one in again.passed_over] == [victim.id]
