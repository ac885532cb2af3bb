"""The last catch above every page: what nobody foresaw is told as a fault of ours, and kept."""

import logging

import streamlit as st

from zoneplan.fault_report import write_report
from zoneplan.harmless import escape

_LOG = logging.getLogger(__name__)


def last_catch(error: Exception) -> bool:
    """Show that zoneplan is at fault, and keep a report; the work stays as it is.

    Streamlit calls it in place of its own box with the way through the program.
    """
    kept = write_report(error, "the app")
    _LOG.error("A fault of zoneplan: %s. Report: %s", type(error).__name__, kept or "none")
    st.html(our_fault(error, str(kept) if kept else None))
    st.toast("A fault of zoneplan: see above.", icon=":material/error:")  # the page may be far down
    return True


def our_fault(error: Exception, kept: str | None) -> str:
    """Say it in the page's words."""
    report = (
        f"A report is kept on the machine that runs zoneplan, in {kept}: send it to those who gave "
        "you zoneplan, and say what you pressed last."
        if kept
        else "No folder takes a report: write down what you pressed last."
    )
    return (
        '<div class="zp-fault" role="alert">'
        f"<p>A fault of zoneplan, not yours: {escape(type(error).__name__)}.</p>"
        '<p class="rest">Nothing of your work is lost. Reload the page, and “Undo” at the side '
        f"takes the last step back.\n{escape(report)}</p></div>"
    )
