"""Every sheet of a plan by its name: printed, or as pictures of its pages, by one template."""

from functools import partial

from zoneplan.export.sheets.agronomist import agronomist_words
from zoneplan.export.sheets.cab import cab_words
from zoneplan.export.sheets.landowner_sheet import landowner_sheet_words
from zoneplan.export.sheets.paper import pdf, pictures
from zoneplan.export.sheets.summary import summary_words
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock

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
    return pictures(template, words_of(plan, units, title), paper)
