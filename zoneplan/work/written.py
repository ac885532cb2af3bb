"""A question as plain JSON and the files it names, and back again.

JSON that comes in may be from anybody's hand: every fault is told, and where it is.
"""

import datetime
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from pathlib import PurePosixPath
from typing import Any

import shapely

from zoneplan import forms
from zoneplan.demo import demo_fields
from zoneplan.field.layer import COLUMNS
from zoneplan.forms import (
    Check,
    Key,
    Place,
    Reader,
    any_text,
    many,
    need,
    number,
    one_of,
    row,
    said,
    table,
    whole,
)
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rules.rule import TILLAGES
from zoneplan.soil.water import WETNESSES
from zoneplan.work.asked import (
    DRAWN,
    MOST_PASSES,
    OWN_MACHINE,
    RASTER_UNITS,
    SIDES,
    Asked,
    Drawn,
    Ground,
    Upload,
)
from zoneplan.work.ground import safe
from zoneplan.zones.edit import Edit, Merge, Override, Rename, Split

FILES = "files/"  # where the files lie that a question names
_MOST = 2**53 - 1  # that a box for a number takes
_MOST_MORE = 100  # keys of a newer zoneplan in one table,
_MOST_LETTERS = 100_000  # and what they say
_MOST_OUTLINE = 1_000_000  # letters of one that was drawn


def as_json(asked: Asked) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Write a question as plain values, and every file in it by the name that stands for it.

    What is not known is left out.

    >>> told, files = as_json(Asked("creek", Upload("ours.toml", b"rows = 16"), "tilled", 5, 2, 30))
    >>> told["machine"], files
    ({'name': 'ours.toml', 'file': 'files/01 ours.toml'}, {'files/01 ours.toml': b'rows = 16'})
    """
    files: dict[str, bytes] = {}

    def plain(value: Any) -> Any:
        if isinstance(value, Upload):
            path = f"{FILES}{len(files) + 1:02} {_kept_name(value.name)}"
            files[path] = value.content
            return {"name": value.name, "file": path}
        if isinstance(value, Edit):
            return {"does": type(value).__name__.lower()} | parts(value)
        if isinstance(value, Asked | Ground | Drawn):
            return parts(value)
        if isinstance(value, tuple):
            return [plain(it) for it in value]
        return value.isoformat() if isinstance(value, datetime.date) else value

    def parts(value: Any) -> dict[str, Any]:
        held = {it.name: getattr(value, it.name) for it in fields(value) if it.name != "more"}
        told = {name: plain(it) for name, it in held.items() if it is not None}
        return told | {name: json.loads(it) for name, it in value.more}

    return parts(asked), files


def read_asked(told: Any, files: Mapping[str, bytes], faults: list[str]) -> Asked | None:
    """Read a question as JSON has it; None, and all that is wrong with it, where it is none.

    Parameters
    ----------
    told : Any
        What should be a question.
    files : mapping of str to bytes
        The files that there are, by name.
    faults : list of str
        Where to tell what is wrong.
    """
    found: list[str] = []
    asked: Asked | None = _question(files)(told, Place(found))
    faults += found
    return asked


def _kept_name(name: str) -> str:
    """What is left of a file's name on any disk, with its ending."""
    path = PurePosixPath(name.replace("\\", "/"))
    return f"{safe(path.stem)}.{safe(path.suffix)}".strip(" .")


# ---- what does not go together, though each part is right ---------------------------------


def _check_question(read: Mapping[str, Any], place: Place) -> None:
    if place.faults:
        return
    sketched = {it.what for it in read.get("drawn", ())}
    ground = read["ground"]
    if isinstance(ground, Ground):
        for what, given in (("boundary", ground.boundary), ("soil layer", ground.soils)):
            if not given and what.split()[0] not in sketched:
                place.key("ground").fault(f"there is no {what}, neither a file nor drawn.")
        if read["machine"] == OWN_MACHINE:
            place.key("machine").fault(f"{OWN_MACHINE} is for demo fields.")


def _check_override(read: Mapping[str, Any], place: Place) -> None:
    value, decides = read.get("value"), read.get("decides")
    if value is not None and decides and isinstance(value, str) != (decides == "closing"):
        wanted = "a notch's name" if decides == "closing" else "a load in newtons"
        place.key("value").fault(f"{said(value)} is not {wanted}.")


def _check_sides(sides: Sequence[str | None], place: Place) -> None:
    if len(set(sides)) < len(sides):
        place.fault("one of them stands twice.")


# ---- the forms -----------------------------------------------------------------------------


