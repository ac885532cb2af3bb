"""What the pages of one session share: the question, its answer, and what was before.

The boxes of the side hold the words of the question and the desk holds the rest of it:
files, drawings, rules, edits. `ask` puts both together at every run; `put` lays a whole
question back on the desk and into the boxes, be it an earlier one or one that was saved.
"""

import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.export.manifest import Options
from zoneplan.export.sheets.preview import pages_of
from zoneplan.field.layer import COLUMNS
from zoneplan.harmless import escape
from zoneplan.progress import watched
from zoneplan.work.answer import Answer, Made, files_of, machine_asked, plan_on
from zoneplan.work.asked import OWN_MACHINE, Asked, Drawn, Ground, Upload
from zoneplan.work.ground import read_ground
from zoneplan.work.saved import Opened
from zoneplan.zones.edit import Edit

OWN_FIELD = "files of my own"
MACHINE_FILE = "a machine file"
MOST_UNDONE = 50
_MOST_ANSWERS = 8
_LOOK_S = 0.4  # what is done sooner needs no bar
_AGAIN_S = 0.1

Thing = TypeVar("Thing")


@dataclass
class Desk:
    """One session's work, but for what its boxes hold."""

    files: dict[str, tuple[Upload, ...]] = field(default_factory=dict)  # by the box they came in by
    fresh: int = 0  # counts how often the boxes for files were emptied
    drawn: tuple[Drawn, ...] = ()
    rules: tuple[Upload, ...] = ()
    edits: tuple[Edit, ...] = ()
    now: Asked | None = None
    link: str | None = None  # that a reload finds it by
    links: tuple[str, ...] = ()  # that it had before
    past: list[Asked] = field(default_factory=list)
    future: list[Asked] = field(default_factory=list)
    beside: dict[str, Asked] = field(default_factory=dict)  # kept to compare with, by name
    missing: bool = False  # whether something of the question is still to give
    stopped: Hashable = None  # what was not finished, as a person wanted
    said: str | None = None  # of what was just done
    opened: Opened | None = None  # the saved plan that the question comes from
    refused: tuple[str, str] | None = None  # what could not be opened: the chooser, and why
    told_no_room: bool = False  # whether a person knows that a reload would not find it


def desk() -> Desk:
    """This session's desk."""
    if "desk" not in st.session_state:
        st.session_state["desk"] = Desk()
    found: Desk = st.session_state["desk"]
    return found


def asked() -> Asked | None:
    """The question that stands; None while something of it is missing."""
    return None if desk().missing else desk().now


def current() -> Answer | None:
    """The answer to it, for pages: they run once it is there."""
    now = asked()
    return None if now is None else _thoughts().get(("answer", now))


def answered(question: Asked) -> Answer:
    """Answer a question, or know the answer still.

    Raises
    ------
    ZoneplanError
        Anything the user can put right.
    """

    def think() -> Answer:
        machine = _known(
            ("machine", question.ground, question.machine), lambda: machine_asked(question)
        )
        lie = replace(  # what the ground does not depend on is left out
            question,
            machine=OWN_MACHINE,
            tillage="",
            speed_mph=None,
            depth_in=None,
            residue_pct=0,
            least_acres=None,
            least_width_ft=None,
            most_zones=None,
            rules=(),
            edits=(),
        )
        ground = _known(
            ("ground", lie, machine.width_m if _by_the_pass(question) else None),
            lambda: read_ground(question, machine),
            most=4,
        )
        return plan_on(question, machine, *ground)

    return _known(("answer", question), think)


def made(question: Asked, options: Options) -> Made:
    """Make the files of the plan that answers a question."""
    return _known(("files", question, options), lambda: files_of(answered(question).plan, options))


def pictured(question: Asked, sheet: str, options: Options) -> list[bytes]:
    """Picture the pages of a sheet as it will be printed."""
    paper, units = options.paper, options.units
    return _known(
        ("pages", question, sheet, paper, units),
        lambda: pages_of(answered(question).plan, sheet, paper=paper, units=units),
    )


def change(**parts: Any) -> None:
    """Put new parts into the question, so that it can be undone. Call it in a callback."""
    now = desk().now
    assert now is not None
    put(replace(now, **parts))


