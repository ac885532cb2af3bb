"""Work on a file that may hang, run wild or break the program: done in a child process.

A child does one thing at a time and is kept for the next, for it takes a quarter of a second
to start. What takes too long, or is stopped by whoever watches, is ended with its child; and
what goes wrong is said in our words.
"""

import atexit
import gc
import json
import os
import pickle
import queue
import shutil
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

from zoneplan import progress
from zoneplan.errors import LayerError, quoted
from zoneplan.plain_file import MB, check_regular, exists, head_of, is_folder, no_room, scratch

LEAST_S = 30.0  # to read any file; judged: a small one takes a hundredth
PER_MB_S = 0.2
_MOST_REASON = 200  # letters of what a library says
_LOGGED, _WITH_LOG = slice(18, 20), b"\x02\x02"  # versions in the head of an SQLite file
LOOK_S = 0.2  # how often whoever watches is asked whether to go on
MOST_MEMORY = 6 * 1024**3  # of a child, where the system can bound it
_IDLE = 2  # children that are kept
_START = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1]); "
    "from zoneplan.field.child import serve; serve()"
)
# The libraries that open files load these where they are there; no child needs them.
_NOT_NEEDED = ("geopandas", "pandas", "pyarrow", "pyproj", "shapely")
_idle: list[subprocess.Popen[bytes]] = []
_lock = threading.Lock()
P = ParamSpec("P")
T = TypeVar("T")


class ChildError(Exception):
    """The work came to no end: it took too long, or took the child down."""


class Unopened(Exception):  # noqa: N818 it is no fault of ours
    """A library cannot read a file; the text says why, in its words."""


@dataclass(frozen=True)
class _Answer:
    """What came of work in a child."""

    well: bool
    value: Any  # what it gave; or what it raised, where it did not go well
    cpu_s: float  # that the child worked since its last answer; with the first, since its start
    peak_mb: float | None


def apart(
    kind: str,
    again: str,
    work: Callable[Concatenate[Path, P], T],
    path: Path,
    *args: P.args,
    **kwargs: P.kwargs,
) -> T:
    """Do work of `zoneplan.field.opening` on a file, apart from this process.

    Parameters
    ----------
    kind : str
        What the file should be, for messages: "a GeoTIFF".
    again : str
        What to do where it is not, as a sentence.

    Raises
    ------
    LayerError
        When the library cannot read the file, takes too long or breaks down; when it is no
        regular file, or a folder that holds one that is none.
    """
    limit_s = LEAST_S + PER_MB_S * _size(path) / MB
    try:
        with _undisturbed(path.absolute()) as whole:
            return run(limit_s, work, whole, *args, **kwargs)
    except ChildError as error:
        raise LayerError(
            f"{path.name} cannot be read as {kind}: {error}.\n"
            f"The file is damaged, or made to do harm; nothing was taken from it.\n{again}"
        ) from error
    except Unopened as error:
        raise LayerError(
            f"{path.name} cannot be read as {kind}{_reason(error, path)}\n"
            f"The file is damaged or holds something else. {again}"
        ) from error


