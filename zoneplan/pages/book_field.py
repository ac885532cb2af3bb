"""One field of the book on the pages that plan a field: opened there, changed, and saved back."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import shapely
import streamlit as st

from zoneplan.book.conditions import keep_request
from zoneplan.book.contents import laid_out
from zoneplan.book.database import Book
from zoneplan.book.fields import BY_HAND, BookField, find_field
from zoneplan.book.planning import Ready, plan_all, ready_to_plan
from zoneplan.errors import BookError, ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages.given_book import given
from zoneplan.pages.overview import fault
from zoneplan.pages.person import Role, allowed
from zoneplan.pages.state import desk, put
from zoneplan.run import Job
from zoneplan.sources import Sources, Upload, packed, safe

_OPEN, _TURN, _REFUSED = "book_open", "book_turn", "book_field_refused"
_GROWERS = Path(__file__).parent / "growers.py"
_MOST_LAYERS = 4  # that the server remembers: a county's survey is some megabytes


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


def turned() -> bool:
    """Whether a field was just opened, so that the page turns to it; once."""
    return bool(st.session_state.pop(_TURN, False))


def bar() -> None:
    """Say which field of the book is on the desk, and offer to save it back."""
    book, opened = given(), st.session_state.get(_OPEN)
    if book is None or opened is None:
        return
    now = desk().now
    if now is None or not _of_the_same_ground(now, opened.job):
        return
    changed = now.request != opened.job.request
    state = opened.field.state
    told = ", changed here" if changed else ""
    if changed and state in BY_HAND:
        told += f". It is {state} in the book: saved with other numbers, it is so no longer"
    with st.container(key="book-bar", horizontal=True):
        st.html(f'<p class="zp-said">From the book: {escape(opened.field.path)}{told}</p>')
        st.button(
            "Save it to the book",
            key="book-save",
            type="primary",
            disabled=not changed,
            on_click=_save,
            args=(book, opened, now),
        )
        st.page_link(_GROWERS, label="Back to the growers", icon=":material/arrow_back:")
    if refused := st.session_state.pop(_REFUSED, None):
        st.html(fault(refused))


def _save(book: Book, opened: _Open, job: Job) -> None:
    try:
        who = allowed(Role.EDITS).name
        if job.sources != opened.job.sources:
            raise BookError(
                f"{opened.field.path}: another planter, rules or layers were given here.\n"
                "The book has those for many fields, so nothing was saved. Change them in the "
                "book: “Preview of a change” on the page of the growers, or zoneplan book add."
            )
        field = opened.field
        keep_request(book, field, job.request, who=who)
        grower, farm, name = field.grower, field.farm, field.name
        report = plan_all(book, who=who, grower=grower, farm=farm, field=name, workers=0)
        for _, lack in report.failed:
            raise BookError(f"{field.path} is saved, and could not be planned: {lack.words}")
        again = find_field(book, f"#{field.id}")
        st.session_state[_OPEN] = _Open(again, job)
        voided = f" It is no longer {report.voided[0][1]}." if report.voided else ""
        desk().message = f"Saved to the book: {field.path}, plan {again.revision}.{voided}"
    except ZoneplanError as error:
        st.session_state[_REFUSED] = error


def _of_the_same_ground(now: Job, opened: Job) -> bool:
    return now.sources.boundary == opened.sources.boundary


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
