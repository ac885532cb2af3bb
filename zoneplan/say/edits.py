"""What a person changed in a plan, in words: what, who, when and why."""

from zoneplan.plan.model import Plan
from zoneplan.plan.places import zone_at
from zoneplan.rowunit.words import load
from zoneplan.zones.edit import Edit, Merge, Override, Point, Rename


def in_words(edit: Edit, plan: Plan) -> str:
    """Say what a change does, in the numbers that zones have now, and who made it and why."""
    by = f", by {edit.initials} on {edit.on}" if edit.initials else ""
    why = f": {edit.why}" if edit.why else ""
    return f"{_what(edit, plan)}{by}{why}"


def _what(edit: Edit, plan: Plan) -> str:
    if isinstance(edit, Override):
        value = edit.value if isinstance(edit.value, str) else load(edit.value)
        what = "margin target" if edit.decides == "margin" else "closing notch"
        sure = " (far outside its window, asked and meant)" if edit.sure else ""
        return f"Zone {_number(plan, edit.at)}, {edit.moisture}: {what} {value}{sure}"
    if isinstance(edit, Merge):
        return f"Joined with its neighbour: zone {_number(plan, edit.one)}"
    if isinstance(edit, Rename):
        name = f"called “{edit.name}”" if edit.name else "called by its number again"
        return f"Zone {_number(plan, edit.at)}: {name}"
    if edit.at is None:
        return "Split along a line"
    return f"Split along a line, at zone {_number(plan, edit.at)}"


def _number(plan: Plan, at: Point) -> int | str:
    return zone_at(plan, at) or "that is gone"
