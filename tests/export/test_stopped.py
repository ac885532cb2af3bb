"""A plan's folder is the plan before or the new one, or says that it is unfinished: always.

Children are forked and killed by the system, as a power cut would end them: nothing in them can
tidy up. What they leave is looked at first as it lies, and then after the next start.
"""

import errno
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
import traceback
from pathlib import Path

import pytest

from zoneplan.errors import OutputError
from zoneplan.export import bundle, stopped, swap
from zoneplan.export.bundle import check_folder, tidied, write_plan
from zoneplan.export.manifest import MANIFEST, Options, manifest_bytes, read_manifest

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="Children are forked.")

NO_PLAN = None  # nobody looks at it: see `quick`
GRID = "TASKDATA/GRD00001.BIN"
PLAN = ("plan.json", "summary.pdf", "zones.csv", "TASKDATA/TASKDATA.XML")
MINE = {"notes.txt": b"mine", "TASKDATA/TLG00001.BIN": b"a machine's", "photos/1.jpg": b"mine"}
# Before, what somebody else keeps there, and what comes: every way that a plan is put in place.
SCENES = {
    "a new folder": ((), {}, PLAN),
    "in place of a plan": ((*PLAN, GRID), {}, PLAN),
    "in place of a plan without tasks": (PLAN[:3], {}, PLAN),
    "beside what is mine": ((*PLAN, GRID), MINE, PLAN),
    "the first beside what is mine": ((), {"notes.txt": b"mine"}, PLAN),
    "without tasks beside what is mine": ((*PLAN, GRID), {"notes.txt": b"mine"}, PLAN[:3]),
}
WHOLE_FOLDER = ("a new folder", "in place of a plan", "in place of a plan without tasks")
CHANGES = {"open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "os.scandir"}


def files_of(names, word):
    by_name = {name: f"{word} {name}".encode() for name in names}
    return {**by_name, MANIFEST: manifest_bytes(by_name, Options(), [])} if names else {}


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Files of a few bytes: where they go is tried here, not what they say."""
    monkeypatch.setattr(bundle, "refuse_differences", lambda *_: None)
    monkeypatch.setattr(bundle, "bundle_files", lambda *_: files_of(PLAN, "new"))


class Scene:
    """A folder, what is in it, and what comes."""

    def __init__(self, folder, name, monkeypatch):
        before, self.mine, coming = SCENES[name]
        self.out, self.name = folder / "plans" / "creek", name
        self.before, self.coming = files_of(before, "old"), files_of(coming, "new")
        self.out.parent.mkdir(exist_ok=True)
        monkeypatch.setattr(bundle, "bundle_files", lambda *_: self.coming)
        self.reset()

    def reset(self):
        shutil.rmtree(self.out.parent)
        self.out.parent.mkdir()
        for name, content in (self.before | self.mine).items():
            (self.out / name).parent.mkdir(parents=True, exist_ok=True)
            (self.out / name).write_bytes(content)

    def write(self):
        write_plan(NO_PLAN, self.out)

    def contents(self):
        return {
            path.relative_to(self.out).as_posix(): path.read_bytes()
            for path in self.out.rglob("*")
            if path.is_file()
        }

    def state(self):
        """Which plan is there; whatever is in the way of saying so is a fault."""
        result = self.contents()
        assert {name: result.pop(name) for name in self.mine} == self.mine
        if result == self.coming:
            return "new"
        if result == self.before:
            return "old"
        assert read_manifest(result.pop(MANIFEST)).unfinished
        old, new = result.items() <= self.before.items(), result.items() <= self.coming.items()
        assert old or new, "files of two plans lie side by side"
        return "unfinished"

    def tidy(self):
        """Start again, and see that one of the plans is there and nothing else."""
        traces = list(self.out.parent.glob(".zoneplan*"))
        result = check_folder(self.out)
        state = self.state()
        assert state in ("old", "new")
        assert list(self.out.parent.glob(".zoneplan*")) == []
        assert not result or traces
        return state, result


@pytest.fixture(params=SCENES)
def scene(request, tmp_path, monkeypatch):
    return Scene(tmp_path, request.param, monkeypatch)


def forked(work):
    """Do something in a child."""
    child = os.fork()
    if child:
        return child
    try:
        work()
        os._exit(0)
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(1)


def ended(child):
    """How a child ended: its code, or the signal below zero."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def killed(work, at):
    """Do something in a child that is killed before its step of this number; tell if it was."""

    def watched():
        seen = 0

        def step(event, _):
            nonlocal seen
            if event not in CHANGES:
                return
            seen += 1
            if seen == at:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(step)
        work()

    code = ended(forked(watched))
    assert code in (0, -signal.SIGKILL)
    return code != 0


def refusal(work):
    """What is said where something cannot be done; nothing where it is."""
    try:
        work()
    except OutputError as error:
        return str(error)
    return ""


def every_stop(work):
    """Each step there is to stop at."""
    at = 1
    while killed(work, at):
        yield at
        at += 1


@pytest.mark.slow
def test_killed_at_every_step_it_is_one_plan_or_says_that_it_is_none(scene):
    states, words = [], set()
    for _ in every_stop(scene.write):
        states.append(scene.state())
        after, result = scene.tidy()
        words.add(result)
        assert states[-1] in (after, "unfinished")  # what was whole stays as it was
        if states[-1] == "unfinished":
            assert after == "old"  # it is put back
        scene.reset()
    assert scene.state() == "new"  # nobody killed the last one
    assert len(states) > 40
    assert states[0] == "old"
    assert states[-1] == "new"
    assert ("unfinished" in states) == (scene.name not in WHOLE_FOLDER)
    assert any("stopped before it changed anything" in word for word in words)
    assert any("stopped, and was undone" in word for word in words)
    assert any("when its plan was in place" in word for word in words)


@pytest.mark.slow
def test_killed_while_it_is_undone_it_is_undone_later(tmp_path, monkeypatch):
    scene = Scene(tmp_path, "beside what is mine", monkeypatch)
    tried = 0
    stops = [*every_stop(scene.write)]
    scene.reset()
    for at in stops[40::20]:
        killed(scene.write, at)
        for _ in every_stop(lambda: tidied(scene.out)):
            tried += 1
            scene.state()
            scene.tidy()
            scene.reset()
            killed(scene.write, at)
        scene.reset()
    assert tried > 60


@pytest.mark.hostile
def test_killed_200_times_at_random(tmp_path, monkeypatch):
    dice, states = random.Random(10), []
    for name in ("in place of a plan", "beside what is mine"):
        scene = Scene(tmp_path, name, monkeypatch)
        start = time.perf_counter()
        assert ended(forked(scene.write)) == 0
        seconds = time.perf_counter() - start
        for _ in range(100):
            scene.reset()
            child = forked(scene.write)
            time.sleep(dice.random() * seconds)
            os.kill(child, signal.SIGKILL)
            ended(child)
            states.append(scene.state())
            assert scene.tidy()[0] in (states[-1], "old")
    assert len(states) == 200
    assert set(states) >= {"old", "new"}


# ---- two writers -------------------------------------------------------------------------------


def test_a_second_writer_is_refused_in_words(scene, monkeypatch):
    ready, go = os.pipe(), os.pipe()

    def slowly(*_):
        os.write(ready[1], b".")
        os.read(go[0], 1)
        return scene.coming

    def first():
        monkeypatch.setattr(bundle, "bundle_files", slowly)
        scene.write()

    child = forked(first)
    os.read(ready[0], 1)
    for again in (scene.write, lambda: check_folder(scene.out), lambda: tidied(scene.out)):
        with pytest.raises(OutputError, match=r"Another zoneplan is writing to .*creek at this"):
            again()
    assert scene.state() == "old"
    os.write(go[1], b".")
    assert ended(child) == 0
    assert scene.tidy() == ("new", "")
    scene.write()
    for end in (*ready, *go):
        os.close(end)


def test_many_writers_leave_the_plan_of_one(tmp_path, monkeypatch):
    scene = Scene(tmp_path, "in place of a plan", monkeypatch)

    def often(number):
        done = 0
        monkeypatch.setattr(bundle, "bundle_files", lambda *_: files_of(PLAN, f"{number}"))
        while done < 10:
            message = refusal(scene.write)
            assert not message or "Another zoneplan" in message
            done += not message
            time.sleep(0.001 * number)

    children = [forked(lambda n=n: often(n)) for n in range(4)]
    assert [ended(child) for child in children] == [0] * 4
    assert scene.contents() in [files_of(PLAN, f"{n}") for n in range(4)]
    assert list(scene.out.parent.iterdir()) == [scene.out]


def test_two_names_of_one_folder_are_one_folder(tmp_path, monkeypatch):
    scene = Scene(tmp_path, "in place of a plan", monkeypatch)
    (tmp_path / "link").symlink_to(scene.out)
    monkeypatch.chdir(scene.out.parent)
    with stopped.alone(scene.out):
        for name in (tmp_path / "link", Path("creek"), Path("../plans/creek")):
            with pytest.raises(OutputError, match="Another zoneplan"):
                write_plan(NO_PLAN, name)
    write_plan(NO_PLAN, tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert scene.state() == "new"


# ---- a full disk -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("where", "name"), [(Path, "write_bytes"), (os, "fsync"), (Path, "mkdir"), (Path, "replace")]
)
def test_a_disk_that_is_full_at_any_file_changes_nothing(scene, monkeypatch, where, name):
    real, left = getattr(where, name), 0

    def full(*args, **how):
        nonlocal left
        left -= 1
        if left == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(*args, **how)

    for number in range(1, 100):
        left = number
        with monkeypatch.context() as patch:
            patch.setattr(where, name, full)
            message = refusal(scene.write)
        if message:
            assert "No space left on device.\nNothing was changed there" in message
            assert scene.state() == "old"
            assert list(scene.out.parent.glob(".zoneplan*")) == []
        else:
            assert scene.tidy()[0] == "new"
            if left > 0:  # it was never reached
                break
        scene.reset()
    assert number > (1 if name == "replace" else len(scene.coming))


@pytest.fixture
def disk(tmp_path):
    """A disk of its own, whose size can be changed."""
    place = tmp_path / "stick"
    place.mkdir()

    def sized(kilobytes, how="remount,"):
        return subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"{how}size={kilobytes}k", "tmpfs", place],
            capture_output=True,
            check=False,
        ).returncode

    if not shutil.which("mount") or sized(1000, how=""):
        pytest.skip("Only root can make a disk.")
    yield place, sized
    subprocess.run(["umount", place], check=True)


