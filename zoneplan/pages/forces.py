"""A zone's forces as stacked bars, and its margin window as a line: drawings of finished numbers.

The page takes no drawings in its HTML, so each is a picture behind a link that holds it, and
says in words what it shows. Fills and hatches are those of the map, so that it reads in grey.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from zoneplan.export.picture import FONT, INK, PAPER, STEPS, hatch_paint, hatch_patterns, svg_link
from zoneplan.harmless import escape
from zoneplan.pages.words import pounds
from zoneplan.say.quantities import figure, number
from zoneplan.say.sentences import NOISE_N, listing

_WIDE = 420.0  # of a drawing, in its own pixels
_BAR = 22.0
_DIGIT = 8.0  # wide
_PX_PER_MM = 2.4  # of the map's hatches
_SIDE = 96.0  # room for words beside a window
_KINDS = {  # a force to its fill and hatch
    "weight": STEPS[0],
    "row unit": STEPS[0],
    "seed": (PAPER, "rising"),
    "downforce": STEPS[2],
    "lift": (PAPER, "bars"),
    "opener load": STEPS[1],
    "attachments": (PAPER, "plus"),
    "closing load": STEPS[3],
    "closing wheels": STEPS[3],
    "margin": STEPS[4],
    "gauge wheels": STEPS[4],
    "floating by": (PAPER, "bars"),
}


@dataclass(frozen=True)
class Forces:
    """What bears on one row unit at a zone's target. [N]."""

    weight_full_n: float
    weight_refill_n: float
    downforce_full_n: float  # needed; negative is lift
    downforce_refill_n: float
    opener_load_n: float
    closing_load_n: float
    margin_n: float
    attachments_load_n: float = 0.0
    between: tuple[str, float, float] | None = None  # a fill in words, weight, downforce needed


def forces_figure(forces: Forces) -> str:
    """Draw weight and downforce, hopper full to refill, against what they carry."""
    above = [
        ("hopper full", forces.weight_full_n, forces.downforce_full_n),
        *([forces.between] if forces.between else []),
        ("at refill", forces.weight_refill_n, forces.downforce_refill_n),
    ]
    carried = [
        ("opener load", forces.opener_load_n),
        *([("attachments", forces.attachments_load_n)] if forces.attachments_load_n else []),
        ("closing load", forces.closing_load_n),
        ("margin", forces.margin_n),
    ]
    bars = [
        (label, [("weight", weight_n), ("lift" if added_n < 0 else "downforce", added_n)])
        for label, weight_n, added_n in above
    ]
    bars.append(("carries", carried))
    phrases = [f"{label}, {' and '.join(_each(parts))}" for label, parts in bars[:-1]]
    alt = f"{'; '.join(phrases)}. Each carries {', '.join(_each(carried))}."
    most_n = max(sum(max(load_n, 0.0) for _, load_n in parts) for _, parts in bars)
    body = "".join(
        _bar(label, parts, 17 + 58.0 * row, (_WIDE - 2) / most_n)
        for row, (label, parts) in enumerate(bars)
    )
    used = [kind for kind in _KINDS if any(kind == name for _, parts in bars for name, _ in parts)]
    return _figure(
        "Forces on one row unit at the aim, lb",
        alt[0].upper() + alt[1:],
        body + _key(used, 16 + 58.0 * len(bars)),
        55 + 58.0 * len(bars),
    )


@dataclass(frozen=True)
class Balanced:
    """One row unit at one fill of the hopper, as it stands on the ground. [N]."""

    fill: str  # in words
    row_unit_n: float
    seed_n: float
    downforce_n: float  # negative is lift
    opener_load_n: float
    closing_load_n: float
    margin_n: float  # negative: the openers float


