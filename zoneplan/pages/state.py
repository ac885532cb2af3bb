"""What the pages of one session share: the job, its run, and what was before.

The boxes of the side hold the values of the job's request and the desk holds the rest of it:
files, drawings, rules, edits. `ask` puts both together at every run; `put` lays a whole
job back on the desk and into the boxes, be it an earlier one or one that was saved.
"""

import os
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import streamlit as st

from zoneplan.demo import Demo, demo_fields
from zoneplan.errors import ZoneplanError
from zoneplan.export.manifest import Options
from zoneplan.export.output_files import OutputFiles, output_files
from zoneplan.export.sheets.printed import pages_of
from zoneplan.harmless import escape
from zoneplan.pages.boxes import title_values, values_of
from zoneplan.progress import still, watched
from zoneplan.request import GROUND, Drawn, Request, TitleBlock
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.run import Job, Run, least_patch_m2, plan_ground, read_ground, read_setup
from zoneplan.sources import File, Sources, Upload, files_of, is_raster_name
from zoneplan.store.archive import Opened
from zoneplan.zones.edit import Edit

if TYPE_CHECKING:
    from zoneplan.pages.planter_form.filling import Filling

OWN_FIELD = "files of my own"
OWN_MACHINE = "this field's own planter"  # as a demo field has one
MACHINE_FILE = "a machine file"
OWN_PLANTER = Path(__file__).with_name("planter.py")  # where one's own is filled in
FILL_IN = "Fill in your own planter"
MOST_UNDONE = 50
_MOST_ANSWERS = 8
_LOOK_S = 0.4  # what is done sooner needs no bar
_AGAIN_S = 0.1

_TURNS = threading.BoundedSemaphore(os.cpu_count() or 1)  # of thoughts that take a processor

Thing = TypeVar("Thing")


@dataclass(frozen=True)
class Queue:
    """Fields of one file, to plan one after the other. Each keeps what was done on it."""

    boundary: Upload
    names: Mapping[str, str]  # by what picks them in the file, in their order
    left: Mapping[str, Job] = field(default_factory=dict)  # as each stood when it was left
    done: frozenset[str] = frozenset()

    def at(self, job: Job | None) -> str | None:
        """What picks the field that a job is of; None where it is none of these."""
        if job is None or job.sources.boundary != self.boundary:
            return None
        return job.request.pick if job.request.pick in self.names else None


@dataclass
class Desk:
    """One session's work, but for what its boxes hold."""

    files: dict[str, tuple[Upload, ...]] = field(default_factory=dict)  # by their role
    fresh: int = 0  # counts how often the boxes for files were emptied
    drawn: tuple[Drawn, ...] = ()
    rules: tuple[Upload, ...] = ()
    edits: tuple[Edit, ...] = ()
    ground: "Footing | None" = None  # that these were made on
    queue: Queue | None = None  # of fields to plan one after the other
    laid: Request = field(default_factory=Request)  # what was last laid into the boxes
    now: Job | None = None
    title: TitleBlock = field(default_factory=TitleBlock)  # asked on the page of the sheets
    link: str | None = None  # that a reload finds it by
    links: tuple[str, ...] = ()  # that it had before
    past: list[Job] = field(default_factory=list)
    future: list[Job] = field(default_factory=list)
    beside: dict[str, Job] = field(default_factory=dict)  # kept to compare with, by name
    draft: Job | None = None  # what is there of one that lacks something
    seen: dict[str, Any] = field(default_factory=dict)  # on the field page: zone, moisture, fill
    missing: bool = False  # whether something of the job is still to give
    stopped: Hashable = None  # what was not finished, as a person wanted
    message: str | None = None  # of what was just done
    opened: Opened | None = None  # the saved plan that the job comes from
    refused: tuple[str, str] | None = None  # what could not be opened: the chooser, and why
    box_fault: ZoneplanError | None = None  # what is wrong with what a box holds
    told_no_room: bool = False  # whether a person knows that a reload would not find it
    planters: tuple[Upload, ...] = ()  # of one's own, kept for the next field; the newest first
    fillings: dict[str, "Filling"] = field(
        default_factory=dict
    )  # planters that are being filled in
    filling: str = ""  # which of them
    planter: File | str | None = None  # that speed and depth were last seen with
    day_kept: dict[str, float] = field(default_factory=dict)  # speed and depth that stayed