def test_on_a_disk_of_its_own_that_fills_up(disk, monkeypatch):
    place, sized = disk
    old = {name: bytes(5000) for name in PLAN}
    old[MANIFEST] = manifest_bytes(old, Options(), [])
    (place / "TASKDATA").mkdir()
    for name, content in old.items():
        (place / name).write_bytes(content)
    new = dict.fromkeys(PLAN, b"1" * 5000)
    new[MANIFEST] = manifest_bytes(new, Options(), [])
    monkeypatch.setattr(bundle, "bundle_files", lambda *_: new)

    def contents():
        return {
            path.relative_to(place).as_posix(): path.read_bytes()
            for path in place.rglob("*")
            if path.is_file()
        }

    refused = 0
    for kilobytes in range(44, 200, 4):
        if sized(kilobytes):
            continue  # smaller than what is on it
        message = refusal(lambda: write_plan(NO_PLAN, place))
        if not message:
            break
        assert "No space left on device" in message
        assert contents() == old
        refused += 1
    assert contents() == new
    assert refused > 3


# ---- what a next start finds -------------------------------------------------------------------


@pytest.fixture
def half_way(tmp_path, monkeypatch):
    """A folder whose write was stopped when some of the new files were there."""
    scene = Scene(tmp_path, "beside what is mine", monkeypatch)
    move = swap.move

    def stops(path, target):
        if target == scene.out / "summary.pdf":
            os.kill(os.getpid(), signal.SIGKILL)
        move(path, target)

    with monkeypatch.context() as patch:
        patch.setattr(swap, "move", stops)
        assert ended(forked(scene.write)) == -signal.SIGKILL
    assert scene.state() == "unfinished"
    assert scene.contents()["plan.json"] == b"new plan.json"
    return scene


