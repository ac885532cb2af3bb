"""A question as plain JSON and the files it names, and back again.

JSON that comes in may be from anybody's hand: every fault is told, and where it is.
"""

import datetime
import json
import reprlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from itertools import chain, islice
from pathlib import PurePosixPath
from typing import Any

import shapely
from jsonschema import Draft202012Validator, ValidationError

from zoneplan.demo import demo_fields
from zoneplan.field.layer import COLUMNS
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
_MOST_TOLD = 20  # faults of one question
_MOST = 2**53 - 1  # that a box for a number takes
_EDITS: dict[str, Any] = {it.__name__.lower(): it for it in (Split, Merge, Rename, Override)}


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
        held = {it.name: getattr(value, it.name) for it in fields(value)}
        return {name: plain(it) for name, it in held.items() if it is not None}

    return parts(asked), files


def from_json(told: Mapping[str, Any], files: Mapping[str, bytes]) -> Asked:
    """Read a question that has no faults."""

    def whole(value: Any) -> Any:
        if isinstance(value, list):
            return tuple(whole(it) for it in value)
        if not isinstance(value, dict):
            return value
        if "file" in value:
            return Upload(value["name"], files[value["file"]])
        return {name: whole(it) for name, it in value.items()}

    parts = whole(told)
    if isinstance(parts["ground"], dict):
        parts["ground"] = Ground(**parts["ground"])
    parts["drawn"] = tuple(Drawn(**it) for it in parts["drawn"])
    parts["edits"] = tuple(_edit(**it) for it in parts["edits"])
    return Asked(**({"speed_mph": None, "depth_in": None} | parts))


def faults(told: Any, files: Sequence[str]) -> list[str]:
    """Tell all that is wrong with a question as JSON has it.

    Parameters
    ----------
    told : Any
        What should be a question.
    files : sequence of str
        Names of the files that there are.
    """
    badly_written = unlike(_CHECK, told)
    return badly_written or _first(chain(_missing_files(told, files), _at_odds(told)))


def unlike(form: Draft202012Validator, told: Any) -> list[str]:
    """Tell where JSON is not of a form, and what would be."""
    return _first(map(_said, form.iter_errors(told)))


def _first(found: Iterable[str]) -> list[str]:
    told = list(dict.fromkeys(islice(found, _MOST_TOLD + 1)))
    return told if len(told) <= _MOST_TOLD else [*told[:_MOST_TOLD], "and more."]


def _edit(does: str, **parts: Any) -> Edit:
    if "on" in parts:
        parts["on"] = datetime.date.fromisoformat(parts["on"])
    edit: Edit = _EDITS[does](**parts)
    return edit


def _kept_name(name: str) -> str:
    """What is left of a file's name on any disk, with its ending."""
    path = PurePosixPath(name.replace("\\", "/"))
    return f"{safe(path.stem)}.{safe(path.suffix)}".strip(" .")


def _missing_files(told: Any, files: Sequence[str]) -> Iterator[str]:
    if isinstance(told, list):
        for it in told:
            yield from _missing_files(it, files)
    elif isinstance(told, dict):
        if "file" in told and told["file"] not in files:
            yield f"{_short(told['file'])} is missing, which holds {_short(told['name'])}."
        for it in told.values():
            yield from _missing_files(it, files)


def _at_odds(told: dict[str, Any]) -> Iterator[str]:
    """What is well written and yet no question."""
    sketched = {it["what"] for it in told["drawn"]}
    ground, demos = told["ground"], [it.name for it in demo_fields()]
    if isinstance(ground, str) and ground not in demos:
        yield f"ground: there is no demo field {_short(ground)}, only {', '.join(demos)}."
    if isinstance(ground, dict):
        if "boundary" not in ground and "boundary" not in sketched:
            yield "ground: there is no boundary, neither a file nor drawn."
        if not ground["soils"] and "soil" not in sketched:
            yield "ground: there is no soil layer, neither a file nor drawn."
        if told["machine"] == OWN_MACHINE:
            yield f"machine: {OWN_MACHINE} is for demo fields."
    for number, it in enumerate(told["drawn"], 1):
        if not _is_polygon(it["shape"]):
            yield f"drawn, {number}, shape: {_short(it['shape'])} is no Polygon in GeoJSON."
    for number, it in enumerate(told["edits"], 1):
        if "value" in it and isinstance(it["value"], str) != (it["decides"] == "closing"):
            wanted = "a notch's name" if it["decides"] == "closing" else "a load in newtons"
            yield f"edits, {number}, value: {_short(it['value'])} is not {wanted}."


