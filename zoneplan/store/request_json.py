"""A request as plain JSON, and back again.

The form is made from the fields of a request. JSON that comes in may be from anybody's hand: every
fault is told, and where it is; what a newer zoneplan says besides is kept.
"""

import datetime
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import StrEnum
from typing import Any

import shapely

from zoneplan import forms
from zoneplan.ask import Ask, Form, asks
from zoneplan.errors import SavedError, in_short, listed
from zoneplan.export.load_plan import CONVERTER
from zoneplan.export.schema import strict_json
from zoneplan.forms import (
    Check,
    Key,
    Place,
    Reader,
    any_text,
    flag,
    many,
    need,
    number,
    one_of,
    row,
    table,
    whole,
)
from zoneplan.request import DRAWN, Drawn, Request, TitleBlock
from zoneplan.rowunit.observation import Observation
from zoneplan.terms import Moisture
from zoneplan.zones.edit import Edit, Merge, Override, Rename, Split

_OWN_MACHINE = "this field's own planter"
_ASKS = dict(asks(Request))
_NAMES: dict[str, str] = {  # of the first form: what each is called now
    "speed_mph": "speed_mps",
    "depth_in": "depth_m",
    "least_acres": "least_area_m2",
    "least_width_ft": "least_width_m",
    "residue_pct": "residue_frac",
    "headland": "headland_passes",
    "sides": "headland_sides",
}
_PARTS = ("asked", "request", "sources")
_OF_FILES = ("pick", "crs", "columns", "raster_unit")
_ROLES = {"drawn": "zones"}


def in_si(work: Mapping[str, Any]) -> dict[str, Any]:
    """Bring what work.json holds from the first form into the second."""
    asked: Any = work.get("asked")
    rest = {name: value for name, value in work.items() if name not in _PARTS}
    if not isinstance(asked, dict):
        return rest
    ground, machine = asked.get("ground"), asked.get("machine")
    named = ((_NAMES.get(str(name), str(name)), value) for name, value in asked.items())
    request = {
        name: _shown_in_si(name, value)
        for name, value in named
        if name not in ("ground", "machine", "rules")
    }
    if isinstance(request.get("edits"), list):
        request["edits"] = [_edit_of_today(edit) for edit in request["edits"]]
    sources: dict[str, Any] = {"machine": machine, "rules": asked.get("rules", [])}
    if isinstance(ground, dict):
        request |= {name: ground[name] for name in _OF_FILES if name in ground}
        sources |= {
            _ROLES.get(str(name), str(name)): value
            for name, value in ground.items()
            if name not in _OF_FILES
        }
    else:
        demo = {"demo": ground}
        sources |= {"boundary": demo, "soils": [demo]}
        if machine == _OWN_MACHINE:
            sources["machine"] = demo
    return rest | {"request": request, "sources": sources}


def _edit_of_today(edit: Any) -> Any:
    """Call what an edit holds as it is called now."""
    if not isinstance(edit, dict):
        return edit
    return {("moisture" if name == "wetness" else name): value for name, value in edit.items()}


def _shown_in_si(name: str, value: Any) -> Any:
    """Turn a number that was kept as it was shown into SI."""
    ask = _ASKS.get(name)
    if ask is None or not isinstance(value, int | float) or isinstance(value, bool):
        return value
    try:
        taken: float = ask.taken(value)
    except OverflowError:
        return value
    if name in ("least_area_m2", "least_width_m") and ask.most is not None:
        return min(taken, ask.most)  # which had no limit: so much is the whole field, as more is
    return taken


MOST_MB = 20  # of a request by itself
_NEAR = 1e-9  # share of a limit that a number may be past it: its last digits
_MOST_WHOLE = 2**53 - 1  # that a box for a number takes
_MOST_MORE = 100  # keys of a newer zoneplan in one table,
_MOST_LETTERS = 100_000  # and what they say
_MOST_OUTLINE = 1_000_000  # letters of one that was drawn


def request_document(request: Request) -> dict[str, Any]:
    """Lay a request out as plain values in SI. What is not known is left out.

    >>> request_document(Request(speed_mps=2.2))["speed_mps"]
    2.2
    """
    document: dict[str, Any] = plain(request)
    return document


def read_request(content: bytes, name: str) -> Request:
    """Read a request that lies in a file of its own.

    Parameters
    ----------
    content : bytes
        JSON: a table of what is asked, or one that has it under "request", as a saved plan does.
    name : str
        The file's.

    Raises
    ------
    SavedError
        With every fault.
    """
    try:
        document = strict_json(content)
    except ValueError as error:
        raise SavedError(f"{name} is no request: {error}.\nWrite it again as JSON.") from error
    faults: list[str] = []
    request: Request | None = REQUEST(document.get("request", document), Place(faults))
    if request is None or faults:
        raise SavedError(listed(name, faults) + "\nNothing was planned. Put it right.")
    return request


def plain(value: Any) -> Any:
    """Turn a noun into plain values, with what a newer zoneplan said of it."""
    if isinstance(value, Edit):
        return {"does": type(value).__name__.lower()} | _parts(value)
    if is_dataclass(value):
        return _parts(value)
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    if isinstance(value, StrEnum):
        return str(value)
    return value.isoformat() if isinstance(value, datetime.date) else value


def _parts(noun: Any) -> dict[str, Any]:
    values = {
        field.name: getattr(noun, field.name) for field in fields(noun) if field.name != "more"
    }
    known = {name: plain(value) for name, value in values.items() if value is not None}
    return {name: value for name, value in known.items() if value != {}} | plain_more(noun)


def plain_more(noun: Any) -> dict[str, Any]:
    """What a newer zoneplan said besides of a noun."""
    return {name: json.loads(value) for name, value in getattr(noun, "more", ())}


