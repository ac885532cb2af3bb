"""The landowner's page on paper: what the web page says in short, and room for an answer."""

from typing import Any

from zoneplan.export.sheets.paper import short
from zoneplan.export.sheets.sheet_header import MAP_MOISTURE, TITLE, head
from zoneplan.export.webpage import webpage_words
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.say.figures import capital, listed_numbers, sentence

_HIGH_MM = 80.0  # of the map, with what stands beside it


def landowner_sheet_words(
    plan: Plan, units: str, title: TitleBlock | None = None
) -> dict[str, Any]:
    """All that it says, as its template takes it."""
    page = webpage_words(plan, units, title)
    shown = next(one for one in page["moistures"] if one["name"] == MAP_MOISTURE)
    name = page["title"]
    return {
        **head(plan, units, title),
        **{name: page[name] for name in _AS_ON_THE_PAGE},
        "day": ", ".join(page["facts"]),
        "title": name,
        "short_title": short(name, TITLE),
        "by_hand": any(at.by_hand for one in plan.settings for at in one.set_at.values()),
        "map": {
            "svg": shown["map"],
            "alt": f"Map of {name}, soil {MAP_MOISTURE}; zones numbered as in the table.",
            "high": _HIGH_MM,
            "about": f"{shown['about']} This is for {MAP_MOISTURE} soil.",
            "legend": shown["legend"],
        },
        "moistures": [
            {"title": capital(one["name"]), **{name: one[name] for name in _OF_A_DAY}}
            for one in page["moistures"]
        ],
        "treatments": [
            {
                "zones": listed_numbers(one["ids"]),
                "glance": one["glance"],
                "places": one["alike"],
                "cells": one["moistures"],
            }
            for one in page["cards"]
        ],
        "waiting": [
            sentence(f"when {one['name']}, {who}") + f" {why}"
            for one in page["moistures"]
            for who, why in one["waiting"]
        ],
        "about": ", ".join(filter(None, [name, page["whose"]])),
    }


_OF_A_DAY = ("set", "right", "shallow", "waits")
_AS_ON_THE_PAGE = (
    "holds_for", "wrong", "nothing", "opening", "load", "planter",
    "field_warnings", "unknown", "too_wet", "doubt",
)  # fmt: skip
