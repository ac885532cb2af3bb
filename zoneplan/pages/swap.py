"""Other files on the desk: what was done by hand on those before does not follow unasked."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages import state
from zoneplan.pages.box_values import title_values
from zoneplan.pages.by_hand.fate import Fate, fate_of
from zoneplan.pages.overview import fault
from zoneplan.pages.planter_day import machine_of
from zoneplan.pages.state import changed, desk, ground_of, put, watching
from zoneplan.plan.override import unfit
from zoneplan.request import Request
from zoneplan.run import Job
from zoneplan.say.figures import listing

_STAYED = "What was drawn and changed by hand stays with the field before: “Undo” leads back to it."


class Came(StrEnum):
    """What came that is not as it was."""

    OUTLINE = "Another outline came"
    LAYERS = "Another file came under what was changed by hand"
    PLANTER = "Another planter came, which cannot do all that was changed by hand"


@dataclass(frozen=True)
class Swapped:
    """A job with other files, and what was done by hand that would be laid over them."""

    job: Job
    came: Came
    whole: bool  # whether it can be planned
    belongings: tuple[str, ...] = ()


def swapped(job: Job, *, whole: bool) -> Swapped | None:
    """Find what was done by hand on other files and still stands, where a job has new ones.

    `whole` says whether all that a plan needs is there; until it is only an outline is asked about.
    """
    before = desk().ground
    if before is None:
        return None
    now = ground_of(job)
    if now.outline != before.outline:
        belongings = _belongings(job)
        return Swapped(job, Came.OUTLINE, whole, belongings) if belongings else None
    if not job.request.edits or not whole:
        return None
    if now.layers != before.layers:
        return Swapped(job, Came.LAYERS, whole)
    if now.planter != before.planter and _lacks_a_notch(job):
        return Swapped(job, Came.PLANTER, whole)
    return None


def question(other: Swapped) -> None:
    """Ask what is to become of it: what survives, and what has no place any more, by name."""
    now, job, outline = desk().now, other.job, other.came is Came.OUTLINE
    belongings = (
        f"<p>On the field before there are: {escape(listing(other.belongings))}. They follow only "
        "if you say so.</p>"
        if outline
        else ""
    )
    fate = None
    try:
        if other.whole and by_hand(job):
            fate = watching(job, lambda: fate_of(job), stop="stop-swap")
    except ZoneplanError as error:
        st.html(fault(error))
    st.html(
        f'<section class="zp-ask" role="alert"><h2>{other.came}</h2>{belongings}'
        f"{_told(fate) if fate else ''}</section>"
    )
    some = "what has a place" if fate and fate.lost else "them"
    keep = f"The same field: keep {some}" if outline else f"Use it, and keep {some}"
    leave = "Another field: begin without them" if outline else "Use it without them"
    with st.container(horizontal=True):
        st.button(
            leave,
            key="swap-other",
            type="primary" if outline else "secondary",
            on_click=_another if outline else _without,
            args=(job,),
        )
        st.button(
            keep,
            key="swap-same",
            type="secondary" if outline else "primary",
            on_click=_same,
            args=(job, fate),
        )
        if now is not None:
            st.button("Back to the plan before", key="swap-back", on_click=put, args=(now,))


def by_hand(job: Job) -> bool:
    """Whether something of a job was drawn or changed by hand, but for its outline."""
    return bool(job.request.edits) or any(one.what != "boundary" for one in job.request.drawn)


def _told(fate: Fate) -> str:
    parts = (("No place for it any more", fate.lost), ("Stays", fate.stands))
    return "".join(f"<h3>{head}</h3>{_list(lines)}" for head, lines in parts if lines)


def _list(lines: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>"


def _lacks_a_notch(job: Job) -> bool:
    machine = machine_of(job.sources.machine)
    return machine is not None and bool(unfit(job.request.edits, machine))


def bare(job: Job) -> Job:
    """Give a job without what belongs to its field alone: what was done by hand, and its name."""
    title = replace(job.request.title, revision=None)
    parts = {"edits": (), "drawn": (), "observations": (), "name": None, "title": title}
    return changed(job, checks=(), **parts)


def leave_field(job: Job) -> None:
    """Leave a field for one of another kind: its files stay here, what was done on it does not.

    Call it in a callback.
    """
    work = desk()
    if job.sources.checks:
        there = {**work.files, **state.files_sent(job.sources)}
        work.files = {role: files for role, files in there.items() if role != "checks"}
        work.fresh += 1  # or the choosers would give the checks again
    if by_hand(job):
        work.message = _STAYED
    work.drawn, work.edits, work.laid, work.ground = (), (), Request(), None
    work.title = replace(work.title, grower=None, farm=None, revision=None)
    st.session_state.update(title_values(work.title))


def _another(job: Job) -> None:
    own = replace(bare(job).request.title, grower=None, farm=None)
    put(changed(bare(job), title=own))
    desk().message = "Another field is begun. “Undo” leads back to the one before."


def _without(job: Job) -> None:
    put(changed(job, edits=()))


def _same(job: Job, fate: Fate | None) -> None:
    if fate is None:
        desk().ground = ground_of(job)
    else:
        put(fate.job)


def _belongings(job: Job) -> tuple[str, ...]:
    request = job.request
    drawn = [one for one in request.drawn if one.what != "boundary"]
    counts = (
        (len(request.edits) + len(drawn), "change by hand", "changes by hand"),
        (len(request.observations) + len(job.sources.checks), "hand check", "hand checks"),
    )
    said = [f"{count} {one if count == 1 else many}" for count, one, many in counts if count]
    named = (
        ("its name", request.name),
        ("grower", request.title.grower),
        ("farm", request.title.farm),
        ("revision", request.title.revision),
    )
    return (*said, *(f"{what} {value}" for what, value in named if value))