# ---- the forms -----------------------------------------------------------------------------


def open_table(
    keys: Mapping[str, Key | Reader], make: Callable[..., Any], check: Check | None = None
) -> Reader:
    """Make a reader of a table that a newer zoneplan may have put more keys into: `more`."""
    read_known = table(keys, dict, check, others=True)

    def read(document: Any, place: Place) -> Any:
        parts, faults = read_known(document, place), len(place.faults)
        if parts is None:
            return None
        more = {name: json.dumps(value) for name, value in document.items() if name not in keys}
        if len(more) > _MOST_MORE or sum(map(len, more.values())) > _MOST_LETTERS:
            place.fault("it holds more of what we cannot read than we keep.")
        return make(**parts, more=tuple(more.items())) if len(place.faults) == faults else None

    return read


def _reader(name: str, ask: Ask) -> Reader:
    """Make the reader of one value from what is asked of it."""
    if ask.form is Form.NOUNS:
        return many(_NOUNS[name])
    return _READERS[ask.form](ask)


def _number(ask: Ask) -> Reader:
    least = -forms.MOST_NUMBER if ask.least is None else ask.least * (1 - _NEAR)
    most = forms.MOST_NUMBER if ask.most is None else ask.most * (1 + _NEAR)
    return number(least, most)


def _whole(ask: Ask) -> Reader:
    return whole(int(ask.least or 0), _MOST_WHOLE if ask.most is None else ask.most)


def _pairs(ask: Ask) -> Reader:
    name = one_of("column", ask.keys) if ask.keys else any_text
    return many(row("a name and a value", name, any_text))


def _choice(ask: Ask) -> Reader:
    members = {str(choice): choice for choice in ask.choices}
    word = one_of(ask.label.lower(), members)

    def read(value: Any, place: Place) -> str | None:
        chosen = word(value, place)
        return None if chosen is None else members[chosen]

    return read


def _check_twice(chosen: Sequence[str | None], place: Place) -> None:
    if len(set(chosen)) < len(chosen):
        place.fault("one of them stands twice.")


def _check_override(read: Mapping[str, Any], place: Place) -> None:
    value, decides = read.get("value"), read.get("decides")
    if value is not None and decides and isinstance(value, str) != (decides == "closing"):
        wanted = "a notch's name" if decides == "closing" else "a load in newtons"
        place.key("value").fault(f"{in_short(value)} is not {wanted}.")


def _load_or_notch(value: Any, place: Place) -> Any:
    return value if isinstance(value, str) else number()(value, place)


def _polygon(value: Any, place: Place) -> str | None:
    if isinstance(value, str) and len(value) > _MOST_OUTLINE:
        place.fault(f"{len(value):,} letters are there, and {_MOST_OUTLINE:,} may be.")
        return None
    try:
        kind = json.loads(value)["type"]
        shape = shapely.from_geojson(value)
    except (ValueError, TypeError, KeyError, RecursionError, shapely.errors.GEOSException):
        pass
    else:
        if kind == "Polygon" and not shape.is_empty and shapely.is_valid_input(shape):
            return str(value)
    place.fault(f"{in_short(value)} is no Polygon in GeoJSON.")
    return None


def _observation(value: Any, place: Place) -> Observation | None:
    try:
        observation: Observation = CONVERTER.structure(value, Observation)
    except Exception:  # whatever is wrong with it
        place.fault("it is no hand check as we write one.")
        return None
    return observation


_POINT = row("a place: [longitude, latitude]", number(-180, 180), number(-90, 90))
_AT = need(_POINT, "Give a place: [longitude, latitude].")
_NAMED = need(any_text, 'Give a name, or "" for none.')
_DRAWN = open_table(
    {
        "what": need(one_of("thing that is drawn", DRAWN), "Say what it is."),
        "name": _NAMED,
        "shape": need(_polygon, "Give a Polygon as text in GeoJSON."),
    },
    Drawn,
)
_BY: dict[str, Key | Reader] = {"why": any_text, "initials": any_text, "on": forms.date}
_EDITS = {
    "split": open_table(
        {"line": need(many(_POINT, 2), "Give two places or more."), "at": _POINT, **_BY}, Split
    ),
    "merge": open_table({"one": _AT, "other": _AT, **_BY}, Merge),
    "rename": open_table({"at": _AT, "name": _NAMED, **_BY}, Rename),
    "override": open_table(
        {
            "at": _AT,
            "decides": need(one_of("thing to decide", ("margin", "closing")), "Say which."),
            "moisture": need(one_of("moisture", [*Moisture]), "Say which."),
            "value": need(_load_or_notch, "Give a load in newtons, or a notch's name."),
            "why": need(any_text, "Say why."),
            "initials": need(any_text, "Say who."),
            "on": need(forms.date, 'Give the day: "2026-11-20".'),
            "sure": flag,
        },
        Override,
        _check_override,
    ),
}
_READERS: dict[Form, Callable[[Ask], Reader]] = {
    Form.TEXT: lambda _: any_text,
    Form.NUMBER: _number,
    Form.WHOLE: _whole,
    Form.FLAG: lambda _: flag,
    Form.DATE: lambda _: forms.date,
    Form.CHOICE: _choice,
    Form.CHOICES: lambda ask: many(_choice(ask), check=_check_twice),
    Form.PAIRS: _pairs,
}
_NOUNS: dict[str, Reader] = {
    "drawn": _DRAWN,
    "edits": forms.by_kind("does", "change", _EDITS),
    "observations": _observation,
}
_TITLE = open_table(
    {**{name: _reader(name, ask) for name, ask in asks(TitleBlock)}, "digest": any_text}, TitleBlock
)
REQUEST = open_table(
    {**{name: _reader(name, ask) for name, ask in asks(Request)}, "title": _TITLE}, Request
)