def test_what_somebody_changed_since_is_not_taken_away(half_way):
    (half_way.out / "plan.json").write_bytes(b"changed by hand")
    with pytest.raises(OutputError, match=r"plan.json was put there or changed since") as caught:
        half_way.write()
    assert "the files of the earlier plan are safe in " in str(caught.value)
    assert (half_way.out / "plan.json").read_bytes() == b"changed by hand"
    (half_way.out / "plan.json").unlink()
    state, result = half_way.tidy()
    assert state == "old"
    assert "The plan that was there before is whole." in result


def test_without_its_workshop_an_unfinished_folder_can_still_be_written(half_way):
    """As when it was copied alone to a stick."""
    (work,) = half_way.out.parent.glob(".zoneplan*")
    shutil.rmtree(work)
    assert check_folder(half_way.out) == ""
    assert half_way.state() == "unfinished"
    half_way.write()
    assert half_way.state() == "new"


def test_a_journal_that_cannot_be_read_is_told(half_way):
    (work,) = half_way.out.parent.glob(".zoneplan*")
    (work / "journal.json").write_text("[")
    with pytest.raises(OutputError, match=r"journal.json cannot be read, which tells") as caught:
        half_way.write()
    assert "Nothing was changed. Look into " in str(caught.value)
    assert (work / "old" / MANIFEST).exists()


