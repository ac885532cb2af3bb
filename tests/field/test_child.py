"""What is done in a child comes back whole, or ends with it; the parent goes on."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from zoneplan.field import child
from zoneplan.field.child import ChildError, run
from zoneplan.progress import step, watched


def test_it_gives_what_the_work_gives_and_raises_what_it_raises():
    assert run(30, divmod, 17, 5) == (3, 2)
    with pytest.raises(ZeroDivisionError) as caught:
        run(30, divmod, 1, 0)
    assert "child.py" in caught.value.__notes__[0]  # where it arose, for the report


def test_a_child_is_kept_for_the_next():
    assert run(30, os.getpid) == run(30, os.getpid) != os.getpid()


def test_what_takes_too_long_is_ended_with_its_child():
    pid = run(30, os.getpid)
    with pytest.raises(ChildError, match="took more than 1 second"):
        run(1, time.sleep, 600)
    assert not _lives(pid)
    assert run(30, divmod, 17, 5) == (3, 2)  # by another


def test_a_library_that_breaks_down_takes_only_the_child():
    with pytest.raises(ChildError, match="broke down"):
        run(30, signal.raise_signal, signal.SIGSEGV)
    assert run(30, divmod, 17, 5) == (3, 2)


def test_who_watches_can_stop_it():
    """As the app's Stop does: the watcher raises when it is next told."""

    class Stop(BaseException):
        pass

    messages: list[str] = []

    def tell(doing: str) -> None:
        messages.append(doing)
        if len(messages) > 2:
            raise Stop

    pid = run(30, os.getpid)
    with watched(tell):
        step("Reading soil.zip")
        with pytest.raises(Stop):
            run(600, time.sleep, 600)
    assert messages == ["Reading soil.zip"] * 3
    assert not _lives(pid)


@pytest.mark.skipif(sys.platform != "linux", reason="bounds are set where the system can")
def test_a_child_writes_no_file_and_has_so_much_memory(tmp_path):
    with pytest.raises(OSError, match="File too large"):
        run(30, Path.write_bytes, tmp_path / "made", b"x")
    with pytest.raises(MemoryError):
        run(30, bytes, child.MOST_MEMORY)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="there is no fork here")
def test_a_fork_has_children_of_its_own():
    pid = run(30, os.getpid)
    forked = os.fork()
    if not forked:
        os._exit(run(30, os.getpid) == pid)
    assert os.waitstatus_to_exitcode(os.waitpid(forked, 0)[1]) == 0
    assert run(30, os.getpid) == pid


def test_no_child_outlives_its_parent():
    code = "import os; from zoneplan.field.child import run; print(run(30, os.getpid))"
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert not _lives(int(result.stdout))
    assert result.stderr == ""


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True
