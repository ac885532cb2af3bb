"""From words and figures to paper: a typst template set with plain data, as a tagged PDF or as
pictures of its pages.
"""

import json
import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib.resources import as_file, files
from typing import Any

import typst

PICTURE_PPI = 170  # reads well on a tablet, and no wider than a page of the app shows
_BEYOND_ASCII = re.compile("[^ -~]")  # and controls
_LONG = re.compile(r"\S{28}")  # after so much a long word may break rather than run off the page
_BEFORE_UNIT = re.compile(r" (?<=\d )(?=%|(?:lb|psi|mph|acres|ha|N|kPa|km/h|in|cm)\b)")
PAPERS = {"letter": "us-letter", "a4": "a4"}


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


def pictures(template: str, content: Mapping[str, Any], paper: str) -> list[bytes]:
    """Set the same sheet as pictures, a PNG for each page: as printed, to the last letter.

    Parameters
    ----------
    template, content, paper : str, mapping of str to Any, str
        As for `pdf`.
    """
    pages = _set(template, content, paper, format="png", ppi=PICTURE_PPI)
    return pages if isinstance(pages, list) else [pages]


def short(words: str, most: int) -> str:
    """Cut words that are too long for their place.

    >>> short("North of the schoolhouse", 10)
    'North of…'
    """
    text = " ".join(words.split())
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _set(template: str, content: Mapping[str, Any], paper: str, **form: Any) -> Any:
    data = json.dumps(_drawable({**content, "paper": PAPERS[paper]}))
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