def test_what_comes_into_the_folder_while_it_changes_is_kept(tmp_path, monkeypatch):
    scene = Scene(tmp_path, "in place of a plan", monkeypatch)
    real = swap.exchanged

    def late(one, other):
        (other / "late.txt").write_bytes(b"mine")
        return real(one, other)

    monkeypatch.setattr(swap, "exchanged", late)
    scene.write()
    result = scene.contents()
    assert result.pop("late.txt") == b"mine"
    assert result == scene.coming


def test_a_folder_keeps_its_rights(tmp_path, monkeypatch):
    scene = Scene(tmp_path, "in place of a plan", monkeypatch)
    scene.out.chmod(0o2750)
    number = scene.out.stat().st_ino
    scene.write()
    assert scene.out.stat().st_mode & 0o7777 == 0o2750
    assert (scene.out.stat().st_ino != number) == sys.platform.startswith("linux")  # swapped


def test_a_folder_that_one_works_in_stays_under_ones_feet(tmp_path, monkeypatch):
    scene = Scene(tmp_path, "in place of a plan", monkeypatch)
    monkeypatch.chdir(scene.out)
    write_plan(NO_PLAN, Path())
    assert Path("plan.json").read_bytes() == b"new plan.json"
    assert scene.state() == "new"


def test_a_workshop_that_leads_elsewhere_is_refused(tmp_path, monkeypatch):
    scene = Scene(tmp_path, "in place of a plan", monkeypatch)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "journal.json").write_text("{}")
    stopped.workshop(scene.out).symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match="leads somewhere else"):
        scene.write()
    assert json.loads((tmp_path / "elsewhere" / "journal.json").read_text()) == {}
    assert scene.contents() == scene.before
