"""Sources as plain JSON with their files beside it, and back again."""

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path, PurePosixPath
from typing import Any

from zoneplan.demo import Demo, demo_fields
from zoneplan.forms import Place, Reader, any_text, many, need, one_of, said, table
from zoneplan.request import Form, asks
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.sources import File, Sources, Upload, packed, safe
from zoneplan.store.request_json import open_table, plain_more

FILES = "files/"  # where the files lie that are named
_DEMO_PART = {"machine": "machine", "boundary": "boundary", "soils": "survey"}


def sources_document(sources: Sources) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Lay sources out as plain values, and every file by the name that stands for it.

    >>> told, files = sources_document(Sources(Upload("ours.toml", b"rows = 16")))
    >>> told["machine"], files
    ({'name': 'ours.toml', 'file': 'files/01 ours.toml'}, {'files/01 ours.toml': b'rows = 16'})
    """
    files: dict[str, bytes] = {}

    def plain(role: str, value: File | str) -> Any:
        if isinstance(value, str):
            return value
        if isinstance(value, Path):
            if demo := _demo(role, value):
                return {"demo": demo.name}
            value = packed(value)
        path = f"{FILES}{len(files) + 1:02} {_kept_name(value.name)}"
        files[path] = value.content
        return {"name": value.name, "file": path}

    document: dict[str, Any] = {}
    for it in fields(Sources):
        value = getattr(sources, it.name)
        if it.name == "more" or value is None:
            continue
        several = isinstance(value, tuple)
        document[it.name] = (
            [plain(it.name, one) for one in value] if several else plain(it.name, value)
        )
    return document | plain_more(sources), files


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
                f"{said(path)} is missing, which holds {said(read.get('name'))}."
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

    def read(found: Any, place: Place) -> Any:
        is_demo = isinstance(found, dict) and "demo" in found and role in _DEMO_PART
        return (demo if is_demo else upload)(found, place)

    return read


def _named_or(file: Reader) -> Reader:
    name = one_of("machine", SYSTEMS)
    return lambda found, place: (file if isinstance(found, dict) else name)(found, place)


def _demo(role: str, path: Path) -> Demo | None:
    if role not in _DEMO_PART:
        return None
    return next((it for it in demo_fields() if getattr(it, _DEMO_PART[role]) == path), None)


def _kept_name(name: str) -> str:
    """What is left of a file's name on any disk, with its ending."""
    path = PurePosixPath(name.replace("\\", "/"))
    return f"{safe(path.stem)}.{safe(path.suffix)}".strip(" .")
