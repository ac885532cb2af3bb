"""Two plans beside each other in tables: what was asked differently, sums, pieces of ground.

Whatever is said of the first plan stands under A, of the other under B.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from zoneplan.ask import Ask, Form, asks
from zoneplan.harmless import escape
from zoneplan.pages.state import demo_of
from zoneplan.pages.words import acres, over, pounds, setting
from zoneplan.plan.compare import Comparison, Totals
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.request import Drawn, Request
from zoneplan.rowunit.observation import Observation
from zoneplan.run import Job
from zoneplan.say.differences import NONE, Difference, differences, in_words
from zoneplan.say.quantities import UNKNOWN, of_ten_rounds, percent, seed_words
from zoneplan.say.sentences import capital
from zoneplan.say.summary import soil_word
from zoneplan.sources import files_of
from zoneplan.terms import Moisture, SettingKind
from zoneplan.units import M2_PER_HA, to
from zoneplan.zones.edit import Edit

_SYSTEMS = {
    SettingKind.SPRING_POSITION: "springs",
    SettingKind.AIR_PRESSURE: "air",
    SettingKind.MARGIN_TARGET: "margin",
}
LETTERS = ("A", "B")
HELD = "full to refill"
ARROW = " → "  # from A to B
_TOO_SMALL = acres(0.0)  # what is written of ground too small to tell


def asked_table(one: tuple[Job, Plan], other: tuple[Job, Plan]) -> str:
    """What was asked differently."""
    unlike = [*differences(one[1], other[1]), *_asked_apart(one, other)]
    if not unlike:
        return '<p class="zp-compare same">Both plans are made from the same.</p>'
    rows = [[capital(difference.what), difference.one, difference.other] for difference in unlike]
    return _table("asked", "What they are made from that differs", ["What", *LETTERS], rows)


def totals_table(one: Plan, other: Plan, comparison: Comparison, moisture: Moisture) -> str:
    """Both plans in sums over their common ground, and the difference."""
    mine, theirs = comparison.one, comparison.other
    loads = [_load_row(label, get(mine), get(theirs)) for label, get in _LOADS.items()]
    areas = [_area_row(label, get(mine), get(theirs)) for label, get in _AREAS.items()]
    caption = f"On the {acres(comparison.common_ha)} acres that both cover, {moisture}"
    rows = [*_best_row(one, other, moisture), *loads, *_share_rows(mine, theirs), *areas]
    table = _table("sums", caption, ["What", *LETTERS, "B minus A"], rows)
    notes = "".join(f"<p>{escape(note)}</p>" for note in _left_out(comparison))
    return table + f'<div class="zp-compare notes">{notes}</div>'


def pieces_table(one: Plan, other: Plan, comparison: Comparison, moisture: Moisture) -> str:
    """Where a zone of one plan meets a zone of the other, those that differ most first."""
    names = [
        {setting.zone.id: _named(setting) for setting in plan.settings} for plan in (one, other)
    ]
    alike = one.setting_kind == other.setting_kind
    rows: list[list[str]] = []
    same_ha: list[float] = []
    small_ha: list[float] = []
    for piece in comparison.pieces:
        mine = _cells(one, piece.one, alike=alike)
        theirs = _cells(other, piece.other, alike=alike)
        if acres(piece.area_ha) == _TOO_SMALL:
            small_ha.append(piece.area_ha)
        elif mine == theirs:
            same_ha.append(piece.area_ha)
        else:
            zones = [named[zone] for named, zone in zip(names, piece.zones, strict=True)]
            turned = [a if a == b else f"{a}{ARROW}{b}" for a, b in zip(mine, theirs, strict=True)]
            rows.append([*zones, acres(piece.area_ha), *turned])
    notes = [f"Nothing differs on {acres(sum(same_ha))} acres."] if same_ha else []
    if small_ha:
        slivers = "1 strip" if len(small_ha) == 1 else f"{len(small_ha)} strips"
        notes.append(
            f"Not listed: {slivers} between edges that nearly meet, {acres(sum(small_ha))} acres "
            "in all."
        )
    heads = ["Zone of A", "Zone of B", "Acres", _first_head(one, alike=alike)]
    heads += [f"Margin left, {HELD}", f"Wheels down, {HELD}"]
    heads += ["Margin to aim for", "Closing notch"]
    caption = f"Where they differ, {moisture}: A{ARROW}B, the widest apart first"
    table = _table("pieces", caption, heads, rows) if rows else ""
    return (
        table + f'<div class="zp-compare notes">{"".join(f"<p>{note}</p>" for note in notes)}</div>'
    )


# ---- what is asked ------------------------------------------------------------------------------

_IN_THE_PLAN = ("tillage", "speed_mps", "depth_m", "residue_frac")


def _asked_apart(one: tuple[Job, Plan], other: tuple[Job, Plan]) -> list[Difference]:
    """What differs in the jobs, beyond what a plan tells."""
    mine, theirs = _asked_values(*one), _asked_values(*other)
    unlike = [what for what in mine if mine[what][0] != theirs[what][0]]
    rows = [(what, mine[what][1], theirs[what][1]) for what in unlike]
    return [Difference(what, a, b if a != b else f"{b}, changed") for what, a, b in rows]


def _asked_values(job: Job, plan: Plan) -> dict[str, tuple[object, str]]:
    """What is asked, and how it reads; a plan itself tells its day, its planter and its rules."""
    layers = replace(job.sources, machine="", rules=())
    names = [file.name for _, file in files_of(layers)]
    demo = demo_of(job.sources)
    return {
        "files": (layers, "a demo field's" if demo else ", ".join(names) or NONE),
        **{
            f"{ask.box[0].lower()}{ask.box[1:]}": (
                value := getattr(job.request, name),
                _value_words(ask, value, plan),
            )
            for name, ask in asks(Request)
            if name not in _IN_THE_PLAN
        },
    }


def _value_words(ask: Ask, value: Any, plan: Plan) -> str:
    if isinstance(value, tuple):
        return ", ".join(_items(ask, value, plan)) or ask.usual or NONE
    if value is None:
        return ask.usual or NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{ask.shown(value):g}" if isinstance(value, float | int) else str(value)


def _items(ask: Ask, value: tuple[Any, ...], plan: Plan) -> list[str]:
    if ask.form is Form.PAIRS:
        return [f"{name}={what}" for name, what in value]
    if ask.form is not Form.NOUNS:
        return [str(part) for part in value]
    counts = Counter(drawing.what for drawing in value if isinstance(drawing, Drawn))
    edits = [in_words(edit, plan) for edit in value if isinstance(edit, Edit)]
    checks = [
        f"zone {check.zone}, {check.moisture}" for check in value if isinstance(check, Observation)
    ]
    return [*(f"{what}: {count}" for what, count in counts.items()), *edits, *checks]


# ---- sums --------------------------------------------------------------------------------------

_LOADS: dict[str, Callable[[Totals], float | None]] = {
    "Margin left, hopper full, mean": lambda totals: totals.left_full_n,
    "Margin left, at refill, mean": lambda totals: totals.left_refill_n,
    "Margin to aim for, mean": lambda totals: totals.margin_n,
}
_SHARES: dict[str, Callable[[Totals], float | None]] = {
    "Wheels on the ground, hopper full, mean": lambda totals: totals.contact_full_share,
    "Wheels on the ground, at refill, mean": lambda totals: totals.contact_refill_share,
}
_AREAS: dict[str, Callable[[Totals], float]] = {
    f"Acres where the margin target holds, {HELD}": lambda totals: totals.reached_ha,
    "Acres where more is left than the soil bears": lambda totals: totals.packing_ha,
    "Acres where less is left than keeps the wheels down": lambda totals: totals.contact_ha,
    "Acres that wait: too wet": lambda totals: totals.wait_ha,
    "Acres without numbers": lambda totals: totals.blank_ha,
}


def _share_rows(one: Totals, other: Totals) -> Iterator[list[str]]:
    """Contact, shallow seed and the odds: of the margin that is left, not of the one aimed for."""
    for label, get in _SHARES.items():
        shares = [share and 100 * share for share in (get(one), get(other))]
        yield _row(label, shares, unit=" %")
    seed = [
        UNKNOWN if totals.shallow_share is None else seed_words(totals.shallow_share)
        for totals in (one, other)
    ]
    yield ["Seed more than 0.4 in shallow", *seed, "same" if seed[0] == seed[1] else UNKNOWN]
    rounds = [
        None if totals.chances is None else of_ten_rounds(totals.chances) for totals in (one, other)
    ]
    for place, label in enumerate(("right", "too light", "too heavy")):
        counts = [None if odds is None else float(odds[place]) for odds in rounds]
        yield _row(f"Of 10 rounds {label}", counts)


def _load_row(label: str, one_n: float | None, other_n: float | None) -> list[str]:
    return _row(
        label, [load_n and to(load_n, "lb", "force") for load_n in (one_n, other_n)], unit=" lb"
    )


def _area_row(label: str, one_ha: float, other_ha: float) -> list[str]:
    return _row(
        label, [to(area_ha * M2_PER_HA, "ac", "area") for area_ha in (one_ha, other_ha)], decimals=1
    )


def _best_row(one: Plan, other: Plan, moisture: Moisture) -> Iterator[list[str]]:
    """The field's one setting, where a machine holds one."""
    best = one.best[moisture], other.best[moisture]
    if best == (None, None):
        return
    if one.setting_kind != other.setting_kind:
        shown = [_set_to(plan, value) for plan, value in zip((one, other), best, strict=True)]
        yield ["One setting for the field", *shown, UNKNOWN]
    elif one.setting_unit == "N":
        yield _load_row(f"One {one.setting_kind} for the field", *best)
    else:
        label = f"One {one.setting_kind} for the field"
        yield _row(label, [value and to(value, "psi", "pressure") for value in best], unit=" psi")


