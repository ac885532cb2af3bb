"""What a plan was made from as plain values and files, and back: the sources of a saved plan."""

from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from zoneplan.demo import Demo, demo_fields
from zoneplan.errors import SavedError
from zoneplan.forms import Place, Reader, any_text, in_short, many, need, one_of, table
from zoneplan.plain_file import is_folder
from zoneplan.request import Form, asks
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import OLD_NAMES
from zoneplan.sources import File, Sources, Upload, is_raster_name, packed, safe
from zoneplan.store.request_json import open_table, plain_more

FILES = "files/"  # where the files lie that are named
_DEMO_PART = {"machine": "machine", "boundary": "boundary", "soils": "survey"}


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
    if role not in _DEMO_PART:
        return None
    return next(
        (
            demo_field
            for demo_field in demo_fields()
            if getattr(demo_field, _DEMO_PART[role]) == path
        ),
        None,
    )


def _safe_name(name: str) -> str:
    """What is left of a file's name on any disk, with its ending."""
    path = PurePosixPath(name.replace("\\", "/"))
    return f"{safe(path.stem)}.{safe(path.suffix)}".strip(" .")
