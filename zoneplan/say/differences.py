"""What two plans were asked differently, and what a person changed in one, in words."""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from zoneplan.plan.model import Plan
from zoneplan.plan.places import zone_at
from zoneplan.rowunit.machine import Machine, describe
from zoneplan.rules.rule import Rules
from zoneplan.rules.words import HEAD, rule_table
from zoneplan.units import load, percent, speed, to
from zoneplan.zones.edit import Edit, Merge, Override, Point, Rename

NONE = "–"


class Difference(NamedTuple):
    """One thing that differs, and what each plan has there."""

    what: str
    one: str
    other: str


def differences(one: Plan, other: Plan) -> list[Difference]:
    """Say what two plans were asked differently, and how many zones came of it.

    A value that reads the same is none: what rounding hides decides nothing.
    """
    return [
        *_unlike(_day(one), _day(other)),
        *_of_rules(one.rules, other.rules),
        *_unlike(_build(one.machine), _build(other.machine)),
    ]


def _unlike(one: dict[str, str], other: dict[str, str]) -> Iterator[Difference]:
    for what in one | other:
        mine, theirs = one.get(what, NONE), other.get(what, NONE)
        if mine != theirs:
            yield Difference(what, mine, theirs)


def _day(plan: Plan) -> dict[str, str]:
    conditions = plan.conditions
    return {
        "machine": plan.machine.name,
        "tillage": conditions.tillage,
        "speed": speed(conditions.speed_mps),
        "seed depth": f"{to(conditions.depth_m, 'in', 'length'):.3g} in",
        "ground covered by residue": percent(conditions.residue_frac),
        "tile-drained": "yes" if conditions.tiled else "no",
        "zones": str(len(plan.settings)),
    }


def _build(machine: Machine) -> dict[str, str]:
    """A machine but for its name, and for its own speed and depth: the day says what is planned."""
    return {what: value for what, value in describe(machine) if what not in ("name", "planting")}


def _of_rules(one: Rules, other: Rules) -> Iterator[Difference]:
    """Say which rules differ, and how; one that only stands in another file is the same."""
    yield from _unlike({"rules revised": str(one.revised)}, {"rules revised": str(other.revised)})
    tables = [_by_name(rules) for rules in (one, other)]
    for decides, name in tables[0] | tables[1]:
        mine, theirs = (table.get((decides, name), {}) for table in tables)
        unlike = [head for head in HEAD if mine.get(head) != theirs.get(head)]
        if set(unlike) - {"origin"}:
            heads = [head for head in ("when", "gives") if head in unlike] or ["gives"]
            yield Difference(f"rule {name}", _in_row(mine, heads), _in_row(theirs, heads))


def _by_name(rules: Rules) -> dict[tuple[str, str], dict[str, str]]:
    """Lay every rule out as its table has it, by what it decides and its id."""
    rows = (dict(zip(HEAD, row, strict=True)) for row in rule_table(rules)[1:])
    return {(row["kind"].split()[0], row["id"]): row for row in rows}


def _in_row(row: Mapping[str, str], heads: Sequence[str]) -> str:
    return "; ".join(row[head] for head in (*heads, "origin")) if row else NONE


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
