"""The same tasks on a Dask cluster.

Its workers need the same zoneplan and nothing else: each gets the files that tasks name once, and
sends back what is to be written, which is written here.
"""

import atexit
import logging
import platform
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields, replace
from functools import cache
from hashlib import sha256
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Any

from zoneplan import release
from zoneplan.batch import Fault, Outcome, Task
from zoneplan.batch.pool import TRIES
from zoneplan.batch.work import fault_of, work
from zoneplan.errors import ZoneplanError, quoted
from zoneplan.export.bundle import write_files
from zoneplan.export.document import SCHEMA
from zoneplan.sources import Sources, contents_of

if TYPE_CHECKING:
    from distributed import Client, Future

ANSWER_S = 15.0  # a cluster that is there answers in less
_AHEAD = 2  # tasks for each thread that are sent before one of them is done

Bundle = tuple[str, str, tuple[tuple[str, bytes], ...]]  # digest, name, and each file in it


def each_on(address: str, tasks: Iterable[Task]) -> Iterator[Outcome]:
    """Give what comes of each task on a cluster, as it comes; what is to be written is written.

    Parameters
    ----------
    address : str
        Of its scheduler, as in "tcp://host:8786".
    tasks : iterable of Task
        Taken one by one, as workers are free.

    Raises
    ------
    ZoneplanError
        When the cluster does not answer, has no workers, runs another zoneplan, or goes away.
    """
    with _client(address) as client:
        from distributed import as_completed  # noqa: PLC0415 only whoever asks has it

        threads = sum(_checked(client, address).values())
        parcels = _Parcels(client)
        coming = iter(tasks)
        flying: dict[Future[Outcome], tuple[Task, int]] = {}
        lone: list[tuple[Task, int]] = []  # whose worker was lost: sent again one at a time
        completed = as_completed(loop=client.loop)

        def send(task: Task, times: int) -> None:
            future = client.submit(
                plan_there, task, *parcels.of(task.sources), pure=False, retries=0
            )
            flying[future] = task, times
            completed.add(future)

        def refill() -> None:
            while len(flying) < _AHEAD * threads and (task := next(coming, None)):
                send(task, 1)
            if not flying and lone:
                task, times = lone.pop()
                send(task, times + 1)

        refill()
        for future in completed:
            task, times = flying.pop(future)
            if client.status != "running":
                raise ZoneplanError(
                    f"The cluster at {address} went away.\nFields that were done are kept.\n"
                    "Start it again, and run the same command.",
                    code="cluster-gone",
                )
            if future.status in ("cancelled", "lost"):  # with the last worker that had its files
                parcels.sent.clear()
            outcome = _outcome(future, task)
            if outcome is not None:
                yield outcome
            elif times < TRIES:
                lone.append((task, times))
            else:
                yield Outcome(task.key, fault=_lost())
            refill()


