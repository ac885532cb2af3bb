"""What came of a job: worked out in turn, watched while it lasts, remembered in the session."""

import os
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.export.bundle import OutputFiles, output_files
from zoneplan.export.manifest import Options
from zoneplan.export.sheets.printed import pages_of
from zoneplan.harmless import escape
from zoneplan.pages.state import asked, desk
from zoneplan.progress import still, watched
from zoneplan.request import GROUND, TitleBlock
from zoneplan.rowunit.machine import Machine
from zoneplan.run import Job, Run, least_patch_m2, plan_ground, read_ground, read_setup
from zoneplan.sources import File, Sources, is_raster_name

_MOST_ANSWERS = 8
_LOOK_S = 0.4  # what is done sooner needs no bar
_AGAIN_S = 0.1
_TURNS = threading.BoundedSemaphore(os.cpu_count() or 1)  # of work that takes a processor

Thing = TypeVar("Thing")


def current() -> Run | None:
    """What came of it, for pages: they run once it is there."""
    now = asked()
    return None if now is None else _memory().get(("run", _untitled(now)))


def answered(job: Job) -> Run:
    """Do a job, or know still what came of it.

    Raises
    ------
    ZoneplanError
        Anything the user can put right.
    """
    request, sources = job.request, job.sources

    def work() -> Run:
        small = (sources.machine, sources.rules, sources.checks)
        setup = remembered(("setup", *small), lambda: read_setup(sources))
        layers = replace(sources, machine="", rules=(), checks=())
        by_the_pass = request.headland_passes or sources.tracks
        width_m = setup.machine.width_m if by_the_pass else None
        patch_m2 = least_patch_m2(request, setup.machine) if _has_rasters(sources.soils) else None
        ground = remembered(
            ("ground", request.of(GROUND), request.drawn, layers, width_m, patch_m2),
            lambda: read_ground(request, sources, setup.machine),
            most=4,
        )
        return plan_ground(request, setup, *ground)

    return remembered(("run", _untitled(job)), lambda: _in_turn(work))


def _has_rasters(soils: Iterable[File]) -> bool:
    """Whether any is a raster or a folder with one: these are read as fine as zones may be."""
    files = ([file, *file.glob("*")] if isinstance(file, Path) else [file] for file in soils)
    return any(is_raster_name(one.name) for inside in files for one in inside)


def _in_turn(work: Callable[[], Thing]) -> Thing:
    """Think when it is one's turn: more at once end no sooner, and keep all others waiting."""
    while not _TURNS.acquire(timeout=_LOOK_S):
        still()  # a person may stop it
    try:
        return work()
    finally:
        _TURNS.release()


def _untitled(job: Job) -> Job:
    """What a plan's numbers depend on: not whose it is."""
    return replace(job, request=replace(job.request, title=TitleBlock()))


def is_answered(job: Job) -> bool:
    """Whether somebody has seen what came of a job."""
    return ("run", _untitled(job)) in _memory()


def made(job: Job, options: Options) -> OutputFiles:
    """Make the files of the plan that came of a job."""
    return remembered(("files", job, options), lambda: output_files(answered(job).plan, options))


def pictured(job: Job, sheet: str, options: Options) -> list[bytes]:
    """Picture the pages of a sheet as it will be printed."""
    paper, units, title = options.paper, options.units, options.title
    return remembered(
        ("pages", job, sheet, paper, units),
        lambda: pages_of(sheet, answered(job).plan, paper=paper, units=units, title=title),
    )


def machine_of(planter: File | str) -> Machine | None:
    """Read a planter, or know it still; None where its file is not right."""
    try:
        return remembered(("planter", planter), lambda: read_setup(Sources(planter)).machine)
    except (ZoneplanError, OSError, ValueError):
        return None  # the plan itself tells what is wrong with the file


# ---- long work ---------------------------------------------------------------------------------


def watching(job: Hashable, work: Callable[[], Thing], stop: str = "stop") -> Thing | None:
    """Do work that may be long: show how far it is, and a button that stops it.

    Parameters
    ----------
    job : Hashable
        What is worked at, be it a job or something else.
    work : callable
        Does it.
    stop : str
        Key of the button: no two in one run may have the same.

    Returns
    -------
    object or None
        What the work gives; None where a person stopped it.
    """
    own_desk, place = desk(), st.empty()
    if own_desk.stopped == job:
        with place.container():
            st.html('<p class="zp-needed" role="status">Stopped. Nothing was changed.</p>')
            st.button("Go on", on_click=_stop, type="primary")
        return None
    due, line = time.monotonic() + _LOOK_S, None

    def tell(doing: str) -> None:
        # A press of the button ends the run here, at the next thing that is shown.
        nonlocal due, line
        if time.monotonic() < due:
            return
        if line is None:
            with place.container(key=f"busy-{stop}"):
                line = st.empty()
                st.button("Stop", key=stop, on_click=_stop, args=(job,))
        line.html(f'<p class="zp-busy" role="status">{escape(doing)} ...</p>')
        due = time.monotonic() + _AGAIN_S

    fault = None
    with watched(tell):
        try:
            done = work()
        except ZoneplanError as error:
            fault = error
    place.empty()
    if fault:
        raise fault
    return done


def _stop(job: Hashable = None) -> None:
    """Stop at a job; at none, go on."""
    desk().stopped = job


# ---- what is remembered -------------------------------------------------------------------------


def remembered(key: Hashable, work: Callable[[], Thing], most: int = _MOST_ANSWERS) -> Thing:
    """Work something out, or remember it; the last few of each kind are."""
    memory = _memory()
    if key not in memory:
        memory[key] = work()
    memory.move_to_end(key)
    kind = key[0] if isinstance(key, tuple) else key
    alike = [other for other in memory if isinstance(other, tuple) and other[0] == kind]
    for old in alike[:-most]:
        del memory[old]
    answer: Thing = memory[key]
    return answer


def _memory() -> OrderedDict[Hashable, Any]:
    """What this session has worked out: it goes with the session, the desk stays."""
    memory: OrderedDict[Hashable, Any] = st.session_state.setdefault("known", OrderedDict())
    return memory


def once(name: str, of: object, work: Callable[[], Thing]) -> Thing:
    """Work something out once while what it is of is the same; one of each name is remembered."""
    memory: dict[str, tuple[object, Any]] = st.session_state.setdefault("once", {})
    if name not in memory or memory[name][0] is not of:
        memory[name] = (of, work())
    answer: Thing = memory[name][1]
    return answer
