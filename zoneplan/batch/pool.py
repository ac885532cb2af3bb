"""Do tasks in processes of their own, so that whatever a task does to its process is its own.

A worker has one task in hand, so when it dies we know which. It is started again, without what its
parent holds, and ends by itself as soon as its parent is gone, however that went.
"""

import multiprocessing as mp
import os
import pickle
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection, wait
from typing import Any, Generic, Protocol, TypeVar

from zoneplan.batch import Fault, Outcome
from zoneplan.errors import ZoneplanError

TRIES = 3  # a worker may be killed once or twice for what another did
MOST_S = 900.0  # of one field by the clock: what takes longer hangs
LOOK_S = 1.0  # how often that is looked at
_SPAWN = mp.get_context("spawn")  # no thread and no open file comes along


class Keyed(Protocol):
    """What has a key that no other has: a task."""

    @property
    def key(self) -> str:
        """The key."""


T = TypeVar("T", bound=Keyed)


def each(
    work: Callable[[T], Outcome], tasks: Iterable[T], workers: int, *, most_s: float = MOST_S
) -> Iterator[Outcome]:
    """Give what comes of each task, as it comes.

    Parameters
    ----------
    work : callable
        A function of a module. What it raises ends all.
    tasks : iterable of Task
        Taken one by one, as workers are free.
    workers : int
        How many processes.
    most_s : float
        How long a task may take. [s]

    Raises
    ------
    ZoneplanError
        When no worker can be started.
    """
    crew: list[_Worker[T]] = []
    coming = iter(tasks)
    again: deque[T] = deque()  # whose worker died: tried when all others are done
    tries: Counter[str] = Counter()
    stillborn = 0
    try:
        while True:
            idle = [worker for worker in crew if worker.task is None]
            for task in _taken(coming, again, workers - len(crew) + len(idle)):
                worker = idle.pop() if idle else _Worker(work)
                if worker not in crew:
                    crew.append(worker)
                worker.give(task)
            if not any(worker.task for worker in crew):
                return
            for worker in _heard(crew, most_s):
                lost = worker.task
                assert lost is not None
                outcome = worker.answer()
                if outcome is not None:
                    stillborn = 0
                    yield outcome
                    continue
                crew.remove(worker)
                worker.end()
                if not worker.began:
                    stillborn += 1
                    again.appendleft(lost)
                    if stillborn > workers + TRIES:
                        raise _no_worker(worker)
                    continue
                tries[lost.key] += 1
                if tries[lost.key] < TRIES and not worker.late:
                    again.append(lost)
                else:
                    yield Outcome(lost.key, fault=_lost(worker, most_s))
    finally:
        for worker in crew:
            worker.end()


class _Worker(Generic[T]):
    """A process, and the task that it has in hand."""

    def __init__(self, work: Callable[[T], Outcome]) -> None:
        self.pipe, theirs = _SPAWN.Pipe()
        self.process = _SPAWN.Process(target=_serve, args=(theirs, work), daemon=True)
        with _deaf():
            self.process.start()
        theirs.close()
        self.task: T | None = None
        self.since_s = 0.0
        self.began = False  # whether it was ready once
        self.answered: Outcome | None = None
        self.late = False

    def give(self, task: T) -> None:
        self.task, self.since_s = task, time.monotonic()
        with suppress(OSError):  # that it has died is heard in a moment
            self.pipe.send(task)

    def answer(self) -> Outcome | None:
        """What came of its task; None where it died of it."""
        if self.answered is None:
            return None
        self.task = None
        return self.answered

    def hear(self) -> bool:
        """Take what it says; whether that, or that it died, is about its task."""
        try:
            message = self.pipe.recv()
        except (OSError, EOFError):
            self.answered = None
            return True
        if not self.began:
            self.began, self.since_s = True, time.monotonic()
            return False
        self.answered = message
        return True

    def end(self) -> None:
        self.process.kill()
        self.process.join()
        self.pipe.close()


_READY = "ready"


def _taken(coming: Iterator[T], again: deque[T], count: int) -> Iterator[T]:
    for _ in range(count):
        task = next(coming, None) or (again.popleft() if again else None)
        if task is None:
            return
        yield task


def _heard(crew: list[_Worker[T]], most_s: float) -> list[_Worker[T]]:
    """Wait for those who have answered, died, or taken too long."""
    busy: dict[Any, _Worker[T]] = {worker.pipe: worker for worker in crew if worker.task}
    while True:
        speaking = [busy[pipe] for pipe in wait([*busy], LOOK_S)]
        heard = [worker for worker in speaking if worker.hear()]
        now_s = time.monotonic()
        for worker in busy.values():
            if worker.began and now_s - worker.since_s > most_s and worker not in heard:
                worker.late, worker.answered = True, None
                heard.append(worker)
        if heard:
            return heard


def _serve(pipe: Connection, work: Callable[[T], Outcome]) -> None:
    """Be the worker."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        pipe.send(_READY)
        while True:
            _send(pipe, work(pipe.recv()))
    except (EOFError, OSError):  # its parent has gone
        return


def _send(pipe: Connection, outcome: Outcome) -> None:
    try:
        pipe.send(outcome)
    except (pickle.PicklingError, TypeError, AttributeError) as error:  # nothing is sent then
        fault = Fault("our-fault", f"What came of it cannot be sent: {error}.", trace=repr(error))
        pipe.send(Outcome(outcome.key, fault=fault))


def _end_with_parent() -> None:
    parent = mp.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


@contextmanager
def _deaf() -> Iterator[None]:
    """Start a process that does not hear Ctrl-C: its parent does, and ends it."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _lost(worker: _Worker[Any], most_s: float) -> Fault:
    if worker.late:
        return Fault(
            "too-slow",
            f"It took more than {most_s:.0f} seconds, and was stopped.\nNothing was written of "
            "it. Plan it by itself to see where it stands still.",
        )
    return Fault(
        "worker-died",
        f"The process that planned it was ended {TRIES} times ({_how(worker)}).\nNothing was "
        "written of it. It may want more memory than there is: plan it by itself.",
    )


def _no_worker(worker: _Worker[Any]) -> ZoneplanError:
    return ZoneplanError(
        f"No process to plan in can be started: it ends before it begins ({_how(worker)}).\n"
        "Fields that were done are kept.\nSee that there is memory, and plan with fewer workers.",
        code="no-worker",
    )


def _how(worker: _Worker[Any]) -> str:
    code = worker.process.exitcode or 0
    return f"signal {-code}" if code < 0 else f"code {code}"
