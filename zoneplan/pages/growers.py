"""The page of a book: all its fields in a list and on a map, and the way through them one by one.

What the list and the map show comes from the book's caches. What somebody does is asked for by role
each time, and written under his name.
"""

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pandas as pd
import streamlit as st

from zoneplan.book.database import Book
from zoneplan.book.fields import BY_HAND, BookField, State
from zoneplan.book.hand_out import due, hand_out_due
from zoneplan.book.history import Event, history
from zoneplan.book.replies import take_reply
from zoneplan.book.states import record_state
from zoneplan.errors import BookError, ZoneplanError
from zoneplan.harmless import escape, in_markdown
from zoneplan.pages import book_change, book_field
from zoneplan.pages.book_standing import Listed, Outlines, Standing, outlines, standing
from zoneplan.pages.given_book import given
from zoneplan.pages.growers_map import (
    CLICKED,
    SCALES,
    chosen_svg,
    clicked_at,
    clicks,
    fields_svg,
    figure,
    ring,
)
from zoneplan.pages.overview import fault
from zoneplan.pages.person import Role, allowed
from zoneplan.pages.state import desk
from zoneplan.pages.words import percent

ROWS = 15  # of a page of the list
_EVERYBODY = "all growers"
_SORTS = {"need": "what needs a look first", "name": "by grower, farm and field"}
_MOST_EVENTS = 8
_MOST_REPLIES = 200


def page() -> None:
    """Show the page."""
    book = given()
    if book is None:
        st.html(
            '<p class="zp-needed">This app was started without a book. Start it with one: '
            "<code>zoneplan app --book season.book</code></p>"
        )
        return
    try:
        _page(book)
    except ZoneplanError as error:  # the book is gone, locked or damaged
        st.html(fault(error))


def _page(book: Book) -> None:
    stands = standing(book)
    st.html(_head(book, stands))
    if refused := st.session_state.pop("book_refused", None):
        st.html(fault(refused))
    shown = _filtered(stands)
    chosen = _chosen(shown)
    with st.container(key="book"):
        listing, side = st.columns([6, 5], gap="large")
        drawing, past = st.columns([6, 5], gap="large")
    with listing:
        _list(shown, chosen)
    with drawing:
        _map(book, stands, shown, chosen)
    if chosen is not None:
        with side:
            _field(book, shown, chosen)
        with past:
            st.html(_history(history(book, chosen.id, _MOST_EVENTS)))
    _hand_out(book, stands)
    _replies(book)
    book_change.block(book, stands)


# ---- the head and the filters --------------------------------------------------------------------


def _head(book: Book, stands: Standing) -> str:
    acres = sum(one.field.acres for one in stands.listed)
    counts = dict.fromkeys(State, 0)
    for one in stands.listed:
        counts[one.field.state] += 1
    facts = [
        f"season {stands.season}",
        _counted(len(stands.growers), "grower"),
        _counted(len(stands.listed), "field"),
        f"{acres:,.0f} acres",
        *(f"{count:,} {state}" for state, count in counts.items() if count),
    ]
    name = Path(book.address).stem if book.path else book.address.rpartition("/")[2]
    listed = "".join(f"<li>{escape(fact)}</li>" for fact in facts)
    return f'<header class="zp-head"><h1>{escape(name)}</h1><ul>{listed}</ul></header>'


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"


def _filtered(stands: Standing) -> list[Listed]:
    """Ask which fields to list, and in what order."""
    with st.container(key="book-filters", horizontal=True):
        grower = st.selectbox(
            "Grower",
            [_EVERYBODY, *stands.growers],
            key="book_grower",
            persist_state="session",
            on_change=_first_page,
        )
        states = st.multiselect(
            "State",
            list(State),
            key="book_states",
            persist_state="session",
            on_change=_first_page,
            placeholder="any",
        )
        whys = sorted({look.why for one in stands.listed for look in one.looks})
        looks = st.multiselect(
            "Needs a look for",
            whys,
            key="book_looks",
            persist_state="session",
            on_change=_first_page,
            placeholder="any",
        )
        words = st.text_input(
            "Name contains", key="book_words", persist_state="session", on_change=_first_page
        )
        sort = st.selectbox(
            "In order",
            list(_SORTS),
            key="book_sort",
            persist_state="session",
            format_func=_SORTS.__getitem__,
        )
    wanted = words.casefold().strip()
    matching = [
        one
        for one in stands.listed
        if grower in (_EVERYBODY, one.field.grower)
        and (not states or one.field.state in states)
        and (not looks or any(look.why in looks for look in one.looks))
        and (not wanted or wanted in one.field.path.casefold())
    ]
    if sort == "name":
        matching.sort(key=lambda one: (one.field.grower, one.field.farm, one.field.name))
    return matching


