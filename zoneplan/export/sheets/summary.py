"""summary.pdf: the plan on two pages: map, what to set, what to watch for, cautions.

Here the plan is put into words and display units; summary.typ sets them on the page. What each
number rests on is the agronomist's sheet's to tell.
"""

from typing import Any

from zoneplan.export.sheets.sheet_header import head, zone_map
from zoneplan.export.sheets.zone_words import by_treatment, treatment_row
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.say.summary import to_watch
from zoneplan.terms import Fitness

MAPS_MM = ((112.0, 92.0), (112.0, 72.0), (100.0, 56.0), (84.0, 44.0))  # from roomy to tight


def summary_words(plan: Plan, units: str, title: TitleBlock | None = None) -> dict[str, Any]:
    """All that the summary says, as its template takes it."""
    return {
        **head(plan, units, title),
        "maps": [zone_map(plan, units, *size) for size in MAPS_MM],
        "zones": [treatment_row(plan, group, units) for group in by_treatment(plan)],
        "by_hand": any(
            value.by_hand or value.closing_by_hand
            for setting in plan.settings
            for value in setting.set_at.values()
        ),
        "tests": any(
            value.state is Fitness.TEST for each in plan.settings for value in each.set_at.values()
        ),
        "watch": to_watch(plan, units),
    }