def _question(files: Mapping[str, bytes]) -> Reader:
    upload = _upload(files)
    ground = _open_table(
        {
            **dict.fromkeys(("boundary", "samples", "elevation", "tracks", "drawn"), upload),
            "soils": many(upload),
            "pick": any_text,
            "crs": any_text,
            "columns": many(row("a column and its name", one_of("column", COLUMNS), any_text)),
            "raster_unit": one_of("unit of a raster", RASTER_UNITS),
        },
        Ground,
    )
    demos = one_of("demo field", [it.name for it in demo_fields()])
    machine = one_of("machine", [*SYSTEMS, OWN_MACHINE])
    return _open_table(
        {  # numbers are bounded as the boxes bound them
            "ground": need(_table_or(ground, demos), "Say which demo field, or give its files."),
            "machine": need(_table_or(upload, machine), "Name a system, or give a file."),
            "tillage": need(one_of("tillage", TILLAGES), 'Write "tilled", if it is.'),
            "speed_mph": number(1, 15),
            "depth_in": number(0.5, 4),
            "residue_pct": need(whole(0, 100), "Write 0 where there is none."),
            "headland": whole(0, MOST_PASSES),
            "sides": many(one_of("side", SIDES), check=_check_sides),
            "drawn": many(_DRAWN),
            "least_acres": number(0, _MOST),
            "least_width_ft": number(0, _MOST),
            "most_zones": whole(1, _MOST),
            "rules": many(upload),
            "edits": many(forms.by_kind("does", "change", _EDITS)),
        },
        lambda **read: Asked(**({"speed_mph": None, "depth_in": None} | read)),
        _check_question,
    )


def _upload(files: Mapping[str, bytes]) -> Reader:
    def check(read: Mapping[str, Any], place: Place) -> None:
        path = read.get("file")
        if path is not None and not (path in files and path.startswith(FILES)):
            place.key("file").fault(
                f"{said(path)} is missing, which holds {said(read.get('name'))}."
            )

    return table(
        {
            "name": need(any_text, "Say what it was called."),
            "file": need(any_text, f'Say where it lies: "{FILES}..."'),
        },
        lambda name, file: Upload(name, files[file]),
        check,
    )


def _open_table(
    keys: Mapping[str, Key | Reader],
    make: Callable[..., Any],
    check: Check | None = None,
) -> Reader:
    """Make a reader of a table that a newer zoneplan may have put more keys into: `more`."""
    read_known = table(keys, dict, check, others=True)

    def read(found: Any, place: Place) -> Any:
        parts, faults = read_known(found, place), len(place.faults)
        if parts is None:
            return None
        more = {name: json.dumps(it) for name, it in found.items() if name not in keys}
        if len(more) > _MOST_MORE or sum(map(len, more.values())) > _MOST_LETTERS:
            place.fault("it holds more of what we cannot read than we keep.")
        return make(**parts, more=tuple(more.items())) if len(place.faults) == faults else None

    return read


def _table_or(parts: Reader, plain: Reader) -> Reader:
    def read(found: Any, place: Place) -> Any:
        return (parts if isinstance(found, dict) else plain)(found, place)

    return read


def _load_or_notch(found: Any, place: Place) -> Any:
    return found if isinstance(found, str) else number()(found, place)


def _polygon(found: Any, place: Place) -> str | None:
    if isinstance(found, str) and len(found) > _MOST_OUTLINE:
        place.fault(f"{len(found):,} letters are there, and {_MOST_OUTLINE:,} may be.")
        return None
    try:
        kind = json.loads(found)["type"]
        shape = shapely.from_geojson(found)
    except (ValueError, TypeError, KeyError, RecursionError, shapely.errors.GEOSException):
        pass
    else:
        if kind == "Polygon" and not shape.is_empty and shapely.is_valid_input(shape):
            return str(found)
    place.fault(f"{said(found)} is no Polygon in GeoJSON.")
    return None


_POINT = row("a place: [longitude, latitude]", number(-180, 180), number(-90, 90))
_AT = need(_POINT, "Give a place: [longitude, latitude].")
_NAMED = need(any_text, 'Give a name, or "" for none.')
_DRAWN = _open_table(
    {
        "what": need(one_of("thing that is drawn", DRAWN), "Say what it is."),
        "name": _NAMED,
        "shape": need(_polygon, "Give a Polygon as text in GeoJSON."),
    },
    Drawn,
)
_EDITS = {
    "split": _open_table(
        {"line": need(many(_POINT, 2), "Give two places or more.")},
        Split,
    ),
    "merge": _open_table({"one": _AT, "other": _AT}, Merge),
    "rename": _open_table({"at": _AT, "name": _NAMED}, Rename),
    "override": _open_table(
        {
            "at": _AT,
            "decides": need(one_of("thing to decide", ("margin", "closing")), "Say which."),
            "wetness": need(one_of("moisture", WETNESSES), "Say which."),
            "value": need(_load_or_notch, "Give a load in newtons, or a notch's name."),
            "why": need(any_text, "Say why."),
            "initials": need(any_text, "Say who."),
            "on": need(forms.date, 'Give the day: "2026-11-20".'),
        },
        Override,
        _check_override,
    ),
}