def _row(
    label: str, values: Sequence[float | None], unit: str = "", decimals: int = 0
) -> list[str]:
    """Two figures as they read, and what the second has more of these: so the line adds up."""
    one, other = (None if value is None else round(value, decimals) + 0.0 for value in values)

    def figure(value: float | None) -> str:
        return UNKNOWN if value is None else f"{value:.{decimals}f}{unit}".replace("-", "−")

    gap = UNKNOWN
    if one is not None and other is not None:
        gap = f"{'+' if other > one else ''}{figure(other - one)}" if other != one else "same"
    return [label, figure(one), figure(other), gap]


def _left_out(comparison: Comparison) -> Iterator[str]:
    out_ha = max(comparison.common_ha - comparison.meant_ha, 0.0)
    means = (
        f"Means are by area, over the {acres(comparison.meant_ha)} acres where both have numbers"
    )
    if acres(out_ha) == _TOO_SMALL:
        yield f"{means}."
    else:
        yield f"{means}; {acres(out_ha)} acres are left out, for one plan or both have none there."
    for letter, apart_ha in zip(LETTERS, comparison.apart_ha, strict=True):
        if acres(apart_ha) != _TOO_SMALL:
            yield f"{acres(apart_ha)} acres are in {letter} alone, and are not counted."