def balance_figure(caption: str, fills: Sequence[Balanced], units: str) -> str:
    """Draw what presses one row unit down over what holds it up: two bars of one length.

    Parameters
    ----------
    caption : str
        What it is drawn for.
    fills : sequence of Balanced
        From the fullest hopper to the emptiest.
    units : str
        "us" or "si".
    """
    pairs = [
        (
            one,
            _there(
                ("row unit", one.row_unit_n),
                ("seed", one.seed_n),
                ("lift" if one.downforce_n < 0 else "downforce", one.downforce_n),
            ),
            _there(
                ("opener load", one.opener_load_n),
                ("closing wheels", one.closing_load_n),
                ("floating by" if one.margin_n < 0 else "gauge wheels", one.margin_n),
            ),
        )
        for one in fills
    ]
    most_n = max(
        sum(max(load_n, 0.0) for _, load_n in parts) for _, *both in pairs for parts in both
    )
    scale = (_WIDE - 2) / (most_n or 1.0)
    body, phrases, used, top = "", [], set(), 17.0
    for one, down, up in pairs:
        for label, parts in ((f"{one.fill}: presses down ↓", down), ("holds up ↑", up)):
            body += _bar(label, parts, top, scale, units)
            top += 58.0
            used |= {kind for kind, _ in parts}
        top += 10.0
        phrases.append(
            f"{one.fill}, {_summed(down, units)} press down; {_summed(up, units)} hold up"
        )
    kinds = [kind for kind in _KINDS if kind in used]
    alt = f"{'. '.join(phrase[0].upper() + phrase[1:] for phrase in phrases)}."
    high = top + 21 * -(-len(kinds) // 3)
    return _figure(caption, alt, body + _key(kinds, top - 10), high)


def _there(*parts: tuple[str, float]) -> list[tuple[str, float]]:
    return [(kind, load_n) for kind, load_n in parts if abs(load_n) >= NOISE_N]


def _summed(parts: Sequence[tuple[str, float]], units: str) -> str:
    """Say what adds up, and what is taken off it again."""
    adds = listing(_each([part for part in parts if part[1] > 0], units) or ["nothing"])
    less = _each([part for part in parts if part[1] < 0], units)
    return f"{adds}, less {less[0]}," if less else adds


def window_figure(least_n: float, target_n: float, most_n: float | None) -> str:
    """Draw how far the margin may go either way of what was aimed for."""
    crossed = most_n is not None and most_n < least_n
    far_n = max(least_n, target_n, most_n or 0.0)
    scale = (_WIDE - 2 * _SIDE) / (far_n or 1.0)
    least, target = _SIDE + least_n * scale, _SIDE + target_n * scale
    most = _WIDE - 2 if most_n is None else _SIDE + most_n * scale
    fill, hatch = (PAPER, "bars") if crossed else STEPS[1]
    left, right = sorted((least, most))
    ends = [_end(f"least {pounds(least_n)}", least, leftmost=not crossed)]
    if most_n is not None:
        ends.append(_end(f"most {pounds(most_n)}", most, leftmost=crossed))
    parts = [
        _box(left, 30, right - left, 16, fill, hatch),
        f'<path d="M{_SIDE:.1f} 38H{_WIDE - 2:.1f}" stroke="{INK}" stroke-width="1"/>',
        *ends,
        f'<circle cx="{target:.1f}" cy="38" r="6.5" fill="{INK}" stroke="{PAPER}" '
        'stroke-width="2"/>',
        _text(f"aim {pounds(target_n)}", target, 16, "middle", bold=True),
        _text("0", _SIDE - 6, 42, "end"),
    ]
    bears = "not known" if most_n is None else pounds(most_n)
    alt = f"Least {pounds(least_n)}, aim {pounds(target_n)}, most {bears}"
    if crossed:
        alt += ": no margin is good"
    return _figure("How far the margin may stray, lb", f"{alt}.", "".join(parts), 70.0)


def _end(words: str, at: float, *, leftmost: bool) -> str:
    """Mark an end of the window. Words stand outside it, so that they never meet."""
    beside = _text(words, at - 4, 64, "end") if leftmost else _text(words, at + 4, 64, "start")
    return f'<path d="M{at:.1f} 26V50" stroke="{INK}" stroke-width="2"/>{beside}'


def _each(parts: Sequence[tuple[str, float]], units: str = "us") -> list[str]:
    return [f"{name} {figure(abs(load_n), 'load', units)}" for name, load_n in parts]


def _bar(
    label: str, parts: Sequence[tuple[str, float]], top: float, scale: float, units: str = "us"
) -> str:
    """Stack forces from the left; lift takes its part back from the end."""
    shapes, at = [_text(label, 1, top - 5, "start")], 1.0
    for kind, load_n in parts:
        wide = abs(load_n) * scale
        left = at - wide if load_n < 0 else at
        shapes.append(_box(left, top, wide, _BAR, *_KINDS[kind]))
        digits = number(load_n, "load", units)
        middle = min(left + wide / 2, _WIDE - 1 - _DIGIT * len(digits) / 2)  # within the picture
        shapes.append(_text(digits, middle, top + _BAR + 14, "middle"))
        at += load_n * scale
    return "".join(shapes)


def _key(kinds: Sequence[str], top: float) -> str:
    """Say what the fills mean, three to a line."""
    return "".join(
        _box(1 + 140 * (place % 3), top + 21 * (place // 3), 20, 13, *_KINDS[kind])
        + _text(kind, 27 + 140 * (place % 3), top + 11 + 21 * (place // 3), "start")
        for place, kind in enumerate(kinds)
    )


def _box(left: float, top: float, wide: float, high: float, fill: str, hatch: str) -> str:
    where = f'x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}"'
    return (
        f'<rect {where} fill="{fill}"/>'
        f'<rect {where} fill="{hatch_paint(hatch, hatch)}" stroke="{INK}" stroke-width="1.2"/>'
    )


def _text(words: str, x: float, y: float, anchor: str, *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{weight}>{escape(words)}</text>'


def _figure(caption: str, alt: str, body: str, high: float) -> str:
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDE:g}" height="{high:g}" '
        f'viewBox="0 0 {_WIDE:g} {high:g}" font-family="{FONT}" font-size="13" fill="{INK}">'
        f"<defs>{hatch_patterns(_PX_PER_MM)}</defs>{body}</svg>"
    )
    link = svg_link(svg)
    return (
        f'<figure class="zp-figure"><figcaption>{escape(caption)}</figcaption>'
        f'<img src="{link}" alt="{escape(alt)}"></figure>'
    )