def desk() -> Desk:
    """This session's desk."""
    if "desk" not in st.session_state:
        st.session_state["desk"] = Desk()
    own_desk: Desk = st.session_state["desk"]
    return own_desk


def asked() -> Job | None:
    """The job that stands; None while something of it is missing."""
    return None if desk().missing else desk().now


def current() -> Run | None:
    """What came of it, for pages: they run once it is there."""
    now = asked()
    return None if now is None else _thoughts().get(("run", _untitled(now)))


def answered(job: Job) -> Run:
    """Do a job, or know still what came of it.

    Raises
    ------
    ZoneplanError
        Anything the user can put right.
    """
    request, sources = job.request, job.sources

    def think() -> Run:
        small = (sources.machine, sources.rules, sources.checks)
        setup = known(("setup", *small), lambda: read_setup(sources))
        layers = replace(sources, machine="", rules=(), checks=())
        by_the_pass = request.headland_passes or sources.tracks
        width_m = setup.machine.width_m if by_the_pass else None
        patch_m2 = least_patch_m2(request, setup.machine) if _has_rasters(sources.soils) else None
        ground = known(
            ("ground", request.of(GROUND), request.drawn, layers, width_m, patch_m2),
            lambda: read_ground(request, sources, setup.machine),
            most=4,
        )
        return plan_ground(request, setup, *ground)

    return known(("run", _untitled(job)), lambda: _in_turn(think))


def _has_rasters(soils: Iterable[File]) -> bool:
    """Whether any is a raster or a folder with one: these are read as fine as zones may be."""
    files = ([file, *file.glob("*")] if isinstance(file, Path) else [file] for file in soils)
    return any(is_raster_name(one.name) for inside in files for one in inside)


def _in_turn(think: Callable[[], Thing]) -> Thing:
    """Think when it is one's turn: more at once end no sooner, and keep all others waiting."""
    while not _TURNS.acquire(timeout=_LOOK_S):
        still()  # a person may stop it
    try:
        return think()
    finally:
        _TURNS.release()


def _untitled(job: Job) -> Job:
    """What a plan's numbers depend on: not whose it is."""
    return replace(job, request=replace(job.request, title=TitleBlock()))


def thought_of(job: Job) -> bool:
    """Whether somebody has seen what came of a job."""
    return ("run", _untitled(job)) in _thoughts()


def made(job: Job, options: Options) -> OutputFiles:
    """Make the files of the plan that came of a job."""
    return known(("files", job, options), lambda: output_files(answered(job).plan, options))


def pictured(job: Job, sheet: str, options: Options) -> list[bytes]:
    """Picture the pages of a sheet as it will be printed."""
    paper, units, title = options.paper, options.units, options.title
    return known(
        ("pages", job, sheet, paper, units),
        lambda: pages_of(sheet, answered(job).plan, paper=paper, units=units, title=title),
    )


def changed(job: Job, **parts: Any) -> Job:
    """Lay new parts over a job, be they of its request or of its sources."""
    of_sources = {name: value for name, value in parts.items() if hasattr(job.sources, name)}
    of_request = {name: value for name, value in parts.items() if name not in of_sources}
    return Job(replace(job.request, **of_request), replace(job.sources, **of_sources))


def change(**parts: Any) -> None:
    """Put new parts into the job, so that it can be undone. Call it in a callback."""
    now = desk().now
    assert now is not None
    put(changed(now, **parts))


