"""The book that the app was started with: it is opened once, for all who come.

A book's libraries take a second to load, and most people have none: they are loaded with it.
"""

import os
from typing import TYPE_CHECKING

import streamlit as st

if TYPE_CHECKING:
    from zoneplan.book.database import Book

BOOK = "ZONEPLAN_BOOK"  # the variable that names it


def given() -> "Book | None":
    """The book; None where the app was started without one."""
    return _opened(os.environ[BOOK]) if os.environ.get(BOOK) else None


@st.cache_resource(show_spinner=False)
def _opened(address: str) -> "Book":
    from zoneplan.book.opening import open_book

    return open_book(address)