def put(question: Asked) -> None:
    """Lay a whole question on the desk and into the boxes. Call it before they are drawn."""
    own = question.ground if isinstance(question.ground, Ground) else None
    machine = question.machine
    it = desk()
    it.files = _files(own, machine)
    it.fresh += 1
    it.drawn, it.rules, it.edits = question.drawn, question.rules, question.edits
    columns = dict(own.columns) if own else {}
    st.session_state.update(
        {
            "field": OWN_FIELD if own else question.ground,
            "machine": MACHINE_FILE if isinstance(machine, Upload) else machine,
            "tillage": question.tillage,
            "speed": question.speed_mph,
            "depth": question.depth_in,
            "residue": int(question.residue_pct),
            "headland": question.headland,
            "sides": list(question.sides),
            "least_acres": question.least_acres,
            "least_width": question.least_width_ft,
            "most_zones": question.most_zones,
        }
    )
    if own:
        told = {"pick": own.pick or "", "crs": own.crs or "", "raster_unit": own.raster_unit}
        st.session_state.update(told)
        if own.raster_unit:
            st.session_state["unit_asked"] = True
        st.session_state.update({part: columns.get(part, "") for part in COLUMNS})


def note(question: Asked) -> None:
    """Remember a question that was asked, and what was asked before it."""
    it = desk()
    if question == it.now:
        return
    if it.now is not None:
        it.past = [*it.past, it.now][-MOST_UNDONE:]
        if it.future and it.future[-1] == question:
            it.future.pop()
        else:
            it.future.clear()
    it.now = question


def undo() -> None:
    """Go back to the question before. Call it in a callback."""
    it = desk()
    if it.past and it.now is not None:
        before = it.past.pop()
        it.future.append(it.now)
        it.now = before
        put(before)


def redo() -> None:
    """Go forward again to what was undone. Call it in a callback."""
    it = desk()
    if it.future and it.now is not None:
        it.past.append(it.now)
        it.now = it.future.pop()
        put(it.now)


# ---- long work ---------------------------------------------------------------------------------


def watching(question: Hashable, work: Callable[[], Thing], stop: str = "stop") -> Thing | None:
    """Do work that may be long: show how far it is, and a button that stops it.

    Parameters
    ----------
    question : Hashable
        What is worked at, be it a question or something else.
    work : callable
        Does it.
    stop : str
        Key of the button: no two in one run may have the same.

    Returns
    -------
    object or None
        What the work gives; None where a person stopped it.
    """
    it, place = desk(), st.empty()
    if it.stopped == question:
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
                st.button("Stop", key=stop, on_click=_stop, args=(question,))
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


def _stop(question: Hashable) -> None:
    desk().stopped = question


def _go_on() -> None:
    desk().stopped = None


# ---- small things ------------------------------------------------------------------------------


def _known(key: Hashable, think: Callable[[], Thing], most: int = _MOST_ANSWERS) -> Thing:
    """Think once; keep the last few thoughts of each kind."""
    known = _thoughts()
    if key not in known:
        known[key] = think()
    known.move_to_end(key)
    kind = key[0] if isinstance(key, tuple) else key
    alike = [it for it in known if isinstance(it, tuple) and it[0] == kind]
    for old in alike[:-most]:
        del known[old]
    found: Thing = known[key]
    return found


def _thoughts() -> OrderedDict[Hashable, Any]:
    """What this session has worked out: it goes with the session, the desk stays."""
    found: OrderedDict[Hashable, Any] = st.session_state.setdefault("known", OrderedDict())
    return found


def _by_the_pass(question: Asked) -> bool:
    """Whether something on the ground is as wide as the planter."""
    own = question.ground
    return bool(question.headland or (isinstance(own, Ground) and own.tracks))


def _files(own: Ground | None, machine: Upload | str) -> dict[str, tuple[Upload, ...]]:
    """Files by the box they came in by."""
    files: dict[str, tuple[Upload, ...]] = {}
    if isinstance(machine, Upload):
        files["machine_file"] = (machine,)
    if own:
        files["soils"] = own.soils
        for box in ("boundary", "samples", "elevation", "tracks", "drawn"):
            sent = getattr(own, box)
            if sent:
                files[box] = (sent,)
    return files
