"""Open a saved plan: choose it, lay it out, and say whether its numbers still stand."""

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages.answers import current
from zoneplan.pages.fault import fault
from zoneplan.pages.state import desk, put
from zoneplan.pages.words import bullets
from zoneplan.sources import Upload
from zoneplan.store.archive import MOST_MB, opened
from zoneplan.store.changed_since_saved import changed_since_saved

SAVED = "a saved plan"


def chooser(place: str) -> None:
    """A chooser for a saved plan, which opens it.

    Parameters
    ----------
    place : str
        Where it is: there may be one in the side and one on a page.
    """
    key = f"saved-{place}-{desk().fresh}"  # another once the desk was laid out anew
    st.file_uploader(
        "Open a saved plan",
        key=key,
        max_upload_size=MOST_MB,
        on_change=_open,
        args=(key, place),
    )
    refused = desk().refused
    if refused and refused[0] == place:
        st.html(fault(refused[1]))


def opened_notice() -> str:
    """Say what was opened and whether its numbers are what they were, while its job stands."""
    work, run = desk(), current()
    if work.opened is None or run is None:
        return ""
    if work.now != work.opened.job:
        work.opened = None
        return ""
    name, lines = escape(work.opened.field), changed_since_saved(work.opened.document, run.plan)
    if not lines:
        return f'<p class="zp-said" role="status">Opened: {name}, with the numbers it had.</p>'
    return (
        f'<section class="zp-since" role="alert"><h2>Opened: {name}, but not all of its numbers '
        "are what they were</h2><p>This zoneplan calculates differently from the one that saved "
        "it. Print the sheets again, and put no older file into the cab.</p>"
        f"<details><summary>What changed</summary>{bullets(lines)}</details></section>"
    )


def open_saved(upload: Upload, place: str) -> None:
    """Lay out what a saved plan holds, or keep why it cannot be opened."""
    work = desk()
    work.refused = None
    try:
        work.opened = opened(upload.content, upload.name)
    except ZoneplanError as error:
        work.refused = (place, str(error))
    else:
        put(work.opened.job)


def _open(key: str, place: str) -> None:
    sent = st.session_state[key]
    desk().refused = None
    if sent is not None:
        open_saved(Upload(sent.name, sent.getvalue()), place)
