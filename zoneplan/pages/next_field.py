"""From one field to the next: what stays on the one that is left, and a queue of several."""

from collections.abc import Mapping
from dataclasses import replace

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.answers import current
from zoneplan.pages.state import Queue, asked, changed, desk, files_sent, put, values_of
from zoneplan.request import Request
from zoneplan.run import Job
from zoneplan.sources import Upload

_STAYED = "What was drawn and changed by hand stays with the field before: “Undo” leads back to it."
_ALONG = "Planter, rules and conditions came along; what was done by hand stayed on its field."
_HERE = ' aria-current="true"'


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
        there = {**work.files, **files_sent(job.sources)}
        work.files = {role: files for role, files in there.items() if role != "checks"}
        work.fresh += 1  # or the choosers would give the checks again
    if changed_by_hand(job):
        work.message = _STAYED
    work.drawn, work.edits, work.laid, work.ground = (), (), Request(), None
    work.title = replace(work.title, grower=None, farm=None, revision=None)
    st.session_state.update(values_of(work.title))


def changed_by_hand(job: Job) -> bool:
    """Whether something of a job was drawn or changed by hand, but for its outline."""
    return bool(job.request.edits) or any(one.what != "boundary" for one in job.request.drawn)


# ---- several fields of one file ------------------------------------------------------------------


def begin(boundary: Upload, names: Mapping[str, str]) -> None:
    """Take fields of a file to plan, in this order. Call it in a callback.

    Parameters
    ----------
    boundary : Upload
        The file.
    names : mapping
        What each field is called, by what picks it in the file.
    """
    work, before = desk(), desk().queue
    same = before is not None and before.boundary == boundary
    left = before.left if before and same else {}
    done = before.done if before and same else frozenset()
    work.queue = Queue(boundary, names, left, done & names.keys()) if len(names) > 1 else None
    now, first = work.now, next(iter(names))
    if now is not None and now.sources.boundary == boundary and now.request.pick:
        at = now.request.pick
        if at not in names:
            put(left.get(first) or changed(bare(now), pick=first))
    else:
        st.session_state["pick"] = first


def bar() -> None:
    """Say which field of the queue is at hand, and offer the next."""
    queue, job = desk().queue, asked()
    at = queue.at(job) if queue else None
    if queue is None or at is None:
        return
    order = [*queue.names]
    place = order.index(at)
    with st.container(key="queue", horizontal=True, vertical_alignment="center"):
        st.html(_fields_html(queue, at))
        for label, to in (("Previous field", place - 1), ("Next field", place + 1)):
            there = 0 <= to < len(order)
            st.button(
                label,
                key=f"queue-{label}",
                disabled=not there,
                on_click=_turn,
                args=(order[to] if there else at,),
            )
        st.button(
            "Done",
            key="queue-done",
            type="primary",
            disabled=current() is None and at not in queue.done,
            help="Mark this field done, and go on to the next that is not.",
            on_click=_done,
        )


def _fields_html(queue: Queue, at: str) -> str:
    order = [*queue.names]
    marks = {pick: " ✓ done" if pick in queue.done else "" for pick in order}
    rows = "".join(
        f"<li{_HERE if pick == at else ''}>{escape(name)}{marks[pick]}</li>"
        for pick, name in queue.names.items()
    )
    return (
        f'<details class="zp-queue"><summary>Field {order.index(at) + 1} of {len(order)}: '
        f"<b>{escape(queue.names[at])}</b>{marks[at]}; {len(queue.done)} done</summary>"
        f"<ol>{rows}</ol></details>"
    )


def _turn(to: str) -> None:
    """Leave the field at hand as it stands, and lay out another."""
    work = desk()
    queue, now = work.queue, asked()
    at = queue.at(now) if queue else None
    if queue is None or now is None or at is None or to == at:
        return
    work.queue = replace(queue, left={**queue.left, at: now})
    before = queue.left.get(to)
    put(before or changed(bare(now), pick=to))
    name = queue.names[to]
    work.message = f"{name}, as you left it." if before else f"{name}. {_ALONG}{_whose(now)}"


def _whose(now: Job) -> str:
    """Tell the names that come along, for the next field may be somebody else's."""
    title = now.request.title
    names = {"grower": title.grower, "farm": title.farm}
    standing = [f"the {what} {name}" for what, name in names.items() if name]
    if not standing:
        return ""
    named = " and ".join(standing)
    return f" So did {named}: change that on Sheets and files if this field is another's."


def _done() -> None:
    work = desk()
    queue = work.queue
    at = queue.at(asked()) if queue else None
    if queue is None or at is None:
        return
    work.queue = queue = replace(queue, done=queue.done | {at})
    order = [*queue.names]
    after = order.index(at) + 1
    still = [pick for pick in (*order[after:], *order[:after]) if pick not in queue.done]
    if still:
        _turn(still[0])
    else:
        work.message = f"All {len(order)} fields are done."