def _first_page() -> None:
    st.session_state["book_page"] = 0


def _chosen(shown: Sequence[Listed]) -> Listed | None:
    """The field that is looked at: it stays so while it is listed."""
    wanted = st.session_state.get("book_chosen")
    return next((one for one in shown if one.id == wanted), shown[0] if shown else None)


# ---- the list and the map ------------------------------------------------------------------------


def _list(shown: Sequence[Listed], chosen: Listed | None) -> None:
    pages = max(1, -(-len(shown) // ROWS))
    number = min(int(st.session_state.get("book_page", 0)), pages - 1)
    here = shown[number * ROWS : (number + 1) * ROWS]
    if not here:
        st.html('<p class="zp-needed" role="status">No field is like that.</p>')
        return
    key = f"book-rows-{number}-{hash(tuple(one.id for one in here))}"
    st.dataframe(
        pd.DataFrame([_row(one, chosen) for one in here]),
        key=key,
        hide_index=True,
        height="content",
        on_select=partial(_pick, key, [one.id for one in here]),
        selection_mode="single-row",
        column_config={
            " ": st.column_config.TextColumn(width=20),
            "Grower": st.column_config.TextColumn(width=110),
            "Field": st.column_config.TextColumn(width=190),
            "Acres": st.column_config.NumberColumn(format="%.1f", width=60),
            "State": st.column_config.TextColumn(width=80),
            "Right": st.column_config.TextColumn(
                help="Chance that the wheels stay down and the soil bears them.", width=55
            ),
        },
    )
    with st.container(horizontal=True, key="book-pages"):
        st.button("Page before", on_click=_turn, args=(-1, pages), disabled=number == 0)
        st.button("Next page", on_click=_turn, args=(1, pages), disabled=number + 1 == pages)
        first = number * ROWS + 1
        st.html(
            f'<p class="zp-change">{first:,} to {first + len(here) - 1:,} of {len(shown):,}</p>'
        )


def _row(one: Listed, chosen: Listed | None) -> dict[str, Any]:
    field = one.field
    planned = field.totals["moistures"][field.totals["planned"]] if field.totals else {}
    chance = planned.get("right_chance")
    return {
        " ": "▸" if chosen is not None and one.id == chosen.id else "",
        "Grower": field.grower,
        "Field": " / ".join(filter(None, (field.farm, field.name))),
        "Acres": round(field.acres, 1),
        "State": str(field.state),
        "Right": "" if chance is None else percent(chance),
        "Needs a look": one.looks[0].words if one.looks else "",
    }


def _pick(key: str, ids: Sequence[int]) -> None:
    rows = st.session_state[key]["selection"]["rows"]
    if rows:
        st.session_state["book_chosen"] = ids[rows[0]]


def _turn(by: int, pages: int) -> None:
    number = int(st.session_state.get("book_page", 0)) + by
    st.session_state["book_page"] = min(max(number, 0), pages - 1)


def _map(book: Book, stands: Standing, shown: Sequence[Listed], chosen: Listed | None) -> None:
    name = st.segmented_control(
        "Shades",
        list(SCALES),
        key="book_shade",
        persist_state="session",
        format_func=lambda choice: SCALES[choice].name,
        default="margin",
        required=True,
    )
    scale = SCALES[name or "margin"]
    shapes = outlines(book)
    svg = fields_svg(stands.listed, shapes, scale, shown={one.id for one in shown})
    about = f"Map of {len(stands.listed):,} fields, shaded by {scale.name.lower()}."
    with st.container(key="book-map"):
        # Two pictures: the map is sent once, and at each step the ring alone.
        st.html(figure(svg, scale, f"{about} The list says the same in words."))
        st.html(ring(chosen_svg(shapes, chosen.id if chosen else None)))
        clicks(shapes, partial(_pick_on_map, shapes, [one.id for one in shown]))


def _pick_on_map(shapes: Outlines, ids: Sequence[int]) -> None:
    """Choose the field that was clicked, if the list shows it: the list turns to it."""
    there = clicked_at(shapes, st.session_state[CLICKED])
    place = next((place for place, field_id in enumerate(ids) if field_id in there), None)
    if place is not None:
        _go_to(ids[place], place)


# ---- one field -----------------------------------------------------------------------------------


def _field(book: Book, shown: Sequence[Listed], chosen: Listed) -> None:
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
                    on_click=_go_to,
                    args=(shown[to].id, to) if there else (chosen.id, place),
                    disabled=not there,
                )
            st.button(
                "Open it in the pages",
                key="book-open",
                type="primary",
                on_click=_done,
                args=(Role.READS, lambda _: book_field.open_field(book, field)),
            )
        st.html(_about(chosen, place, len(shown)))
        _review(book, field)
    if book_field.turned():
        st.switch_page(Path(__file__).parent / "plan.py")


def _go_to(field_id: int, place: int) -> None:
    st.session_state["book_chosen"] = field_id
    st.session_state["book_page"] = place // ROWS


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
    looks = "".join(f"<li>{escape(look.words)}</li>" for look in chosen.looks)
    moved = (field.voided or {}).get("moved", ())
    lines = "".join(f"<li>{escape(str(line))}</li>" for line in moved[:_MOST_EVENTS])
    return (
        f'<header class="zp-head"><h2>{escape(field.path)}</h2><ul>'
        + "".join(f"<li>{escape(fact)}</li>" for fact in facts)
        + "</ul></header>"
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
            on_click=_done,
            args=(Role.REVIEWS, partial(_say, book, field)),
        )
    del state, note  # the callback reads them


def _say(book: Book, field: BookField, who: str) -> None:
    state, note = State(st.session_state["book_say"]), st.session_state["book_note"].strip()
    record_state(book, field, state, who=who, note=note, revision=field.revision)
    desk().message = f"{field.path} is {state} now."


def _history(events: Sequence[Event]) -> str:
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


def _done(role: Role, do: Callable[[str], None]) -> None:
    """Do something as who is at the page, where he may; keep what stops it for the page."""
    try:
        do(allowed(role).name)
    except ZoneplanError as error:
        st.session_state["book_refused"] = error


# ---- what leaves and comes back ------------------------------------------------------------------


def _hand_out(book: Book, stands: Standing) -> None:
    with st.expander("Hand out"):
        grower = st.selectbox("For", stands.growers, key="book_hand_grower")
        st.text_input(
            "Prepared by",
            key="book_prepared_by",
            persist_state="session",
            help="Who is to be asked, as the sheets say it.",
        )
        st.button(
            "Make his folder",
            key="book-hand-out",
            on_click=_done,
            args=(Role.EDITS, partial(_make, book)),
            disabled=not grower,
        )
        ready = st.session_state.get("book_zip")
        if ready and ready[0] == grower:
            st.download_button(
                f"Download {in_markdown(ready[1])}",
                ready[2],
                ready[1],
                "application/zip",
                key="book-take",
                on_click="ignore",
            )
            st.html(f'<p class="zp-change">{escape(ready[3])}</p>')


def _make(book: Book, who: str) -> None:
    grower: str = st.session_state["book_hand_grower"]
    by = st.session_state["book_prepared_by"].strip()
    (one,) = due(book, [grower])
    if not one.fields:
        raise BookError(
            f"{grower} has no plan that is up to date.\nPlan his fields first: zoneplan book plan."
        )
    with TemporaryDirectory(prefix="zoneplan-hand-out-") as room:
        today = date.today()  # noqa: DTZ011 where the app runs
        handed = hand_out_due(book, one, Path(room), who=who, prepared_by=by or who, dated=today)
        content = handed.archive.read_bytes()
    left = f" Left out: {len(one.left_out)}, to be planned first." if one.left_out else ""
    missing = f" No task set: {handed.missing}" if handed.missing else ""
    words = f"{len(one.fields)} fields, {len(content) / 1e6:.1f} MB.{left}{missing}"
    st.session_state["book_zip"] = (grower, handed.archive.name, content, words)


def _replies(book: Book) -> None:
    with st.expander("Landowners' answers"):
        turn = st.session_state.get("book_replies_turn", 0)
        st.file_uploader(
            "Files that their pages saved",
            type="json",
            accept_multiple_files=True,
            key=f"book_replies_{turn}",
            max_upload_size=1,
        )
        st.button(
            "Read them in",
            key="book-read",
            on_click=_done,
            args=(Role.REVIEWS, partial(_read, book, f"book_replies_{turn}")),
        )
        for words in st.session_state.get("book_replies_told", ()):
            st.html(f'<p class="zp-change">{escape(words)}</p>')


def _read(book: Book, key: str, who: str) -> None:
    messages = []
    for sent in st.session_state[key][:_MOST_REPLIES]:
        try:
            taken = take_reply(book, sent.getvalue(), sent.name, who=who)
            messages.append(f"{sent.name}: {taken.words}")
        except ZoneplanError as error:
            messages.append(str(error))
    st.session_state["book_replies_told"] = messages
    st.session_state["book_replies_turn"] = st.session_state.get("book_replies_turn", 0) + 1


if __name__ == "__main__":
    page()
