"""Another outline on the desk: what was done on the field before does not follow unasked."""

from dataclasses import dataclass, replace

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages import state
from zoneplan.pages.box_values import title_values
from zoneplan.pages.state import changed, desk, ground_of, put
from zoneplan.request import Request
from zoneplan.run import Job
from zoneplan.say.figures import listing


@dataclass(frozen=True)
class Swapped:
    """A job with another outline, and what of the field before would be laid over it."""

    job: Job
    belongings: tuple[str, ...]


def swapped(job: Job) -> Swapped | None:
    """Find what was done on the field before and still stands, where a job is of another."""
    before = desk().ground
    if before is None or ground_of(job) == before:
        return None
    belongings = _belongings(job)
    return Swapped(job, belongings) if belongings else None


def question(other: Swapped) -> None:
    """Ask what is to become of it."""
    now = desk().now
    st.html(
        '<section class="zp-since" role="alert"><h2>Another outline came</h2>'
        f"<p>On the field before stand: {escape(listing(other.belongings))}. They follow only if "
        "you say so.</p></section>"
    )
    with st.container(horizontal=True):
        st.button(
            "Another field: begin without them",
            key="swap-other",
            type="primary",
            on_click=_another,
            args=(other.job,),
        )
        st.button("The same field: keep them", key="swap-same", on_click=_same, args=(other.job,))
        if now is not None:
            st.button("Back to the plan before", key="swap-back", on_click=put, args=(now,))


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
    work.drawn, work.edits, work.laid, work.ground = (), (), Request(), None
    work.title = replace(work.title, grower=None, farm=None, revision=None)
    st.session_state.update(title_values(work.title))


def _another(job: Job) -> None:
    own = replace(bare(job).request.title, grower=None, farm=None)
    put(changed(bare(job), title=own))
    desk().message = "Another field is begun. “Undo” leads back to the one before."


def _same(job: Job) -> None:
    desk().ground = ground_of(job)


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
