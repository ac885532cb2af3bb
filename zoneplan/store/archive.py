"""The saved plan: one zip of a request, its files, and the plan as it was.

It holds plain JSON and the files as they came, for a person to look into; nothing in it runs.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path, PurePosixPath
from typing import Any
from zipfile import ZipFile, ZipInfo

from zoneplan import release
from zoneplan.ask import Form, asks
from zoneplan.demo import Demo, demo_fields
from zoneplan.errors import SavedError, in_short, listed, quoted
from zoneplan.export.document import in_newest_form, plan_bytes
from zoneplan.export.load_plan import WholePlan, whole_plan_bytes
from zoneplan.export.schema import UnknownFormError, brought_up, strict_json
from zoneplan.export.zone_files import zipped
from zoneplan.field.unpack import DAMAGED, is_clutter, unkind
from zoneplan.forms import Place, Reader, any_text, many, need, one_of, table
from zoneplan.plain_file import is_folder
from zoneplan.plan.model import Plan
from zoneplan.request import Request
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import OLD_NAMES
from zoneplan.run import Job
from zoneplan.sources import File, Sources, Upload, is_raster_name, packed, provenance, safe
from zoneplan.store.changed_since_saved import unreadable
from zoneplan.store.request_json import REQUEST, in_si, open_table, plain_more, request_document

FILES = "files/"  # where the files lie that are named
WORK, PLAN, WHOLE = "work.json", "plan.json", "whole.json"
SCHEMA = "zoneplan-work/2"
_LIFTS = (in_si,)  # from each earlier form to the next
MOST_MB = 1000  # unpacked: all of it is held in memory
_MOST_FILES = 1000
_MOST_TEXT_MB = 20  # of what we write ourselves
_MB = 10**6
_DEMO_PART = {"machine": "machine", "boundary": "boundary", "soils": "survey"}


@dataclass(frozen=True)
class Opened:
    """A saved plan that was opened."""

    job: Job
    field: str  # its name
    document: Mapping[str, Any]  # the plan as it was, as plan.json has it


def saved_name(plan: Plan) -> str:
    """What to call the file of a saved plan."""
    return f"{safe(plan.field.name) or 'field'} (saved plan).zip"


def saved(job: Job, plan: Plan) -> bytes:
    """Save a request with everything it needs, and the plan that came of it.

    The same request, files and plan give the same bytes.
    """
    request = request_document(job.request)
    sources, files = sources_document(job.sources)
    work = {
        "schema": SCHEMA,
        "zoneplan": release(),
        "field": plan.field.name,
        "request": request,
        "sources": sources,
    }
    text = json.dumps(work, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    whole = whole_plan_bytes(WholePlan(plan, request, provenance(job.sources)))
    return zipped({WORK: text.encode("utf-8"), PLAN: plan_bytes(plan), WHOLE: whole, **files})


def opened(content: bytes, name: str) -> Opened:
    """Open a saved plan.

    Parameters
    ----------
    content : bytes
        The zip.
    name : str
        What its sender calls it.

    Raises
    ------
    SavedError
        When it is none, is damaged, was made by a newer zoneplan, or holds what no request
        can be; faults are told all at once.
    """
    files = _unpacked(content, name)
    if WORK not in files:
        raise SavedError(_no_work(files, name))
    faults: list[str] = []
    work, document = _json(WORK, files, faults), _json(PLAN, files, faults)
    job = None
    if work is not None:
        try:
            work = brought_up(work, SCHEMA, _LIFTS)
        except UnknownFormError as error:
            raise SavedError(
                f"{name} cannot be opened: {error}.\n"
                "Or open another zip, that this zoneplan saved with “Save the plan”."
            ) from error
        job = _job(work, files, faults)
        if not isinstance(work.get("field"), str):
            faults.append("field: there is no name.")
    if document is not None:
        try:
            document = in_newest_form(document)
        except UnknownFormError as error:
            faults.append(f"{PLAN} cannot be read: {error}.")
        else:
            faults += (f"{PLAN}, {fault}" for fault in unreadable(document))
    if faults:
        raise SavedError(
            listed(name, faults)
            + "\nNothing was opened. Open another copy, or put it right by hand."
        )
    assert job is not None
    assert work is not None
    assert document is not None
    return Opened(job, work["field"], document)


def _job(work: Mapping[str, Any], files: Mapping[str, bytes], faults: list[str]) -> Job | None:
    """Read the request and its sources; None, and all that is wrong, where they are none."""
    own_faults: list[str] = []
    request: Request | None = REQUEST(work.get("request"), Place(own_faults))
    sources: Sources | None = sources_form(files)(work.get("sources"), Place(own_faults))
    if request is not None and sources is not None:
        for what, source in (("boundary", sources.boundary), ("soil layer", sources.soils)):
            if not source and not request.outlines(what.split()[0]):
                own_faults.append(f"there is no {what}, neither a file nor drawn.")
    faults += own_faults
    return None if own_faults or request is None or sources is None else Job(request, sources)


def _unpacked(content: bytes, name: str) -> dict[str, bytes]:
    """Every file of a zip, by its name beside work.json."""
    try:
        with ZipFile(BytesIO(content)) as archive:
            members = [member for member in archive.infolist() if not is_clutter(member)]
            _refuse_unkind(members, name, len(content))
            files = {member.filename: archive.read(member) for member in members}
    except RuntimeError as error:  # so NotImplementedError is too: a way of packing we do not know
        raise SavedError(
            f"{name} cannot be unpacked: {quoted(error)}.\n"
            "It is locked, or packed in another way than we pack. Zip its files again, plainly."
        ) from error
    except (*DAMAGED, OSError) as error:
        raise SavedError(
            f"{name} cannot be unpacked: {quoted(error)}.\n"
            "It is damaged, or no saved plan at all. Save the plan again, or copy it again from "
            "where it is whole."
        ) from error
    return _beside_work(files)


def _refuse_unkind(members: Sequence[ZipInfo], name: str, packed_bytes: int) -> None:
    """Refuse a zip that is far too big, names a file twice, or one outside itself."""
    size = sum(member.file_size for member in members)
    if len(members) > _MOST_FILES or size > MOST_MB * _MB:
        raise SavedError(
            f"{name} holds {len(members):,} files of {size / _MB:,.0f} MB together.\n"
            f"We open {_MOST_FILES:,} files and {MOST_MB:,} MB at the most.\n"
            "No saved plan is that big: ask whoever made it for another."
        )
    if faults := unkind(members, packed_bytes):
        raise SavedError(
            listed(name, faults) + "\nNo honest zip does that, so nothing of it was opened. Ask "
            "whoever made it for another."
        )


def _beside_work(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """What lies in the folder of work.json: who zips a folder again packs the folder too."""
    (folder, *_) = [
        file.removesuffix(WORK) for file in files if PurePosixPath(file).name == WORK
    ] or [""]
    return {
        name.removeprefix(folder): content
        for name, content in files.items()
        if name.startswith(folder)
    }


def _no_work(files: Mapping[str, bytes], name: str) -> str:
    if any(PurePosixPath(file).name == PLAN for file in files):
        return (
            f"{name} holds a finished plan and not what it was made from ({WORK}).\n"
            "Its sheets and files can be used as they are, but not worked on.\n"
            "Open the zip that was saved with “Save the plan”."
        )
    return (
        f"{name} is no saved plan: there is no {WORK} in it.\n"
        "Open a zip that was saved with “Save the plan”. A zip of a boundary or of soil belongs "
        "under “files of my own”."
    )


def _json(name: str, files: Mapping[str, bytes], faults: list[str]) -> dict[str, Any] | None:
    """Read one of our own files, or tell what is wrong with it."""
    content = files.get(name)
    if content is None:
        faults.append(f"{name} is missing.")
    elif len(content) > _MOST_TEXT_MB * _MB:
        faults.append(f"{name} is {len(content) / _MB:,.0f} MB, more than any that we write.")
    else:
        try:
            return strict_json(content)
        except ValueError as error:
            faults.append(f"{name} is damaged: {error}.")
    return None


# ---- sources as plain values and files, and back -------------------------------------------


def sources_document(sources: Sources) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Lay sources out as plain values, and every file by the name that stands for it.

    >>> document, files = sources_document(Sources(Upload("ours.toml", b"rows = 16")))
    >>> document["machine"], files
    ({'name': 'ours.toml', 'file': 'files/01 ours.toml'}, {'files/01 ours.toml': b'rows = 16'})

    Raises
    ------
    LayerError, SavedError
        Where a file cannot be read, or would not be opened as it was.
    """
    files: dict[str, bytes] = {}

    def plain(role: str, value: File | str) -> list[Any]:
        if isinstance(value, str):
            return [value]
        if isinstance(value, Path) and (demo := _demo(role, value)):
            return [{"demo": demo.name}]
        return [
            entry(upload) for upload in (packed(value) if isinstance(value, Path) else (value,))
        ]

    def entry(upload: Upload) -> dict[str, str]:
        path = f"{FILES}{len(files) + 1:02} {_safe_name(upload.name)}"
        files[path] = upload.content
        return {"name": upload.name, "file": path}

    _refuse_several_rasters(sources)
    document: dict[str, Any] = {}
    for role, ask in asks(Sources):
        value = getattr(sources, role)
        if ask.form is Form.FILES:
            document[role] = [part for file in value for part in plain(role, file)]
        elif value is not None:
            (document[role],) = plain(role, value)
    return document | plain_more(sources), files


