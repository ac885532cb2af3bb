"""The boxes of a request: what each is called, and what they hold, by their keys."""

from typing import Any

from zoneplan.request import Ask, Form, Request, TitleBlock, asks
from zoneplan.say.figures import capital
from zoneplan.sources import ask_of

BOXED = {name: ask for name, ask in asks(Request) if ask.option}  # values that have a box
TITLED = dict(asks(TitleBlock))  # values with a box on the page of the sheets


def label(parameter: str) -> str:
    """Name the box of a parameter: a field of Request or Sources.

    >>> label("crs"), label("speed_mps"), label("columns.sand")
    ('Coordinate system', 'Speed, mph', 'Sand column')
    """
    ask, key = ask_of(parameter)
    return capital(ask.box.format(key))


def values_of(request: Request) -> dict[str, Any]:
    """What every box holds where a request stands."""
    values: dict[str, Any] = {}
    for name, ask in BOXED.items():
        values |= box_values(name, ask, getattr(request, name))
    return values


def title_values(title: TitleBlock) -> dict[str, Any]:
    """What every box of a title holds where it stands."""
    values: dict[str, Any] = {}
    for name, ask in TITLED.items():
        values |= box_values(name, ask, getattr(title, name))
    return values


def box_values(name: str, ask: Ask, value: Any) -> dict[str, Any]:
    """What the box of one value holds, or its boxes, one for each key."""
    if ask.form is Form.PAIRS:
        if ask.keys:
            return {f"{name}_{key}": dict(value).get(key, "") for key in ask.keys}
        return {name: ", ".join(f"{part}={band}" for part, band in value)}
    if ask.form is Form.TEXT:
        return {name: value or ""}
    if ask.form is Form.CHOICES:
        return {name: [*value]}
    return {name: ask.shown(value)}