# ---- pieces ------------------------------------------------------------------------------------


def _cells(plan: Plan, instruction: Instruction, *, alike: bool) -> list[str]:
    """What one plan has of one piece; `alike` plans set the same kind of thing."""
    if not isinstance(instruction, Setting):
        why = "wait" if isinstance(instruction, Wait) else "no numbers"
        return [UNKNOWN, UNKNOWN, UNKNOWN, why, UNKNOWN]
    first = (
        setting(instruction.setting, plan.setting_unit)
        if alike
        else _set_to(plan, instruction.setting)
    )
    if alike and plan.setting_kind == SettingKind.MARGIN_TARGET:  # which is told further on
        first = over(instruction.downforce_full_n, instruction.downforce_refill_n)
    margins = over(instruction.margin_full_n, instruction.margin_refill_n, "rough load")
    ends = dict.fromkeys(
        map(percent, (instruction.contact_full_share, instruction.contact_refill_share))
    )
    contact = " to ".join(ends).replace(" % to", " to")
    return [first, margins, contact, pounds(instruction.margin_n), instruction.closing_notch]


def _first_head(one: Plan, *, alike: bool) -> str:
    if not alike:
        return "Set to"
    if one.setting_kind == SettingKind.MARGIN_TARGET:
        return f"Downforce needed, {HELD}"
    return capital(one.setting_kind)


def _set_to(plan: Plan, value: float | None) -> str:
    """Say what is set, beside a plan that sets something else."""
    if value is None:
        return UNKNOWN
    return f"{_SYSTEMS[plan.setting_kind]} {setting(value, plan.setting_unit)}"


def _named(zone_setting: ZoneSetting) -> str:
    return f"{zone_setting.zone.id}, {zone_setting.zone.name or soil_word(zone_setting.zone.facts)}"


# ---- small things ------------------------------------------------------------------------------


def _table(name: str, caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table whose first column heads its rows; a narrow page folds each row by its labels."""
    columns = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    body = "".join(
        f'<tr><th scope="row" data-label="{escape(heads[0])}">{escape(first)}</th>'
        + "".join(
            f'<td data-label="{escape(head)}">{_in_parts(cell)}</td>'
            for head, cell in zip(heads[1:], cells, strict=True)
        )
        + "</tr>"
        for first, *cells in rows
    )
    return (
        f'<table class="zp-zones zp-compare {name}"><caption>{escape(caption)}</caption>'
        f"<thead><tr>{columns}</tr></thead><tbody>{body}</tbody></table>"
    )


def _in_parts(cell: str) -> str:
    """A line may break before what a value turns into, and nowhere else in it."""
    first, arrow, then = map(escape, cell.partition(ARROW))
    return f"<span>{first}</span> <span>{arrow.lstrip()}{then}</span>" if arrow else first
