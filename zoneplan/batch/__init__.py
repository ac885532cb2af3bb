"""Many fields: the same pass for each, in processes of their own; a fault stays with its field.

A task and what comes of it are plain values, and can be sent. `run_all` is the one way to plan
many; what it does them with is imported when it is asked for.
"""

import os
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from zoneplan.export.manifest import Options
from zoneplan.plan.model import Plan
from zoneplan.request import Request
from zoneplan.sources import Sources


@dataclass(frozen=True)
class Task:
    """One field that is to be planned.

    Files that many tasks share are best given as paths: an upload travels with every task, and
    what is read of a path is remembered by the worker.
    """

    key: str  # by which the caller knows it, unlike any other
    request: Request
    sources: Sources
    outline: bytes | None = None  # as WKB in WGS 84 degrees, longitude first; else the boundary is
    out: Path | None = None  # folder that its files are written to; None: the document is enough
    options: Options = field(default_factory=lambda: Options(files=()))  # of its files
    finish: Callable[[Plan, Request], Any] | None = None  # makes, there, what is wanted of the plan


@dataclass(frozen=True)
class Fault:
    """Why a field has no plan."""

    code: str  # of a ZoneplanError, or one of ours: "worker-died", "too-slow", "our-fault"
    words: str  # what was found, why it stopped, what to do
    parameters: tuple[str, ...] = ()  # of Request or Sources, that would put it right
    example: str = ""
    trace: str = ""  # the way through the program, where the fault is ours


@dataclass(frozen=True)
class Totals:
    """What a list of fields shows of a plan; it can be made again from its document."""

    name: str
    area_ha: float
    uncovered_ha: float
    zones: int
    generic: bool  # the planter is no particular one
    no_data_ha: float  # ground that gets no numbers, for nothing is known of it
    unreached_ha: float  # where the target cannot be held, at the planned moisture
    gave_way_ha: float  # where no margin keeps all limits, and one gave way
    unlikely_ha: float  # where the chance to be right is under a half
    wait_ha: float
    overrides: int
    notices: tuple[tuple[str, int], ...]  # how often each code is told, of the field and its zones


@dataclass(frozen=True)
class Outcome:
    """What came of a task: a document, or a fault."""

    key: str
    document: bytes | None = None  # plan.json
    fault: Fault | None = None
    files: Mapping[str, bytes] | None = None  # of its folder, where another machine made them
    totals: Totals | None = None
    finished: Any = None  # what the task's `finish` made; then there is no other document
    seconds: float = 0.0  # by the clock, in the worker
    cpu_s: float = 0.0
    peak_mb: float = 0.0  # of the worker so far


@dataclass(frozen=True)
class Progress:
    """How far a run is."""

    planned: int
    failed: int
    left: int


def totals_of(document: Mapping[str, Any], moisture: str = "moist") -> Totals:
    """Add up what a list of fields shows.

    Parameters
    ----------
    document : mapping
        What plan.json holds.
    moisture : str
        The one that is planned for.
    """
    zones: Sequence[Mapping[str, Any]] = document["zones"]
    planned = [(zone, zone["moistures"][moisture]) for zone in zones]

    def hectares(where: Callable[[Mapping[str, Any], Mapping[str, Any]], bool]) -> float:
        return float(sum(zone["area_ha"] for zone, numbers in planned if where(zone, numbers)))

    codes = Counter(notice["code"] for notice in document["notices"])
    for _, numbers in planned:
        codes.update({notice["code"] for notice in numbers["notices"]})
    return Totals(
        name=document["field"]["name"],
        area_ha=document["field"]["area_ha"],
        uncovered_ha=document["uncovered_ha"],
        zones=len(zones),
        generic="generic-machine" in codes,
        no_data_ha=hectares(lambda zone, _: zone["soil"]["ground"] == "no data"),
        unreached_ha=hectares(lambda _, numbers: numbers["reached"] is False),
        gave_way_ha=hectares(lambda _, numbers: numbers["gave_way"] is not None),
        unlikely_ha=hectares(lambda _, numbers: _is_under_half(numbers["inside_chance"])),
        wait_ha=hectares(lambda _, numbers: numbers["wait"]),
        overrides=codes["override-stands"],
        notices=tuple(sorted(codes.items())),
    )


def _is_under_half(chance: float | None) -> bool:
    return chance is not None and chance < 0.5


def run_all(
    tasks: Iterable[Task],
    *,
    workers: int | None = None,
    on: str | None = None,
    done: Callable[[Outcome], None],
) -> None:
    """Plan every task, each by itself, and hand over what comes of each as it comes.

    Parameters
    ----------
    tasks : iterable of Task
        With keys unlike each other. Those that are done need not be among them.
    workers : int, optional
        How many processes at once; as many as there are processors, unless given. 0: in this one,
        one after another.
    on : str, optional
        Address of a Dask cluster that plans in place of this machine: it gets the files that the
        tasks name, and gives back what is to be written, which is written here.
    done : callable
        Called here with each outcome, one at a time, in the order in which they come. What it has
        kept is kept, however this ends. What it raises stops all, as Ctrl-C does.

    Raises
    ------
    ZoneplanError
        When no worker can be started, or the cluster does not answer.
    """
    if on is not None:
        from zoneplan.batch.cluster import each_on

        for outcome in each_on(on, tasks):
            done(outcome)
        return
    from zoneplan.batch.work import work

    if workers == 0:
        for task in tasks:
            done(work(task))
        return
    from zoneplan.batch.pool import each

    for outcome in each(work, tasks, workers or os.cpu_count() or 1):
        done(outcome)
