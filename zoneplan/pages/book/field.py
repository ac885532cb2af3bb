"""One field of the book: looked at and marked; opened in the pages, changed and saved back."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import shapely
import streamlit as st

from zoneplan.book.database import Book
from zoneplan.book.fields import BY_HAND, BookField, State, find_field
from zoneplan.book.history import Event, history
from zoneplan.book.planning import Ready, plan_all, ready_to_plan
from zoneplan.book.plans import record_state
from zoneplan.book.soil import laid_out
from zoneplan.book.supply import keep_request
from zoneplan.errors import BookError
from zoneplan.harmless import escape
from zoneplan.pages.book import given
from zoneplan.pages.book.standing import Listed
from zoneplan.pages.fault import show_fault
from zoneplan.pages.link import page_link, turn_to
from zoneplan.pages.person import REFUSED, Role, do_as
from zoneplan.pages.state import desk, put
from zoneplan.pages.words import items
from zoneplan.run import Job
from zoneplan.sources import Sources, Upload, packed, safe

_OPEN, _TURN = "book_open", "book_turn"
_MOST_EVENTS = 8
ROWS = 15  # of a page of the list
_MOST_LAYERS = 4  # that the server remembers: a county's survey is some megabytes


def go_to(field_id: int, place: int) -> None:
    """Choose a field, and turn the list to its place. Call it in a callback."""
    st.session_state["book_chosen"] = field_id
    st.session_state["book_page"] = place // ROWS


def panel(book: Book, shown: Sequence[Listed], chosen: Listed) -> None:
    """Show the field that is chosen in the list; step to others, open it, mark its plan."""
    place = next(number for number, one in enumerate(shown) if one.id == chosen.id)
    field = chosen.field
    with st.container(key="book-field"):
        with st.container(horizontal=True, key="book-steps"):
            for label, by, keys in (("Previous", -1, "Alt+Up"), ("Next", 1, "Alt+Down")):
                to = place + by
                there = 0 <= to < len(shown)
                st.button(
                    label,
                    key=f"book-{label}",
                    shortcut=keys,
                    on_click=go_to,
                    args=(shown[to].id, to) if there else (chosen.id, place),
                    disabled=not there,
                )
            st.button(
                "Open it in the pages",
                key="book-open",
                type="primary",
                on_click=do_as,
                args=(Role.READS, lambda _: open_field(book, field)),
            )
        st.html(_about(chosen, place, len(shown)))
        _review(book, field)
    if st.session_state.pop(_TURN, False):
        turn_to("field")


def _about(chosen: Listed, place: int, count: int) -> str:
    field = chosen.field
    stood = f", {field.stood} before" if field.state is not field.stood else ""
    facts = [
        f"{place + 1:,} of {count:,}",
        f"{field.acres:.1f} acres",
        f"{field.state}{stood}",
        *([f"plan {field.revision}"] if field.revision else []),
        *([f"by {field.who}, {_when(field.at)}"] if field.who and field.at else []),
    ]
    looks = items(look.words for look in chosen.looks)
    moved = (field.voided or {}).get("moved", ())
    lines = items(map(str, moved[:_MOST_EVENTS]))
    return (
        f'<header class="zp-head"><h2>{escape(field.path)}</h2><ul>{items(facts)}</ul></header>'
        + (f'<p class="zp-change">Note: {escape(field.note)}</p>' if field.note else "")
        + (f'<ul class="zp-looks" aria-label="Needs a look">{looks}</ul>' if looks else "")
        + (f"<details><summary>What changed</summary><ul>{lines}</ul></details>" if lines else "")
    )


def _review(book: Book, field: BookField) -> None:
    with st.form(f"book-review-{field.id}", clear_on_submit=True):
        state = st.selectbox("Mark this plan as", list(BY_HAND), key="book_say")
        note = st.text_area("Note", key="book_note", max_chars=2000, height=80)
        st.form_submit_button(
            "Mark it",
            disabled=field.plan_id is None,
            on_click=do_as,
            args=(Role.REVIEWS, partial(_say, book, field)),
        )
    del state, note  # the callback reads them


def _say(book: Book, field: BookField, who: str) -> None:
    state, note = State(st.session_state["book_say"]), st.session_state["book_note"].strip()
    record_state(book, field, state, who=who, note=note, revision=field.revision)
    desk().message = f"{field.path} is {state} now."


def history_of(book: Book, chosen: Listed) -> str:
    """Say what was done with it, as HTML."""
    events = history(book, chosen.id, _MOST_EVENTS)
    rows = "".join(
        f"<li><b>{escape(_when(event.at))}</b> {escape(event.who)}: "
        f"{escape(event.did)}{escape(_more(event))}</li>"
        for event in reversed(events)
    )
    return f'<section class="zp-events"><h3>History</h3><ul>{rows}</ul></section>'


def _when(at: str) -> str:
    """Say a moment to the minute; a book writes them in UTC.

    >>> _when("2026-11-28T19:58:55Z")
    '2026-11-28 19:58 UTC'
    """
    return f"{at[:16].replace('T', ' ')} UTC"


def _more(event: Event) -> str:
    parts = [
        f" plan {event.what['revision']}" if event.what.get("revision") else "",
        f", {event.what['by']}: {event.what['answer']}" if event.what.get("answer") else "",
        f" “{event.what['note']}”" if event.what.get("note") else "",
    ]
    return "".join(parts)


# ---- opened in the pages and saved back ----------------------------------------------------------


@dataclass(frozen=True)
class _Open:
    """What was opened."""

    field: BookField
    job: Job


def open_field(book: Book, field: BookField) -> None:
    """Lay a field of the book on the desk. Call it in a callback.

    Raises
    ------
    BookError
        When something is missing that it is planned from.
    """
    with book.read() as connection:
        ready, lacking = ready_to_plan(connection, [field])
    for _, lack in lacking:
        raise BookError(f"{field.path} cannot be opened: {lack.words}")
    job = _job(book, ready[0])
    put(job)
    st.session_state[_OPEN] = _Open(field, job)
    st.session_state[_TURN] = True


def bar() -> None:
    """Say which field of the book is on the desk, and offer to save it back."""
    book, opened = given(), st.session_state.get(_OPEN)
    if book is None or opened is None:
        return
    now = desk().now
    if now is None or now.sources.boundary != opened.job.sources.boundary:
        return
    changed = now.request != opened.job.request
    state = opened.field.state
    note = ", changed here" if changed else ""
    if changed and state in BY_HAND:
        note += f". It is {state} in the book: saved with other numbers, it is so no longer"
    with st.container(key="book-bar", horizontal=True):
        st.html(f'<p class="zp-said">From the book: {escape(opened.field.path)}{note}</p>')
        st.button(
            "Save it to the book",
            key="book-save",
            type="primary",
            disabled=not changed,
            on_click=do_as,
            args=(Role.EDITS, partial(_save, book, opened, now)),
        )
        page_link("growers", "Back to the growers", "arrow_back")
    show_fault(REFUSED)


def _save(book: Book, opened: _Open, job: Job, who: str) -> None:
    field = opened.field
    if job.sources != opened.job.sources:
        raise BookError(
            f"{field.path}: another planter, rules or layers were given here.\n"
            "The book has those for many fields, so nothing was saved. Change them in the "
            "book: “Preview of a change” on the page of the growers, or zoneplan book add."
        )
    keep_request(book, field, job.request, who=who)
    grower, farm, name = field.grower, field.farm, field.name
    report = plan_all(book, who=who, grower=grower, farm=farm, field=name, workers=0)
    for _, lack in report.failed:
        raise BookError(f"{field.path} is saved, and could not be planned: {lack.words}")
    again = find_field(book, f"#{field.id}")
    st.session_state[_OPEN] = _Open(again, job)
    voided = f" It is no longer {report.voided[0][1]}." if report.voided else ""
    desk().message = f"Saved to the book: {field.path}, plan {again.revision}.{voided}"


def _job(book: Book, ready: Ready) -> Job:
    """A request and its files, all in memory, as if a person had sent them."""
    name = safe(ready.field.name) or "field"
    outline = shapely.to_geojson(shapely.from_wkb(ready.outline))
    boundary = Upload(f"{name}.geojson", outline.encode())
    soils = tuple(
        upload
        for row in ready.inputs.soils
        for upload in _layer(row.sha256, partial(_packed, book, row))
    )
    sources = Sources(ready.machine, boundary=boundary, soils=soils, rules=ready.rules)
    return Job(ready.request, sources)


def _packed(book: Book, row: Any) -> tuple[Upload, ...]:
    with laid_out(book, [row]) as layers:
        (path,) = layers.values()
        return packed(path)


@st.cache_resource(max_entries=_MOST_LAYERS, show_spinner=False)
def _layer(digest: str, _read: Callable[[], tuple[Upload, ...]]) -> tuple[Upload, ...]:
    """Read a layer once for all who open a field on it."""
    del digest  # by which it is remembered
    return _read()
