"""summary.pdf: the plan on paper, with its map, its cautions and its reasons.

Here the plan is put into words and display units; summary.typ sets them on the page.
"""

from typing import Any

from zoneplan.export.notices_summary import gathered, notes
from zoneplan.export.sheets.paper import pdf
from zoneplan.export.sheets.reasons import alike_chains, rule_tables, source_lines
from zoneplan.export.sheets.sheet_header import head, zone_map
from zoneplan.export.treatments import by_treatment, treatment_row
from zoneplan.plan.model import Plan
from zoneplan.terms import Fitness

MAP_MM, SMALL_MAP_MM = (122.0, 96.0), (122.0, 74.0)
FEW = 8  # zones; with more the map leaves their table some room


def summary_pdf(plan: Plan, *, paper: str = "letter", units: str = "us") -> bytes:
    """Print a plan, tagged to PDF/UA-1, the same bytes for the same plan.

    Parameters
    ----------
    plan : Plan
        What to print.
    paper : str
        "letter" or "a4".
    units : str
        "us" (lb, psi, mph, in, acres) or "si" (N, kPa, km/h, cm, ha).
    """
    return pdf("summary.typ", summary_told(plan, units), paper)


def summary_told(plan: Plan, units: str) -> dict[str, Any]:
    """All that the summary says, as its template takes it."""
    size = MAP_MM if len(plan.settings) <= FEW else SMALL_MAP_MM
    return {
        **head(plan, units),
        "map": zone_map(plan, units, *size),
        "zones": [treatment_row(plan, group, units) for group in by_treatment(plan)],
        "by_hand": any(
            value.by_hand or value.closing_by_hand
            for setting in plan.settings
            for value in setting.set_at.values()
        ),
        "tests": any(
            value.state is Fitness.TEST for each in plan.settings for value in each.set_at.values()
        ),
        "remarks": gathered(plan, units),
        "chains": alike_chains(plan, units),
        "rulebook": {"revised": plan.rules.revised.isoformat(), "sha256": plan.rules.sha256},
        "rules": rule_tables(plan, units),
        "sources": source_lines(plan),
        "notes": notes(plan, units),
    }
