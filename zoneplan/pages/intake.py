"""Files as they come: dropped on the start page, asked of public services, or in a saved plan."""

import io
import zipfile
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

import streamlit as st

from zoneplan.errors import LayerError, ZoneplanError
from zoneplan.field.recognise import FileKind, Recognised, recognise
from zoneplan.field.unpack import DAMAGED
from zoneplan.harmless import escape
from zoneplan.pages.answers import current, remembered
from zoneplan.pages.boxes import as_upload, box_key
from zoneplan.pages.fault import fault
from zoneplan.pages.state import MACHINE_FILE, OWN_FIELD, desk, put, without
from zoneplan.pages.words import bullets
from zoneplan.plain_file import scratch
from zoneplan.public import disclosure, heights_for, survey_for
from zoneplan.request import Request
from zoneplan.run import read_outline
from zoneplan.sources import Sources, Upload, on_disk
from zoneplan.store.archive import MOST_MB, opened
from zoneplan.store.changed_since_saved import changed_since_saved

SEVERAL = ("soils", "rules", "checks")  # roles that take more than one file
PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".qpj", ".cst")
SAVED = "a saved plan"
SURVEY_BUTTON = "Get the public soil survey for this outline"
HEIGHTS_BUTTON = "Get public heights for this outline"
_AREA_OF_INTEREST = "aoi_a_"  # how a survey's download names the area that was asked for
_NO_DATE = (1980, 1, 1, 0, 0, 0)
_MOST_AREA_BYTES = 20_000_000


def recognised(upload: Upload) -> Recognised:
    """Tell what a file is; it is looked at once."""

    def look() -> Recognised:
        with scratch() as room:
            return recognise(on_disk(upload, room))

    try:
        return remembered(("recognised", upload), look, most=40)
    except LayerError as error:  # the disk is full: that is said, and not remembered
        return Recognised(FileKind.UNKNOWN, fault=str(error))


def bundled(uploads: Iterable[Upload]) -> list[Upload]:
    """Put the parts of a shapefile that were sent one by one into one zip, as a folder has them."""
    parts: dict[str, list[Upload]] = defaultdict(list)
    others: list[Upload] = []
    for upload in uploads:
        path = PurePosixPath(upload.name)
        if path.suffix.lower() in PARTS:
            parts[path.stem].append(upload)
        else:
            others.append(upload)
    return [*(_zip(stem, files) for stem, files in parts.items()), *others]


def take(uploads: Sequence[Upload]) -> list[Upload]:
    """Put files where they belong; give those that are not clear, or unknown, and saved plans.

    Outlines are not clear where a boundary is there: they may be another field's, or zones.
    """
    work, left = desk(), []
    for upload in bundled(uploads):
        role = recognised(upload).role
        if role is None or (role == "boundary" and work.files.get("boundary")):
            left.append(upload)
        else:
            place(upload, role)
    st.session_state["field"] = OWN_FIELD
    return left


def place(upload: Upload, role: str) -> None:
    """Lay a file on the desk under a role, in place of the one that was there if it takes one."""
    work = desk()
    if role == "rules":
        work.rules = (*work.rules, upload)
        return
    if role == "boundary":
        _forget_the_outline()
    before = work.files.get(role, ()) if role in SEVERAL else ()
    work.files[role] = (*(one for one in before if one.name != upload.name), upload)
    st.session_state.pop(box_key(role), None)
    if role == "machine":
        st.session_state["machine"] = MACHINE_FILE


def remove(role: str, number: int) -> None:
    """Take a file away."""
    work = desk()
    files = work.rules if role == "rules" else work.files.get(role, ())
    rest = without(files, number)
    if role == "rules":
        work.rules = rest
        return
    if role == "boundary":
        _forget_the_outline()
    work.files[role] = rest
    if role == "machine":
        del st.session_state["machine"]


def _forget_the_outline() -> None:
    """Let go what was said of the outline before."""
    if desk().files.get("boundary"):
        st.session_state["crs"] = ""
    st.session_state["pick"] = ""
    st.session_state.pop("choosing", None)


def move_up(role: str, number: int) -> None:
    """Let a layer come before the one above it."""
    files = [*desk().files[role]]
    files[number - 1 : number + 1] = files[number - 1 : number + 1][::-1]
    desk().files[role] = tuple(files)


def area_of_interest(upload: Upload) -> Upload | None:
    """The outline that a survey's download was asked for, where it holds one."""
    if recognised(upload).kind is not FileKind.SURVEY:
        return None
    try:
        with zipfile.ZipFile(io.BytesIO(upload.content)) as archive:
            parts = [
                member
                for member in archive.infolist()
                if PurePosixPath(member.filename).name.lower().startswith(_AREA_OF_INTEREST)
                and PurePosixPath(member.filename).suffix.lower() in PARTS
            ]
            if not parts or sum(member.file_size for member in parts) > _MOST_AREA_BYTES:
                return None
            files = [
                Upload(PurePosixPath(member.filename).name, archive.read(member))
                for member in parts
            ]
    except DAMAGED:
        return None
    return _zip("area of interest", files)


def _zip(stem: str, files: Sequence[Upload]) -> Upload:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for file in files:
            name = PurePosixPath(file.name).name
            archive.writestr(zipfile.ZipInfo(name, _NO_DATE), file.content, zipfile.ZIP_DEFLATED)
    return Upload(f"{stem}.zip", content.getvalue())


# ---- of public services --------------------------------------------------------------------------


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
                _get_public("soils", survey_for, files, values)
            if files.get("elevation"):
                return
            st.caption(disclosure(survey=False, heights=True))
            if st.button(HEIGHTS_BUTTON, key=f"get-heights{place}"):
                _get_public("elevation", heights_for, files, values)
        except ZoneplanError as error:
            st.html(fault(error))


def _get_public(
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


# ---- in a saved plan -----------------------------------------------------------------------------


def saved_plan_box(place: str) -> None:
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
        on_change=_open_sent,
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


def _open_sent(key: str, place: str) -> None:
    sent = st.session_state[key]
    desk().refused = None
    if sent is not None:
        open_saved(as_upload(sent), place)