def put(job: Job) -> None:
    """Lay a whole job on the desk and into the boxes. Call it before they are drawn."""
    request, sources = job.request, job.sources
    work, demo = desk(), demo_of(sources)
    work.files = files_sent(sources)
    work.fresh += 1
    work.drawn, work.edits, work.title = request.drawn, request.edits, request.title
    work.ground = ground_of(job)
    st.session_state.update(title_values(request.title))
    work.rules = tuple(file for file in sources.rules if isinstance(file, Upload))
    work.laid = request
    work.planter = sources.machine
    machine: Any = sources.machine
    if not isinstance(machine, str) and machine not in work.planters:
        machine = OWN_MACHINE if demo and machine == demo.machine else MACHINE_FILE
    st.session_state.update(values_of(request))
    st.session_state.update({"field": demo.name if demo else OWN_FIELD, "machine": machine})


def planter_words(planter: Upload | str) -> str:
    """Say a planter that can be chosen.

    >>> planter_words("springs"), planter_words(Upload("Ours.toml", b""))
    ('generic springs', 'Ours')
    """
    if isinstance(planter, Upload):
        return planter.name.removesuffix(".toml")
    return f"generic {planter}" if planter in SYSTEMS else planter


def demo_of(sources: Sources) -> Demo | None:
    """The demo field whose files these are, if they are."""
    return next((demo for demo in demo_fields() if demo.boundary == sources.boundary), None)


class Footing(NamedTuple):
    """What changes by hand were made on."""

    outline: Hashable  # the file, and which outline in it
    layers: Hashable  # the other files of the ground
    planter: Hashable


def ground_of(job: Job) -> Footing:
    """Which field a job is of, which files say what lies on it, and what plants it."""
    sources = job.sources
    layers = (
        sources.soils,
        sources.samples,
        sources.elevation,
        sources.tracks,
        sources.zones,
    )
    return Footing((sources.boundary, job.request.pick), layers, sources.machine)


def note(job: Job) -> None:
    """Remember a job that was asked for, and what was before it."""
    work = desk()
    work.ground = ground_of(job)
    if job == work.now:
        return
    if work.now is not None:
        work.past = [*work.past, work.now][-MOST_UNDONE:]
        if work.future and work.future[-1] == job:
            work.future.pop()
        else:
            work.future.clear()
    work.now = job


def undo() -> None:
    """Go back to the job before. Call it in a callback."""
    work = desk()
    if work.past and work.now is not None:
        before = work.past.pop()
        work.future.append(work.now)
        work.now = before
        put(before)


def redo() -> None:
    """Go forward again to what was undone. Call it in a callback."""
    work = desk()
    if work.future and work.now is not None:
        work.past.append(work.now)
        work.now = work.future.pop()
        put(work.now)


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
            st.button("Go on", on_click=_go_on, type="primary")
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


def _stop(job: Hashable) -> None:
    desk().stopped = job


def _go_on() -> None:
    desk().stopped = None


# ---- small things ------------------------------------------------------------------------------


def known(key: Hashable, think: Callable[[], Thing], most: int = _MOST_ANSWERS) -> Thing:
    """Think once; keep the last few thoughts of each kind."""
    thoughts = _thoughts()
    if key not in thoughts:
        thoughts[key] = think()
    thoughts.move_to_end(key)
    kind = key[0] if isinstance(key, tuple) else key
    alike = [other for other in thoughts if isinstance(other, tuple) and other[0] == kind]
    for old in alike[:-most]:
        del thoughts[old]
    answer: Thing = thoughts[key]
    return answer


def _thoughts() -> OrderedDict[Hashable, Any]:
    """What this session has worked out: it goes with the session, the desk stays."""
    answers: OrderedDict[Hashable, Any] = st.session_state.setdefault("known", OrderedDict())
    return answers


def files_sent(sources: Sources) -> dict[str, tuple[Upload, ...]]:
    """The files that were sent, by their role."""
    files: dict[str, tuple[Upload, ...]] = {}
    for role, file in files_of(sources):
        if isinstance(file, Upload) and role != "rules":
            files[role] = (*files.get(role, ()), file)
    return files
