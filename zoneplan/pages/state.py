"""What the pages of one session share: the job that is asked for, and those before it.

The boxes of the side hold the values of the job's request and the desk holds the rest of it:
files, drawings, rules, edits. `ask` puts both together at every run; `put` lays a whole
job back on the desk and into the boxes, be it an earlier one or one that was saved.
"""

import datetime
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import streamlit as st

from zoneplan.ask import Ask, Form, asks
from zoneplan.demo import Demo, demo_fields
from zoneplan.errors import ZoneplanError
from zoneplan.request import Drawn, Request, TitleBlock
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.run import Job
from zoneplan.say.sentences import capital
from zoneplan.sources import File, Sources, Upload, ask_of, files_of
from zoneplan.store.archive import Opened
from zoneplan.zones.edit import Edit

if TYPE_CHECKING:
    from zoneplan.pages.planter_filling import Filling

OWN_FIELD = "files of my own"
OWN_MACHINE = "this field's own planter"  # as a demo field has one
MACHINE_FILE = "a machine file"
FILL_IN = "Fill in your own planter"
MOST_UNDONE = 50
BOXED = {name: ask for name, ask in asks(Request) if ask.option}  # values that have a box
TITLED = dict(asks(TitleBlock))  # values with a box on the page of the sheets
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
    day_stays: dict[str, float] = field(default_factory=dict)  # speed and depth that stayed


def desk() -> Desk:
    """This session's desk."""
    if "desk" not in st.session_state:
        st.session_state["desk"] = Desk()
    own_desk: Desk = st.session_state["desk"]
    return own_desk


def asked() -> Job | None:
    """The job that stands; None while something of it is missing."""
    return None if desk().missing else desk().now


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
    work.rules = tuple(file for file in sources.rules if isinstance(file, Upload))
    work.laid = request
    work.planter = sources.machine
    machine: Any = sources.machine
    if not isinstance(machine, str) and machine not in work.planters:
        machine = OWN_MACHINE if demo and machine == demo.machine else MACHINE_FILE
    st.session_state.update(values_of(request) | values_of(request.title))
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


def files_sent(sources: Sources) -> dict[str, tuple[Upload, ...]]:
    """The files that were sent, by their role."""
    files: dict[str, tuple[Upload, ...]] = {}
    for role, file in files_of(sources):
        if isinstance(file, Upload) and role != "rules":
            files[role] = (*files.get(role, ()), file)
    return files


# ---- what boxes hold -----------------------------------------------------------------------------


def label(parameter: str) -> str:
    """Name the box of a parameter: a field of Request or Sources.

    >>> label("crs"), label("speed_mps"), label("columns.sand")
    ('Coordinate system', 'Speed, mph', 'Sand column')
    """
    ask, key = ask_of(parameter)
    return capital(ask.box.format(key))


def values_of(asked: Request | TitleBlock) -> dict[str, Any]:
    """What every box of a request or of a title holds where it stands."""
    values: dict[str, Any] = {}
    for name, ask in (TITLED if isinstance(asked, TitleBlock) else BOXED).items():
        values |= box_values(name, ask, getattr(asked, name))
    return values


def box_values(name: str, ask: Ask, value: Any) -> dict[str, Any]:
    """What the box of one value holds, or its boxes, one for each key."""
    if ask.form is Form.PAIRS:
        if ask.keys:
            return {f"{name}_{key}": dict(value).get(key, "") for key in ask.keys}
        return {name: ", ".join(f"{part}={band}" for part, band in value)}
    if ask.form is Form.TEXT:
        return {name: value or ""}
    if ask.form is Form.CHOICES:
        return {name: [*value]}
    return {name: ask.shown(value)}


# ---- small things --------------------------------------------------------------------------------


def today() -> datetime.date:
    """Give the day, where the server stands."""
    return datetime.datetime.now().astimezone().date()


def without(things: Sequence[Thing], place: int) -> tuple[Thing, ...]:
    """Leave one thing out.

    >>> without("abc", 1)
    ('a', 'c')
    """
    return (*things[:place], *things[place + 1 :])
