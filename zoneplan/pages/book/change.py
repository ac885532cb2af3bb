"""What a change of rules or of a planter would do to the book: seen first, then made or left."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from zoneplan.batch import Progress
from zoneplan.book.database import Book
from zoneplan.book.fields import BookField
from zoneplan.book.planning import plan_all
from zoneplan.book.preview import Preview, preview, take
from zoneplan.book.supply import Scope, put_planter, put_rules, scope_of
from zoneplan.errors import BookError, ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages.book.standing import EVERYBODY, Standing
from zoneplan.pages.fault import fault
from zoneplan.pages.person import Role, allowed
from zoneplan.plain_file import scratch
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.sources import Upload, on_disk

_FILE = "a planter's file"
_MOST_MOVES = 100
_WORKERS = 1  # beside those who look: nobody waits for another's plan


@dataclass(frozen=True)
class _Change:
    """What would be put into the book, and for whom."""

    what: str  # "rules" or "planter"
    given: Upload | str
    grower: str | None

    def make(self, connection: Any, scope: Scope, who: str) -> None:
        """Make it, in a transaction that writes."""
        with scratch(BookError) as room:
            file = self.given if isinstance(self.given, str) else on_disk(self.given, room)
            if self.what == "rules":
                put_rules(connection, Path(file), scope, who=who)
            else:
                put_planter(connection, file, scope, who=who, use=True)

    def scope(self, connection: Any) -> Scope:
        """Find for whom."""
        return scope_of(connection, self.grower)


def block(book: Book, stands: Standing) -> None:
    """Ask for a change, and show what it would do."""
    with st.expander("Preview of a change"):
        change = _asked(stands)
        if st.button("See what it would do", key="book-preview", disabled=change is None):
            assert change is not None
            _look(book, change)
        seen = st.session_state.get("book_preview")
        if seen is not None and seen[0] == change:
            _show(book, *seen)


def _asked(stands: Standing) -> _Change | None:
    whose = st.selectbox("For whom", [EVERYBODY, *stands.growers], key="book_change_grower")
    grower = None if whose == EVERYBODY else whose
    what = st.radio(
        "What would change",
        ["rules", "planter"],
        key="book_change_what",
        horizontal=True,
    )
    if what == "planter":
        chosen = st.selectbox("Planter", [_FILE, *SYSTEMS], key="book_change_planter")
        if chosen != _FILE:
            return _Change("planter", str(chosen), grower)
    sent = st.file_uploader(
        "Its file" if what == "planter" else "A file of rules, to be laid over the stock ones",
        type="toml",
        key=f"book_change_{what}_file",
        max_upload_size=1,
    )
    return _Change(what, Upload(sent.name, sent.getvalue()), grower) if sent else None


def _look(book: Book, change: _Change) -> None:
    line = st.empty()
    line.html('<p class="zp-busy" role="status">Planning ...</p>')
    try:
        who = allowed(Role.READS).name
        result = preview(
            book, partial(change.make, who=who), change.scope, workers=_WORKERS, watch=_watch(line)
        )
        st.session_state["book_preview"] = (change, result)
    except ZoneplanError as error:
        st.html(fault(error))
    line.empty()


def _show(book: Book, change: _Change, shown: Preview) -> None:
    voided = sum(move.voids is not None for move in shown.moves)
    st.html(
        f'<p class="zp-said" role="status">{len(shown.moves):,} fields of {shown.acres:,.0f} acres '
        f"would get other numbers; {voided:,} plans would lose their review or agreement. "
        f"{len(shown.still):,} would be planned again with the numbers they have, "
        f"{len(shown.failed):,} could not be planned, {shown.untouched:,} are not touched.</p>"
    )
    if shown.late:
        st.html(
            f'<p class="zp-change">{shown.late:,} of these are out of date by a change made '
            "before: plan them first.</p>"
        )
    if not (shown.moves or shown.still or shown.first or shown.failed):
        st.html(
            '<p class="zp-change">What is set for one grower, his farm or a field stays: it wins '
            "over what is set for all.</p>"
        )
    for field, words in shown.failed[:_MOST_MOVES]:
        st.html(f'<p class="zp-change">{escape(field.path)}: {escape(words)}</p>')
    if shown.moves:
        st.dataframe(
            pd.DataFrame(
                [
                    {
                        "Field": move.field.path,
                        "Acres": round(move.field.acres, 1),
                        "Acres changed": round(move.moved_acres, 1),
                        "Largest change": move.words,
                        "Would no longer be": str(move.voids or ""),
                    }
                    for move in shown.moves[:_MOST_MOVES]
                ]
            ),
            hide_index=True,
            height="auto",
        )
    paths = {move.field.path: move.field for move in shown.moves}
    chosen = st.multiselect(
        "Only for these fields", list(paths), key="book_change_some", placeholder="all of them"
    )
    with st.container(horizontal=True, key="book-change-do"):
        if st.button("Make the change", key="book-take", type="primary"):
            _take(book, change, [paths[path] for path in chosen] or None)
        st.button("Leave it", key="book-leave", on_click=_leave)


def _leave() -> None:
    st.session_state.pop("book_preview", None)


def _take(book: Book, change: _Change, some: Sequence[BookField] | None) -> None:
    line = st.empty()
    try:
        who = allowed(Role.EDITS).name
        take(book, partial(change.make, who=who), change.scope, some)
        watch = _watch(line)
        asked: list[dict[str, Any]] = (
            [{"grower": change.grower}]
            if some is None
            else [{"grower": one.grower, "farm": one.farm, "field": one.name} for one in some]
        )
        for names in asked:
            plan_all(book, who=who, workers=_WORKERS, watch=watch, **names)
    except ZoneplanError as error:
        st.html(fault(error))
        return
    _leave()
    st.rerun()


def _watch(line: Any) -> Callable[[Progress], None]:
    def tell(so_far: Progress) -> None:
        line.html(
            f'<p class="zp-busy" role="status">Planning: {so_far.planned:,} done, '
            f"{so_far.left:,} left ...</p>"
        )

    return tell
