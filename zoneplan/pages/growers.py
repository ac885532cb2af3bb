"""The page of a book: all its fields in a list and on a map, and the way through them one by one.

What the list and the map show comes from the book's caches. What somebody does is asked for by role
each time, and written under his name.
"""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from zoneplan.book.database import Book
from zoneplan.book.fields import State
from zoneplan.errors import ZoneplanError
from zoneplan.pages.book import change, given
from zoneplan.pages.book.field import ROWS, go_to, history_of, panel
from zoneplan.pages.book.hand_over import hand_out_box, replies_box
from zoneplan.pages.book.map import (
    CLICKED,
    SCALES,
    chosen_svg,
    clicked_at,
    clicks,
    fields_svg,
    figure,
    ring,
)
from zoneplan.pages.book.standing import EVERYBODY, Listed, Outlines, Standing, outlines, standing
from zoneplan.pages.boxes import choice
from zoneplan.pages.fault import fault, show_fault
from zoneplan.pages.person import REFUSED
from zoneplan.pages.words import count_of, header
from zoneplan.say.quantities import percent

_SORTS = {"need": "what needs a look first", "name": "by grower, farm and field"}


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
    show_fault(REFUSED)
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
            panel(book, shown, chosen)
        with past:
            st.html(history_of(book, chosen))
    hand_out_box(book, stands)
    replies_box(book)
    change.block(book, stands)


# ---- the head and the filters --------------------------------------------------------------------


def _head(book: Book, stands: Standing) -> str:
    acres = sum(one.field.acres for one in stands.listed)
    counts = dict.fromkeys(State, 0)
    for one in stands.listed:
        counts[one.field.state] += 1
    facts = [
        f"season {stands.season}",
        count_of(len(stands.growers), "grower"),
        count_of(len(stands.listed), "field"),
        f"{acres:,.0f} acres",
        *(f"{count:,} {state}" for state, count in counts.items() if count),
    ]
    name = Path(book.address).stem if book.path else book.address.rpartition("/")[2]
    return header(name, facts)


def _filtered(stands: Standing) -> list[Listed]:
    """Ask which fields to list, and in what order."""
    with st.container(key="book-filters", horizontal=True):
        grower = st.selectbox(
            "Grower",
            [EVERYBODY, *stands.growers],
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
        if grower in (EVERYBODY, one.field.grower)
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
    names = {key: scale.name for key, scale in SCALES.items()}
    scale = SCALES[choice("Shades", names, "book_shade", "margin")]
    shapes = outlines(book, stands)
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
        go_to(ids[place], place)


if __name__ == "__main__":
    page()
