"""Buttons that ask public services about the outline, and say first what that tells them."""

from collections.abc import Callable, Mapping
from typing import Any

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.pages.fault import fault
from zoneplan.pages.state import desk
from zoneplan.public import disclosure, heights_for, survey_for
from zoneplan.request import Request
from zoneplan.run import read_outline
from zoneplan.sources import Sources, Upload

SURVEY_BUTTON = "Get the public soil survey for this outline"
HEIGHTS_BUTTON = "Get public heights for this outline"


def public_data(files: Mapping[str, Any], values: Mapping[str, Any], place: str = "") -> None:
    """Draw the buttons, once there is an outline to ask about.

    What comes is kept like a file that was sent, and can be let go as one. `place` tells the
    buttons of two places apart.
    """
    drawn = tuple(one for one in desk().drawn if one.what == "boundary")
    if not (files.get("boundary") or drawn):
        return
    with st.expander("Public data of the United States"):
        try:
            st.caption(disclosure(survey=True, heights=False) + " It happens only when you press:")
            if st.button(SURVEY_BUTTON, key=f"get-survey{place}"):
                _get("soils", survey_for, files, values)
            if files.get("elevation"):
                return
            st.caption(disclosure(survey=False, heights=True))
            if st.button(HEIGHTS_BUTTON, key=f"get-heights{place}"):
                _get("elevation", heights_for, files, values)
        except ZoneplanError as error:
            st.html(fault(error))


def _get(
    role: str,
    ask: Callable[..., Upload],
    files: Mapping[str, Any],
    values: Mapping[str, Any],
) -> None:
    """Ask, and lay what comes with the files of its role."""
    work = desk()
    drawn = tuple(one for one in work.drawn if one.what == "boundary")
    request = Request(pick=values.get("pick"), crs=values.get("crs"), drawn=drawn)
    with st.spinner("Asking; it may take a minute ..."):
        upload = ask(read_outline(request, Sources("springs", boundary=files.get("boundary"))))
    before = work.files.get(role, ())
    others = tuple(one for one in before if one.name != upload.name)
    work.files[role] = (upload,) if role == "elevation" else (*others, upload)
    work.message = f"Here now: {upload.name}."
    st.rerun()
