"""What a change of rules moved: every zone's numbers before it and after it."""

from collections.abc import Iterator

from zoneplan.harmless import escape
from zoneplan.pages.words import UNKNOWN, acres, pounds
from zoneplan.plan.compare import compare
from zoneplan.plan.model import Instruction, Plan, Setting, Wait
from zoneplan.terms import Moisture

_SAME = '<span class="same">as before</span>'
_NO_GROUND = acres(0.0)


def moved_table(before: Plan, after: Plan) -> str:
    """Show the ground whose margin target or closing notch is another one than before."""
    counts = (len(before.settings), len(after.settings))
    anew = f"<p>The zones were drawn anew: {counts[0]} before, {counts[1]} now.</p>"
    note = anew if counts[0] != counts[1] else ""
    rows = "".join(_rows(before, after))
    if not rows:
        return (
            '<section class="zp-rules-moved" role="status">'
            f"<p>The last change of rules moved no zone's numbers.</p>{note}</section>"
        )
    heads = "".join(
        f'<th scope="col">{head}</th>' for head in ("Zone", "Acres", *map(str.capitalize, Moisture))
    )
    return (
        f'<section class="zp-rules-moved" role="status"><table class="zp-zones">'
        "<caption>What the last change of rules moved</caption>"
        f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>{note}</section>"
    )


def _rows(before: Plan, after: Plan) -> Iterator[str]:
    """A row for each zone, or for each part of one that lay in another zone before."""
    by_moisture = [
        {piece.zones: piece for piece in compare(before, after, moisture).pieces}
        for moisture in Moisture
    ]
    for zones, piece in sorted(by_moisture[0].items(), key=lambda pair: pair[0][::-1]):
        moves = [_move(pieces[zones].one, pieces[zones].other) for pieces in by_moisture]
        area = acres(piece.area_ha)
        if any(moves) and area != _NO_GROUND:  # a hairline where edges were straightened
            old, new = zones
            was = "" if old == new else f" <small>was {old}</small>"
            cells = "".join(f"<td>{move or _SAME}</td>" for move in moves)
            yield f'<tr><th scope="row">{new}{was}</th><td>{area}</td>{cells}</tr>'


def _move(old: Instruction, new: Instruction) -> str:
    """Say what is another number than before, as HTML; nothing where none is."""
    changes = []
    if _target(old) != _target(new):
        by = ""
        if isinstance(old, Setting) and isinstance(new, Setting):
            more = "+" if new.margin_n > old.margin_n else ""
            by = f" ({more}{pounds(new.margin_n - old.margin_n)})"
        changes.append(f"{_target(old)} → <strong>{_target(new)}</strong>{by}")
    was, now = _notch(old), _notch(new)
    if was != now and not (isinstance(old, Wait) or isinstance(new, Wait)):
        changes.append(f"notch {escape(was)} → <strong>{escape(now)}</strong>")
    return ", ".join(changes)


def _target(instruction: Instruction) -> str:
    if isinstance(instruction, Setting):
        return pounds(instruction.margin_n)
    return "wait" if isinstance(instruction, Wait) else UNKNOWN


def _notch(instruction: Instruction) -> str:
    return instruction.closing_notch if isinstance(instruction, Setting) else UNKNOWN
