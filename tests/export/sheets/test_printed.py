"""Pictures of the sheets: every page, on the paper that was asked for."""

import io
import struct

import pytest
from pypdf import PdfReader

from tests.export.plans import small_plan
from zoneplan.export.sheets.printed import (
    PICTURE_PPI,
    agronomist_pdf,
    cab_pdf,
    pages_of,
    summary_pdf,
)

SHEETS = {"summary.pdf": summary_pdf, "cab.pdf": cab_pdf, "agronomist.pdf": agronomist_pdf}


@pytest.mark.parametrize(("paper", "units"), [("letter", "us"), ("a4", "si")])
@pytest.mark.parametrize("sheet", SHEETS)
def test_there_is_a_picture_of_every_page_as_large_as_its_paper(sheet, paper, units):
    plan = small_plan()
    printed = PdfReader(io.BytesIO(SHEETS[sheet](plan, paper=paper, units=units))).pages
    pictures = pages_of(sheet, plan, paper=paper, units=units)
    assert len(pictures) == len(printed)
    for page, picture in zip(printed, pictures, strict=True):
        assert picture.startswith(b"\x89PNG\r\n\x1a\n")
        # PUBLISHED: PNG (ISO/IEC 15948), 11.2.2: width and height follow the first chunk's name;
        # PDF (ISO 32000-1), 8.3.2.3: its unit is 1/72 inch.
        size = struct.unpack(">II", picture[16:24])
        inches = (float(page.mediabox.width) / 72, float(page.mediabox.height) / 72)
        assert size == pytest.approx([PICTURE_PPI * inch for inch in inches], abs=1)


def test_another_plan_has_other_pictures():
    plan = small_plan()
    assert pages_of("cab.pdf", plan, units="us") != pages_of("cab.pdf", plan, units="si")
    assert pages_of("cab.pdf", plan) == pages_of("cab.pdf", plan)
