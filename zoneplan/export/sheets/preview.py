"""The sheets as pictures, page by page: set by the same templates, so that they are as printed."""

from zoneplan.export.sheets.cab_and_agronomist import agronomist_told, cab_told
from zoneplan.export.sheets.paper import pictures
from zoneplan.export.sheets.summary import summary_told
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock

_SHEETS = {  # a template, and what it is told
    "summary.pdf": ("summary.typ", summary_told),
    "cab.pdf": ("cab.typ", cab_told),
    "agronomist.pdf": ("agronomist.typ", agronomist_told),
}


def pages_of(
    plan: Plan,
    sheet: str,
    *,
    paper: str = "letter",
    units: str = "us",
    title: TitleBlock | None = None,
) -> list[bytes]:
    """Picture every page of a sheet, as PNG.

    Parameters
    ----------
    plan : Plan
        What it tells.
    sheet : str
        The name of its file.
    paper, units, title : str, str, TitleBlock
        As for `summary_pdf`.
    """
    template, maker = _SHEETS[sheet]
    return pictures(template, maker(plan, units, title), paper)
