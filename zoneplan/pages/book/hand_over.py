"""What leaves the book and comes back: a grower's folder, and the landowners' answers."""

from functools import partial

import streamlit as st

from zoneplan.book.database import Book
from zoneplan.book.hand_out import By, due, hand_out_due
from zoneplan.book.replies import take_reply
from zoneplan.errors import BookError, ZoneplanError
from zoneplan.harmless import escape, in_markdown
from zoneplan.pages.book.standing import Standing
from zoneplan.pages.person import Role, do_as
from zoneplan.pages.state import today
from zoneplan.plain_file import scratch

_MOST_REPLIES = 200


def hand_out_box(book: Book, stands: Standing) -> None:
    """Make a grower's folder, and offer it."""
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
            on_click=do_as,
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
    with scratch(BookError) as room:
        handed = hand_out_due(book, one, room, By(who, by, dated=today()))
        content = handed.archive.read_bytes()
    count = len(one.fields) - len(handed.left_out)
    sentences = [f"{count} fields, {len(content) / 1e6:.1f} MB."]
    if one.left_out:
        sentences.append(f"Left out: {len(one.left_out)}, to be planned first.")
    for left in handed.left_out:
        faults = "; ".join(left.faults)
        sentences.append(f"Left out, for a fault: {left.field}, {left.farm} ({faults}).")
        if left.report:
            where = f"on the machine that runs zoneplan, in {left.report}"
            sentences.append(f"A report is kept {where}.")
    if handed.overtaken:
        names = ", ".join(field for _, field in handed.overtaken)
        sentences.append(f"Planned again meanwhile, and handed out as it was: {names}.")
    if handed.missing:
        sentences.append(f"No task set: {handed.missing}")
    st.session_state["book_zip"] = (grower, handed.archive.name, content, " ".join(sentences))


def replies_box(book: Book) -> None:
    """Take in the answers that landowners sent back."""
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
            on_click=do_as,
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
