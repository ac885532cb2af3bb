"""What a change of rules moves in a plan, zone by zone."""

from collections.abc import Iterator

from zoneplan.harmless import escape
from zoneplan.plan.compare import compare
from zoneplan.plan.model import Instruction, Plan, Setting, Wait
from zoneplan.say.quantities import UNKNOWN, figure, number, setting_quantity, unit
from zoneplan.terms import Moisture, SettingKind

_SAME = '<span class="same">as before</span>'
HAIRLINE_HA = 0.02  # judged: less is where edges were straightened
_GIVES_WAY = {
    "least": "less than keeps the wheels down",
    "most": "more than the soil bears",
    None: "inside both limits again",
}


def moved_table(before: Plan, after: Plan, caption: str, system: str = "us") -> str:
    """Show the ground that is told something else than before: from what, to what, how much of it.

    Parameters
    ----------
    before, after : Plan
        Of the same field.
    caption : str
        What moved it.
    system : str
        "us" or "si".
    """
    counts = (len(before.settings), len(after.settings))
    again = f"<p>The zones were drawn again: {counts[0]} before, {counts[1]} now.</p>"
    note = again if counts[0] != counts[1] else ""
    rows, moved_ha = [], 0.0
    for row, area_ha in _rows(before, after, system):
        rows.append(row)
        moved_ha += area_ha
    if not rows:
        text = f"{caption}: no zone's numbers."
        return f'<section class="zp-rules-moved" role="status"><p>{text}</p>{note}</section>'
    area = unit("area", system)
    heads = ("Zone", area.capitalize() if system == "us" else area, *map(str.capitalize, Moisture))
    cells = "".join(f'<th scope="col">{head}</th>' for head in heads)
    share = (
        f"{number(moved_ha, 'area', system)} of {figure(after.field.area_ha, 'area', system)}, "
        f"{len(rows)} {'piece' if len(rows) == 1 else 'pieces'} of ground"
    )
    return (
        '<section class="zp-rules-moved" role="status"><table class="zp-zones">'
        f"<caption>{caption} <small>{share}</small></caption>"
        f"<thead><tr>{cells}</tr></thead><tbody>{''.join(rows)}</tbody></table>{note}</section>"
    )


def _rows(before: Plan, after: Plan, system: str) -> Iterator[tuple[str, float]]:
    """A row for each zone, or for each part of one that lay in another zone before."""
    by_moisture = [
        {piece.zones: piece for piece in compare(before, after, moisture).pieces}
        for moisture in Moisture
    ]
    for zones, piece in sorted(by_moisture[0].items(), key=lambda pair: pair[0][::-1]):
        moves = [
            _move((before, pieces[zones].one), (after, pieces[zones].other), system)
            for pieces in by_moisture
        ]
        area = number(piece.area_ha, "area", system)
        if any(moves) and piece.area_ha > HAIRLINE_HA:
            old, new = zones
            was = "" if old == new else f" <small>was {old}</small>"
            cells = "".join(f"<td>{move or _SAME}</td>" for move in moves)
            yield f'<tr><th scope="row">{new}{was}</th><td>{area}</td>{cells}</tr>', piece.area_ha


def _move(one: tuple[Plan, Instruction], other: tuple[Plan, Instruction], system: str) -> str:
    """Say what is another number than before, as HTML; nothing where none is."""
    (_, old), (plan, new) = one, other
    changes = []
    if (was := _target(old, system)) != (now := _target(new, system)):
        by = ""
        if isinstance(old, Setting) and isinstance(new, Setting):
            more = "+" if new.margin_n > old.margin_n else ""
            by = f" ({more}{_figure(new.margin_n - old.margin_n, 'load', system)})"
        changes.append(f"{was} → <strong>{now}</strong>{by}")
    if isinstance(old, Setting) and isinstance(new, Setting):
        was, now = (_set_to(plan, at, system) for at, plan in ((old, one[0]), (new, plan)))
        if was != now and plan.setting_kind != SettingKind.MARGIN_TARGET:
            changes.append(f"{plan.setting_kind} {was} → <strong>{now}</strong>")
        if old.gave_way != new.gave_way:
            changes.append(f"<em>{_GIVES_WAY[new.gave_way]}</em>")
    was, now = _notch(old), _notch(new)
    if was != now and not (isinstance(old, Wait) or isinstance(new, Wait)):
        changes.append(f"notch {escape(was)} → <strong>{escape(now)}</strong>")
    return ", ".join(changes)


def _target(instruction: Instruction, system: str) -> str:
    if isinstance(instruction, Setting):
        return _figure(instruction.margin_n, "load", system)
    return "wait" if isinstance(instruction, Wait) else UNKNOWN


def _set_to(plan: Plan, setting: Setting, system: str) -> str:
    return _figure(setting.setting, setting_quantity(plan), system)


def _notch(instruction: Instruction) -> str:
    return instruction.closing_notch if isinstance(instruction, Setting) else UNKNOWN


def _figure(value: float, quantity: str, system: str) -> str:
    """A figure that stays on one line with its unit."""
    return figure(value, quantity, system).replace(" ", "\u00a0")
