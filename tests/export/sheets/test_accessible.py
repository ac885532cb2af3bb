"""Every sheet, looked at as PDF/UA-1 asks: what a screen reader finds in it.

Source
------
ISO 14289-1:2014 (PDF/UA-1), by the conditions of the Matterhorn Protocol 1.1 that a program can
check, from memory: 06 (title and metadata), 11 (language), 13 (graphics), 14 (headings), 15
(tables), 28 (order of tabs). The library that sets the sheets refuses to write PDF/UA where its own
checks fail; these are read back by another.
"""

import re
from collections.abc import Iterator
from functools import cache
from io import BytesIO
from itertools import pairwise
from typing import Any

import pytest
from pypdf import PdfReader

from zoneplan.demo import demo_field, plan_demo
from zoneplan.export.sheets.printed import agronomist_pdf, cab_pdf, landowner_pdf, summary_pdf
from zoneplan.request import TitleBlock

SHEETS = {
    "summary": summary_pdf,
    "cab": cab_pdf,
    "agronomist": agronomist_pdf,
    "landowner": landowner_pdf,
}
TITLE = TitleBlock(farm="Mud Farm", season="2027", revision=2, prepared_by="B. Reed")
EVERY = pytest.mark.parametrize(
    ("name", "field"), [(name, field) for name in SHEETS for field in ("creek", "bottom", "level")]
)


@cache
def read(name: str, field: str) -> PdfReader:
    plan = plan_demo(demo_field(field))
    return PdfReader(BytesIO(SHEETS[name](plan, paper="a4", units="si", title=TITLE)))


def elements(pdf: PdfReader) -> Iterator[Any]:
    def below(kids: Any) -> Iterator[Any]:
        for kid in kids if isinstance(kids, list) else [kids]:
            element = kid.get_object()
            if hasattr(element, "get") and "/S" in element:
                yield element
                yield from below(element.get("/K", []))

    root: Any = pdf.root_object
    return below(root["/StructTreeRoot"]["/K"])


@EVERY
def test_it_says_what_it_is(name: str, field: str) -> None:
    pdf = read(name, field)
    root: Any = pdf.root_object
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    packet = root["/Metadata"].get_object().get_data().decode("utf-8")
    assert re.search(r'<pdfuaid:part>1</pdfuaid:part>|pdfuaid:part="1"', packet)
    assert pdf.metadata is not None
    assert pdf.metadata.title
    assert all(page.get("/Tabs") == "/S" for page in pdf.pages)


@EVERY
def test_every_picture_has_words(name: str, field: str) -> None:
    figures = [element for element in elements(read(name, field)) if element["/S"] == "/Figure"]
    assert figures  # the map
    assert all(str(figure.get("/Alt", "")).startswith("Map of ") for figure in figures)


@EVERY
def test_headings_go_down_one_step_at_a_time(name: str, field: str) -> None:
    levels = [
        int(element["/S"][2:])
        for element in elements(read(name, field))
        if re.fullmatch(r"/H\d", element["/S"])
    ]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


@EVERY
def test_every_table_has_heads_that_say_of_what(name: str, field: str) -> None:
    tables = [element for element in elements(read(name, field)) if element["/S"] == "/Table"]
    assert tables
    for table in tables:
        kinds = [each["/S"] for each in below_of(table)]
        assert "/TH" in kinds
        assert "/TD" in kinds
    for head in (element for element in elements(read(name, field)) if element["/S"] == "/TH"):
        attributes = head["/A"]
        several = attributes if isinstance(attributes, list) else [attributes]
        scopes = [one.get_object().get("/Scope") for one in several]
        assert set(scopes) & {"/Column", "/Row", "/Both"}


def below_of(element: Any) -> Iterator[Any]:
    kids = element.get("/K", [])
    for kid in kids if isinstance(kids, list) else [kids]:
        inner = kid.get_object()
        if hasattr(inner, "get") and "/S" in inner:
            yield inner
            yield from below_of(inner)