def _is_polygon(text: str) -> bool:
    try:
        kind = json.loads(text)["type"]
        shape = shapely.from_geojson(text)
    except (ValueError, TypeError, KeyError, RecursionError, shapely.errors.GEOSException):
        return False
    return kind == "Polygon" and not shape.is_empty and bool(shapely.is_valid_input(shape))


def _said(error: ValidationError) -> str:
    at = ", ".join(str(it + 1) if isinstance(it, int) else it for it in error.absolute_path)
    found = repr(error.instance)
    return f"{at or 'the whole'}: {error.message.replace(found, _short(error.instance), 1)}."


def _short(value: Any) -> str:
    return reprlib.repr(value)


# ---- the form ----------------------------------------------------------------------------------

Form = dict[str, Any]


def _all_of(must: Mapping[str, Form], **may: Form) -> Form:
    """So many named parts, the first of which may not be left out."""
    return {
        "type": "object",
        "required": list(must),
        "properties": {**must, **may},
        "additionalProperties": False,
    }


def _one_of(*values: str) -> Form:
    return {"enum": list(values)}


def _whole(least: int, most: int) -> Form:
    return {"type": "integer", "minimum": least, "maximum": most}


def _number(least: float, most: float) -> Form:
    return {"type": "number", "minimum": least, "maximum": most}


def _list(of: Form, least: int = 0) -> Form:
    return {"type": "array", "items": of, "minItems": least}


def _pair(one: Form, other: Form) -> Form:
    return {"type": "array", "prefixItems": [one, other], "minItems": 2, "maxItems": 2}


def _parts_or(parts: Form, plain: Form) -> Form:
    return {"if": {"type": "object"}, "then": parts, "else": plain}


_TEXT: Form = {"type": "string"}
_FILE = _all_of({"name": _TEXT, "file": {"type": "string", "pattern": f"^{FILES}[^/\\\\]+$"}})
_PLACE = _pair(_number(-180, 180), _number(-90, 90))
_EDIT_FORMS = {
    "split": {"line": _list(_PLACE, least=2)},
    "merge": {"one": _PLACE, "other": _PLACE},
    "rename": {"at": _PLACE, "name": _TEXT},
    "override": {
        "at": _PLACE,
        "decides": _one_of("margin", "closing"),
        "wetness": _one_of(*WETNESSES),
        "value": {"type": ["number", "string"]},
        "why": _TEXT,
        "initials": _TEXT,
        "on": {"type": "string", "format": "date"},
    },
}
_EDIT: Form = {
    "type": "object",
    "required": ["does"],
    "properties": {"does": _one_of(*_EDIT_FORMS)},
    "allOf": [
        {
            "if": {"properties": {"does": {"const": does}}},
            "then": _all_of({"does": {}, **parts}),
        }
        for does, parts in _EDIT_FORMS.items()
    ],
}
_GROUND = _all_of(
    {"soils": _list(_FILE), "columns": _list(_pair(_one_of(*COLUMNS), _TEXT))},
    boundary=_FILE,
    samples=_FILE,
    elevation=_FILE,
    tracks=_FILE,
    drawn=_FILE,
    pick=_TEXT,
    crs=_TEXT,
    raster_unit=_one_of(*RASTER_UNITS),
)
_QUESTION = _all_of(  # numbers are bounded as the boxes bound them
    {
        "ground": _parts_or(_GROUND, _TEXT),
        "machine": _parts_or(_FILE, _one_of(*SYSTEMS, OWN_MACHINE)),
        "tillage": _one_of(*TILLAGES),
        "residue_pct": _whole(0, 100),
        "headland": _whole(0, MOST_PASSES),
        "sides": {**_list(_one_of(*SIDES)), "uniqueItems": True},
        "drawn": _list(_all_of({"what": _one_of(*DRAWN), "name": _TEXT, "shape": _TEXT})),
        "rules": _list(_FILE),
        "edits": _list(_EDIT),
    },
    speed_mph=_number(1, 15),
    depth_in=_number(0.5, 4),
    least_acres=_number(0, _MOST),
    least_width_ft=_number(0, _MOST),
    most_zones=_whole(1, _MOST),
)
_CHECK = Draft202012Validator(_QUESTION, format_checker=Draft202012Validator.FORMAT_CHECKER)
