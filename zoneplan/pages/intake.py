"""Files as they are dropped on the start page: each is recognised and put where it belongs."""

import io
import tempfile
import zipfile
from collections import defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath

import streamlit as st

from zoneplan.field.recognise import FileKind, Recognised, recognise
from zoneplan.field.unpack import DAMAGED
from zoneplan.pages.answers import remembered
from zoneplan.pages.side_boxes import box_key
from zoneplan.pages.state import MACHINE_FILE, OWN_FIELD, desk, without
from zoneplan.sources import Upload, on_disk

SEVERAL = ("soils", "rules", "checks")  # roles that take more than one file
PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".qpj", ".cst")
_AREA_OF_INTEREST = "aoi_a_"  # how a survey's download names the area that was asked for
_NO_DATE = (1980, 1, 1, 0, 0, 0)
_MOST_AREA_BYTES = 20_000_000


def recognised(upload: Upload) -> Recognised:
    """Tell what a file is; it is looked at once."""

    def look() -> Recognised:
        with tempfile.TemporaryDirectory() as folder:
            return recognise(on_disk(upload, Path(folder)))

    return remembered(("recognised", upload), look, most=40)


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