@contextmanager
def _client(address: str) -> "Iterator[Client]":
    try:
        from distributed import Client  # noqa: PLC0415
        from distributed.comm.addressing import get_address_host_port  # noqa: PLC0415
    except ImportError as error:
        raise ZoneplanError(
            f"To plan on a cluster, {error.name} is missing.\n"
            "It comes with an extra: pip install 'zoneplan[cluster]'",
            code="no-cluster-extra",
        ) from error
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)  # it is told here
    try:
        get_address_host_port(address)  # a client of no place hangs, and falls when all is done
        client = Client(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise ZoneplanError(
            f"No cluster answers at {quoted(address)}: {quoted(error) or type(error).__name__}.\n"
            "Nothing was planned.\nSee that its scheduler runs and can be reached from here; its "
            "address is as in tcp://host:8786.",
            code="no-cluster",
        ) from error
    with client:
        yield client


def made_by() -> tuple[str, str, str]:
    """What two machines must have in common to make the same plan: versions of all that counts."""
    return release(), SCHEMA, platform.python_version().rpartition(".")[0]


def _checked(client: "Client", address: str) -> Mapping[str, int]:
    """Refuse a cluster that would not plan as we do; give how many threads each worker has."""
    threads: Mapping[str, int] = client.nthreads()
    if not threads:
        raise ZoneplanError(
            f"The cluster at {address} has no workers.\nNothing was planned.\n"
            "Start some for this address, with one thread each.",
            code="no-workers",
        )
    answers = client.run(made_by, on_error="return")
    ours = made_by()
    unlike = {at: _version_words(answer) for at, answer in answers.items() if answer != ours}
    if unlike:
        lines = "\n".join(
            f"  {at}: {version_there}" for at, version_there in sorted(unlike.items())[:5]
        )
        raise ZoneplanError(
            f"{len(unlike)} of {len(answers)} workers at {address} run another version:\n{lines}\n"
            f"Here it is {_version_words(ours)}. Nothing was planned, for plans would differ.\n"
            "Install the same zoneplan and Python there.",
            code="other-version",
        )
    return threads


def _version_words(answer: Any) -> str:
    if isinstance(answer, Exception):
        return f"no zoneplan that we know ({type(answer).__name__}: {quoted(answer)})"
    zoneplan, schema, python = answer
    return f"zoneplan {zoneplan} ({schema}) on Python {python}"


def plan_there(task: Task, places: Sequence[tuple[str, int | None]], *bundles: Bundle) -> Outcome:
    """Plan a field on a worker, from files that were sent, each with its role and place there."""
    given = {field.name: getattr(task.sources, field.name) for field in fields(Sources)}
    for (role, place), bundle in zip(places, bundles, strict=True):
        path = _unpacked(bundle)
        if place is None:
            given[role] = path
        else:
            given[role] = (*given[role][:place], path, *given[role][place + 1 :])
    return work(replace(task, sources=Sources(**given)), here=False)


def _outcome(future: "Future[Outcome]", task: Task) -> Outcome | None:
    """What came, with its files written here; None where its worker was lost."""
    from distributed import KilledWorker  # noqa: PLC0415

    if future.status in ("cancelled", "lost"):
        return None
    error = future.exception()
    if isinstance(error, KilledWorker):
        return None
    if error is not None:
        raise error
    outcome: Outcome = future.result()
    if outcome.files is None or task.out is None:
        return outcome
    try:
        write_files(outcome.files, task.out)
    except ZoneplanError as fault:
        return Outcome(task.key, fault=fault_of(fault))
    return replace(outcome, files=None)


def _lost() -> Fault:
    return Fault(
        "worker-died",
        "The workers that planned it were ended, again and again.\nNothing was written of it. It "
        "may want more memory than they have: plan it by itself.",
    )


# ---- files -------------------------------------------------------------------------------------


class _Parcels:
    """The files that tasks name, each sent to the cluster once."""

    def __init__(self, client: "Client") -> None:
        self.client = client
        self.sent: dict[Path, Future[Bundle]] = {}

    def of(self, sources: Sources) -> "tuple[Any, ...]":
        """The place of each file of these, and each file as it was sent."""
        files = [*_paths(sources)]
        for _, _, path in files:
            if path not in self.sent:
                parcel = [bundle_of(path)]
                [self.sent[path]] = self.client.scatter(parcel, broadcast=True, hash=False)
        return [(role, place) for role, place, _ in files], *(self.sent[path] for *_, path in files)


def bundle_of(path: Path) -> Bundle:
    """Take a file, a folder, or a shapefile with what lies beside it, as it is called there."""
    contents = tuple(contents_of(path))
    whole = sha256()
    for name, content in contents:
        whole.update(f"{len(name)} {name} {len(content)} ".encode())
        whole.update(content)
    return whole.hexdigest(), path.name, contents


def _paths(sources: Sources) -> Iterator[tuple[str, int | None, Path]]:
    for field in fields(Sources):
        value = getattr(sources, field.name)
        for place, one in enumerate(value) if isinstance(value, tuple) else [(None, value)]:
            if isinstance(one, Path):
                yield field.name, place, one


def _unpacked(bundle: Bundle) -> Path:
    """Lay files out on this worker, once as long as it lives."""
    digest, name, contents = bundle
    home = _home() / digest
    if not home.exists():
        aside = Path(mkdtemp(dir=_home()))
        for inner, content in contents:
            (aside / inner).parent.mkdir(parents=True, exist_ok=True)
            (aside / inner).write_bytes(content)
        try:
            aside.rename(home)
        except OSError:  # another thread was first
            shutil.rmtree(aside)
    return home / name


@cache
def _home() -> Path:
    folder = Path(mkdtemp(prefix="zoneplan-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
