"""Every sheet of a plan by its name: what it says, set by a typst template, as a tagged PDF or as
pictures of its pages.
"""

import json
import re
import unicodedata
from collections.abc import Mapping
from functools import cache, partial
from importlib.resources import as_file, files
from typing import Any

import typst

from zoneplan.export.sheets.agronomist import agronomist_words
from zoneplan.export.sheets.cab import cab_words
from zoneplan.export.sheets.sheet_header import MAP_MOISTURE, TITLE, head, zone_map
from zoneplan.export.sheets.zone_words import by_treatment, short, treatment_row
from zoneplan.export.webpage import webpage_words
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.say.sentences import capital, listed_numbers, sentence
from zoneplan.say.summary import to_watch

PICTURE_PPI = 170  # reads well on a tablet, and no wider than a page of the app shows
_MAPS_MM = ((112.0, 92.0), (112.0, 72.0), (100.0, 56.0), (84.0, 44.0))  # from roomy to tight
_MAP_HIGH_MM = 80.0  # the landowner's, with what stands beside it
_OF_A_DAY = ("set", "right", "shallow", "waits")
_AS_ON_THE_PAGE = (
    "holds_for", "wrong", "nothing", "opening", "load", "planter",
    "field_warnings", "unknown", "too_wet", "doubt",
)  # fmt: skip
_BEYOND_ASCII = re.compile("[^ -~]")  # and controls
_LONG = re.compile(r"\S{28}")  # after so much a long word may break rather than run off the page
_BEFORE_UNIT = re.compile(r" (?<=\d )(?=%|(?:lb|psi|mph|acres|ha|N|kPa|km/h|in|cm)\b)")
_PAPERS = {"letter": "us-letter", "a4": "a4"}


def summary_words(plan: Plan, units: str, title: TitleBlock | None = None) -> dict[str, Any]:
    """All that the summary says: the plan on two pages; what it rests on the agronomist's tells."""
    return {
        **head(plan, units, title),
        "maps": [zone_map(plan, units, *size) for size in _MAPS_MM],
        "zones": [treatment_row(plan, group, units) for group in by_treatment(plan)],
        "by_hand": any(
            value.by_hand or value.closing_by_hand
            for setting in plan.settings
            for value in setting.set_at.values()
        ),
        "watch": to_watch(plan, units),
    }


def landowner_sheet_words(
    plan: Plan, units: str, title: TitleBlock | None = None
) -> dict[str, Any]:
    """All that the landowner's page says on paper: what the web page does, in short."""
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
            "high": _MAP_HIGH_MM,
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


_SHEETS = {  # a template, and what it is told
    "summary.pdf": ("summary.typ", summary_words),
    "cab.pdf": ("cab.typ", cab_words),
    "agronomist.pdf": ("agronomist.typ", agronomist_words),
    "landowner.pdf": ("landowner.typ", landowner_sheet_words),
}


def sheet_pdf(
    sheet: str,
    plan: Plan,
    *,
    paper: str = "letter",
    units: str = "us",
    title: TitleBlock | None = None,
) -> bytes:
    """Print a sheet, tagged to PDF/UA-1, the same bytes for the same plan.

    Parameters
    ----------
    sheet : str
        Its name: "summary.pdf", "cab.pdf", "agronomist.pdf" or "landowner.pdf".
    plan : Plan
        What to print.
    paper : str
        "letter" or "a4".
    units : str
        "us" (lb, psi, mph, in, acres) or "si" (N, kPa, km/h, cm, ha).
    title : TitleBlock, optional
        Whose plan it is and who made it.
    """
    template, words_of = _SHEETS[sheet]
    return pdf(template, words_of(plan, units, title), paper)


summary_pdf = partial(sheet_pdf, "summary.pdf")
cab_pdf = partial(sheet_pdf, "cab.pdf")
agronomist_pdf = partial(sheet_pdf, "agronomist.pdf")
landowner_pdf = partial(sheet_pdf, "landowner.pdf")


def pages_of(
    sheet: str,
    plan: Plan,
    *,
    paper: str = "letter",
    units: str = "us",
    title: TitleBlock | None = None,
) -> list[bytes]:
    """Picture every page of a sheet, as PNG; what is asked is as for `sheet_pdf`."""
    template, words_of = _SHEETS[sheet]
    pages = _set(template, words_of(plan, units, title), paper, format="png", ppi=PICTURE_PPI)
    return pages if isinstance(pages, list) else [pages]


def pdf(template: str, content: Mapping[str, Any], paper: str) -> bytes:
    """Set a sheet: tagged to PDF/UA-1, fonts inside, the same bytes for the same words.

    Parameters
    ----------
    template : str
        The typst file beside this one.
    content : mapping of str to Any
        What the sheet says. It goes in as data, so that no name can bring markup.
    paper : str
        "letter" or "a4".
    """
    printed: bytes = _set(template, content, paper, pdf_standards="ua-1")
    return printed


def _set(template: str, content: Mapping[str, Any], paper: str, **form: Any) -> Any:
    data = json.dumps(_drawable({**content, "paper": _PAPERS[paper]}))
    return typst.compile(
        {
            "paper.typ": _template("paper.typ"),
            "main.typ": _template(template),
            "data.json": data.encode(),
        },
        ignore_system_fonts=True,
        font_paths=_fonts(),
        **form,
    )


@cache
def _template(name: str) -> bytes:
    return files("zoneplan.export").joinpath(name).read_bytes()


@cache
def _fonts() -> typst.Fonts:
    with as_file(files("zoneplan.export").joinpath("fonts")) as folder:
        return typst.Fonts(include_system_fonts=False, font_paths=[folder])


def _drawable(data: Any) -> Any:
    """Put "?" for every character that the sheets' fonts cannot draw, and say where lines break."""
    if isinstance(data, str):
        if not (data.isascii() and data.isprintable()):
            data = _BEYOND_ASCII.sub(_drawn, unicodedata.normalize("NFC", data))
        return data if data.startswith("<svg") else _broken(data)
    if isinstance(data, dict):
        return {name: _drawable(value) for name, value in data.items()}
    if isinstance(data, list | tuple):
        return [_drawable(value) for value in data]
    return data


def _broken(words: str) -> str:
    """Let a long word break, and none between a number and its unit."""
    return _BEFORE_UNIT.sub("\u00a0", _LONG.sub("\\g<0>\u200b", words))


def _drawn(match: re.Match[str]) -> str:
    letter = match[0]
    if _has_glyph(letter):
        return letter
    return " " if letter.isspace() else "?" if letter.isprintable() else ""


def _has_glyph(letter: str) -> bool:
    code = ord(letter)
    blocks = code < 0x500 or 0x1E00 <= code < 0x1F00  # Latin, Greek, Cyrillic
    signs = 0x2010 <= code < 0x2041 or 0x20A0 <= code < 0x20C0 or 0x2190 <= code < 0x2300
    return letter.isprintable() and (blocks or signs or letter in "№™")