def run(limit_s: float, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """Do work in a child, and give what it gives or raise what it raises.

    The work is a function of a module, with arguments and a result that can be sent.

    Raises
    ------
    ChildError
        When it takes longer than `limit_s`, or the child dies of it.
    """
    request = pickle.dumps((limit_s, work, args, kwargs), protocol=5)
    child = _take()
    answers: queue.SimpleQueue[_Answer | None] = queue.SimpleQueue()
    threading.Thread(target=_exchange, args=(child, request, answers), daemon=True).start()
    done = False
    try:
        answer = _waited(answers, limit_s)
        done = answer is not None
    finally:
        _put_back(child) if done else _end(child)
    if answer is None:
        code = child.returncode
        ended = f"signal {-code}" if code < 0 else f"code {code}"
        raise ChildError(f"its reader broke down ({ended})")
    progress.worked_elsewhere(answer.cpu_s, answer.peak_mb)
    if not answer.well:
        raise answer.value
    result: T = answer.value
    return result


def prepare() -> None:
    """Start a child, so that it is there when it is needed. It does not wait."""
    _put_back(_take())


def serve() -> None:
    """Be the child: do what comes in until nothing more can come."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what a library prints is no answer
    sys.modules.update(dict.fromkeys(_NOT_NEEDED))  # type: ignore[arg-type]
    _bound()
    gc.disable()  # there is no garbage yet
    from zoneplan.field.opening import VECTOR, switch_off  # noqa: PLC0415 now, with nobody waiting

    gc.freeze()
    gc.enable()
    switch_off(keep=VECTOR)
    told_s = 0.0  # of its time; its start is told with the first answer
    while True:
        try:
            limit_s, work, args, kwargs = pickle.load(sys.stdin.buffer)  # noqa: S301 our parent's
        except EOFError:
            return
        _bound_time(limit_s)
        try:
            well, value = True, pickle.dumps(work(*args, **kwargs), protocol=5)
        except Exception as error:
            well, value = False, pickle.dumps(_sendable(error), protocol=5)
        cpu_s, told_s = time.process_time() - told_s, time.process_time()
        pickle.dump((well, cpu_s, progress.peak_mb()), answers, protocol=5)
        answers.write(value)
        answers.flush()


@contextmanager
def _undisturbed(path: Path) -> Iterator[Path]:
    """Lend a copy of a database that a reader would write beside: one with a log of its writes."""
    if path.suffix.lower() != ".gpkg" or head_of(path, 20)[_LOGGED] != _WITH_LOG:
        yield path
        return
    with scratch() as folder:
        try:
            for part in (path, path.with_name(f"{path.name}-wal")):
                if exists(part):
                    check_regular(part)
                    shutil.copyfile(part, folder / part.name)
        except OSError as error:
            raise no_room(f"{path.name} cannot be copied to be read", error) from error
        yield folder / path.name


def _size(path: Path) -> int:
    """Bytes of a file, or of all in a folder; each must be a regular one."""
    if is_folder(path):
        return sum(check_regular(part) for part in path.iterdir())
    return check_regular(path)


def _reason(error: Unopened, path: Path) -> str:
    reason = str(error).split("; It might help")[0].replace(str(path.absolute()), path.name)
    reason = quoted(reason.partition("\n")[0].rstrip("."), _MOST_REASON)
    return f": {reason}." if reason else "."


def _waited(answers: "queue.SimpleQueue[_Answer | None]", limit_s: float) -> _Answer | None:
    left_s = limit_s
    while True:
        try:
            return answers.get(timeout=min(LOOK_S, max(left_s, 0)))
        except queue.Empty:
            left_s -= LOOK_S
            if left_s <= 0:
                raise ChildError(f"reading it took more than {limit_s:.0f} seconds") from None
            progress.still()


def _exchange(
    child: "subprocess.Popen[bytes]",
    request: bytes,
    answers: "queue.SimpleQueue[_Answer | None]",
) -> None:
    """Send what is asked and wait for what comes of it; None where nothing does."""
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        child.stdin.write(request)
        child.stdin.flush()
        well, cpu_s, peak_mb = pickle.load(child.stdout)  # noqa: S301 our own child's
        answers.put(_Answer(well, pickle.load(child.stdout), cpu_s, peak_mb))  # noqa: S301
    except (OSError, EOFError, ValueError, pickle.UnpicklingError):
        answers.put(None)


def _take() -> "subprocess.Popen[bytes]":
    with _lock:
        while _idle:
            child = _idle.pop()
            if child.poll() is None:
                return child
            _end(child)
    path = [os.path.abspath(entry) for entry in sys.path]  # noqa: PTH100 also of a zip
    return subprocess.Popen(  # noqa: S603 the command is ours
        [sys.executable, "-P", "-c", _START, json.dumps(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},  # it solves nothing: starts sooner
    )


def _put_back(child: "subprocess.Popen[bytes]") -> None:
    with _lock:
        if len(_idle) < _IDLE:
            _idle.append(child)
            return
    _end(child)


def _end(child: "subprocess.Popen[bytes]") -> None:
    child.kill()
    child.wait()
    for pipe in (child.stdin, child.stdout):
        with suppress(OSError, ValueError):
            if pipe is not None:
                pipe.close()


def _end_all() -> None:
    with _lock:
        while _idle:
            _end(_idle.pop())


def _forget() -> None:
    """After a fork: the children are our parent's."""
    global _lock  # noqa: PLW0603
    _lock = threading.Lock()
    for child in _idle:
        child.returncode = 0  # nobody waits for them here
    _idle.clear()


def _sendable(error: Exception) -> Exception:
    """The error, with where it arose; or what is left of one that cannot be sent."""
    error.add_note(traceback.format_exc())
    try:
        pickle.loads(pickle.dumps(error))  # noqa: S301 our own
    except Exception:
        return RuntimeError(f"{type(error).__name__}: {error}\n{traceback.format_exc()}")
    return error


def _bound() -> None:
    """Bound a child's memory, and keep it from writing any file, where the system can."""
    try:
        import resource  # noqa: PLC0415 there is none on Windows
        import signal  # noqa: PLC0415
    except ImportError:
        return
    with suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    with suppress(ValueError, OSError):
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _bound_time(limit_s: float) -> None:
    """See that a child ends by itself, should its parent have gone."""
    try:
        import resource  # noqa: PLC0415
    except ImportError:
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    until = int(used.ru_utime + used.ru_stime + limit_s) + 60
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    with suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CPU, (until, hard))


atexit.register(_end_all)
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forget)