def _refuse_several_rasters(sources: Sources) -> None:
    """Rasters that are sent together are one layer, and would not be opened as they were."""
    layers = [
        file
        for file in sources.soils
        if isinstance(file, Path)
        and (is_raster_name(file.name) or any(is_raster_name(path.name) for path in _inside(file)))
    ]
    if len(layers) > 1:
        raise SavedError(
            f"{' and '.join(layer.name for layer in layers)} are rasters in several layers, "
            "and a saved plan takes rasters as one.\nOpened again they would give another plan.\n"
            "Put them into one folder if they are one layer, or save nothing."
        )


def _inside(path: Path) -> list[Path]:
    return [*path.iterdir()] if is_folder(path) else []


def sources_form(files: Mapping[str, bytes]) -> Reader:
    """Make the reader of sources, by the fields of the noun; `files` are there by name."""
    readers: dict[str, Any] = {}
    for role, ask in asks(Sources):
        one = _file(role, files)
        readers[role] = many(one) if ask.form is Form.FILES else one
    readers["machine"] = need(_named_or(readers["machine"]), "Name a system, or give a file.")
    return open_table(readers, Sources)


def _file(role: str, files: Mapping[str, bytes]) -> Reader:
    """Make the reader of one file: it lies beside, or is a demo field's."""

    def check(read: Mapping[str, Any], place: Place) -> None:
        path = read.get("file")
        if path is not None and not (path in files and path.startswith(FILES)):
            place.key("file").fault(
                f"{in_short(path)} is missing, which holds {in_short(read.get('name'))}."
            )

    upload = table(
        {
            "name": need(any_text, "Say what it was called."),
            "file": need(any_text, f'Say where it lies: "{FILES}..."'),
        },
        lambda name, file: Upload(name, files[file]),
        check,
    )
    demos = {demo.name: demo for demo in demo_fields()}
    demo = table(
        {"demo": need(one_of("demo field", demos), "Say which.")},
        lambda demo: getattr(demos[demo], _DEMO_PART[role]),
    )

    def read(value: Any, place: Place) -> Any:
        is_demo = isinstance(value, dict) and "demo" in value and role in _DEMO_PART
        return (demo if is_demo else upload)(value, place)

    return read


def _named_or(file: Reader) -> Reader:
    one = one_of("machine", (*SYSTEMS, *OLD_NAMES))

    def read(value: Any, place: Place) -> Any:
        if isinstance(value, dict):
            return file(value, place)
        name = one(value, place)
        return OLD_NAMES.get(name, name) if name else None

    return read


def _demo(role: str, path: Path) -> Demo | None:
    """Find the demo field that has a file in a role."""
    part = _DEMO_PART.get(role)
    here = (demo for demo in demo_fields() if part and getattr(demo, part) == path)
    return next(here, None)


def _safe_name(name: str) -> str:
    """What is left of a file's name on any disk, with its ending."""
    path = PurePosixPath(name.replace("\\", "/"))
    return f"{safe(path.stem)}.{safe(path.suffix)}".strip(" .")
