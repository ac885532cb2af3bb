"""The boxes of a request: what each is called and holds, by their keys; and a choice of a few."""

from collections.abc import Mapping
from typing import Any

import streamlit as st

from zoneplan.ask import Ask, Form, asks
from zoneplan.request import Request, TitleBlock
from zoneplan.say.figures import capital
from zoneplan.sources import ask_of
from zoneplan.terms import Moisture

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


def choice(label: str, options: Mapping[str, str], key: str, default: str) -> str:
    """Let one of a few be chosen, as each is called; what is chosen stays so on other pages."""
    return st.segmented_control(
        label,
        options,
        default=default,
        required=True,
        format_func=options.__getitem__,
        key=key,
        persist_state="session",
    )


def moisture_choice(key: str) -> Moisture:
    """Let a moisture be chosen."""
    return Moisture(
        choice("Soil at planting", {str(one): str(one) for one in Moisture}, key, "moist")
    )
