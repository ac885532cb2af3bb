"""The field as a plain vector picture: zones by margin target, numbered, with scale and north.

One unit of the drawing is one metre on the ground, north up. Line widths, hatches and letters
are given in millimetres of the drawing; `labels` says where the numbers go.

The colours are our own: their lightness falls evenly, so that they keep their order in grey
and for colour-blind readers, and each has its own hatch besides.
"""

import base64
import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import shapely
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry

from zoneplan import units
from zoneplan.export.labels import APART_MM, Label, place_labels
from zoneplan.harmless import escape
from zoneplan.plan.headline import Fit, fits, holds_one
from zoneplan.plan.model import Plan, Setting, Wait
from zoneplan.say.quantities import unit
from zoneplan.say.summary import why_blank
from zoneplan.terms import Moisture

WIDTH_MM, HEIGHT_MM = 124.0, 84.0  # of the field, unless a sheet asks for less
MANY = 12  # zones, beyond which their numbers are smaller
FURNITURE_MM = 66.0  # what scale and north take side by side
STEPS = (  # fill and hatch, from the lightest margin to the heaviest
    ("#f4f1d6", "plain"),
    ("#d3e3b5", "dots"),
    ("#9ccaa6", "rising"),
    ("#63a8a2", "falling"),
    ("#3f829c", "cross"),
)
# Where one shade ends and the next begins, in pounds a row: fixed, so that two maps can be laid
# side by side, be they of another moisture, plan or field. Judged: the stock rules' targets go
# from 95 lb (wet, hydraulic) by 105 (moist) and 135 (dry clay) to 200 (dry, no-till, fast).
BOUNDS_LB = (105, 115, 125, 140)
_FITS = (0, 2, 4)  # of STEPS, for too light, right and too heavy
INK, PAPER = "#1d2b33", "#ffffff"
FONT = "Source Sans Pro, Arial, Helvetica, sans-serif"

# One tile of each hatch: its side in mm, its turn in degrees, and what is drawn on it.
HATCHES = {
    "dots": (3.6, 0, '<circle cx="0.9" cy="0.9" r="0.3"/><circle cx="2.7" cy="2.7" r="0.3"/>'),
    "rising": (2.6, -45, '<path d="M0 1.3H2.6"/>'),
    "falling": (2.2, 45, '<path d="M0 1.1H2.2"/>'),
    "cross": (2.2, 45, '<path d="M0 1.1H2.2M1.1 0V2.2"/>'),
    "bars": (3.0, 0, '<path d="M0 0.9H3M0 1.7H3"/>'),
    "plus": (4.5, 0, '<path d="M1.55 2.25H2.95M2.25 1.55V2.95"/>'),
}


@dataclass(frozen=True)
class MapClass:
    """Zones drawn alike: one line of the legend."""

    label: str
    fill: str
    hatch: str  # "plain" or one of HATCHES
    zones: tuple[int, ...]


def shows_fit(plan: Plan, moisture: Moisture) -> bool:
    """Whether the map can show where the field's one setting is too light, right or too heavy."""
    return holds_one(plan) and plan.best.get(moisture) is not None


def map_classes(
    plan: Plan, moisture: Moisture = Moisture.MOIST, *, system: str = "us", at_one: bool = False
) -> tuple[MapClass, ...]:
    """Sort the zones by margin target into the shades of the one scale, then those without one.

    The classes are the same in both systems of units; only their labels differ. With `at_one`
    the zones are sorted by whether the field's one setting is too light, right or too heavy.
    """
    if at_one:
        zones_by_fit = fits(plan, moisture)
        classes = [
            MapClass(
                str(fit), *STEPS[step], tuple(setting.zone.id for setting in zones_by_fit[fit])
            )
            for fit, step in zip(Fit, _FITS, strict=True)
            if zones_by_fit[fit]
        ]
        return (*classes, *_without_target(plan, moisture))
    zones_by_step: dict[int, list[int]] = {}
    for setting in plan.settings:
        instruction = setting.moistures[moisture]
        if isinstance(instruction, Setting):
            zones_by_step.setdefault(step_of(instruction.margin_n), []).append(setting.zone.id)
    words = step_words(system)
    classes = [
        MapClass(words[step], *STEPS[step], tuple(sorted(zones)))
        for step, zones in sorted(zones_by_step.items())
    ]
    return (*classes, *_without_target(plan, moisture))


def step_of(margin_n: float) -> int:
    """Find a margin's shade among STEPS, by its whole pounds.

    >>> [step_of(pounds * units.N_PER_LBF) for pounds in (60, 104.6, 114, 115, 200)]
    [0, 1, 1, 2, 4]
    """
    pounds = round(units.to(margin_n, "lb", "force"))
    return sum(pounds >= bound for bound in BOUNDS_LB)


def step_words(system: str) -> list[str]:
    """Say what each shade stands for.

    >>> step_words("us")[:2], step_words("si")[-1]
    (['below 105 lb', '105 to 115 lb'], '623 N and more')
    """
    word = unit("load", system)
    ends = [round(units.to(bound * units.N_PER_LBF, word, "force")) for bound in BOUNDS_LB]
    between = (f"{low} to {high} {word}" for low, high in pairwise(ends))
    return [f"below {ends[0]} {word}", *between, f"{ends[-1]} {word} and more"]


def _without_target(plan: Plan, moisture: Moisture) -> list[MapClass]:
    waiting: list[int] = []
    blank: dict[str, list[int]] = {}  # the word for its ground to zones
    for setting in plan.settings:
        instruction = setting.moistures[moisture]
        if isinstance(instruction, Wait):
            waiting.append(setting.zone.id)
        elif not isinstance(instruction, Setting):
            blank.setdefault(why_blank(instruction), []).append(setting.zone.id)
    classes = []
    if waiting:
        classes.append(MapClass("wait: too wet", PAPER, "bars", tuple(waiting)))
    if blank:
        unplanned = tuple(sorted(zone for value in blank.values() for zone in value))
        classes.append(MapClass(f"no numbers: {', '.join(blank)}", PAPER, "plus", unplanned))
    return classes


def zone_map_svg(
    plan: Plan,
    moisture: Moisture = Moisture.MOIST,
    *,
    width_mm: float = WIDTH_MM,
    height_mm: float = HEIGHT_MM,
    at_one: bool = False,
    system: str = "us",
) -> str:
    """Draw the zones of a plan at one moisture as an SVG document.

    The field fits into `width_mm` by `height_mm`; scale, north and the numbers that stand
    beside it come on top of that; the scale is in feet ("us") or metres ("si"). Zones are
    shaded by `map_classes`. Each element that belongs to a zone carries its number in
    `data-zone`; identifiers begin with the moisture, so that three maps can share a page.
    """
    west, south, east, north = plan.field.shape.bounds
    mm = max((east - west) / width_mm, (north - south) / height_mm)  # metres to the millimetre
    lettered = mm if len(plan.settings) <= MANY else 0.8 * mm
    labels = place_labels(plan.settings, moisture, (west, south, east, north), lettered)
    beside = [
        Point(label.x, label.y).buffer((APART_MM + 0.5) * lettered)
        for label in labels
        if label.foot
    ]
    far_east = max(east, west + FURNITURE_MM * mm)
    furniture = box(west, south - 9 * mm, far_east, north)
    left, bottom, right, top = shapely.union_all([furniture.buffer(1.5 * mm), *beside]).bounds
    name = "".join(letter for letter in plan.field.name if letter.isprintable())
    shown = "too light, right or too heavy" if at_one else "margin target"
    title = escape(f"{name}: {shown} by zone, {moisture}")
    body = [
        _shapes(plan, moisture, mm, at_one),
        *(_leader(label, label.foot, mm) for label in labels if label.foot),
        *(_disc(label, lettered) for label in labels),
        scale_bar(west, south - 5 * mm, mm, system),
        north_arrow(far_east - 6 * mm, south - 5 * mm, mm),
    ]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" font-family="{FONT}" '
            f'width="{(right - left) / mm:.1f}mm" height="{(top - bottom) / mm:.1f}mm" '
            f'viewBox="{left:.2f} {-top:.2f} {right - left:.2f} {top - bottom:.2f}">',
            f"<title>{title}</title>",
            *body,
            "</svg>",
        ]
    )


def svg_link(drawing: str) -> str:
    """Give a drawing as a link that holds all of it, for a page that takes none in its HTML."""
    return f"data:image/svg+xml;base64,{base64.b64encode(drawing.encode()).decode()}"


def swatch_svg(map_class: MapClass) -> str:
    """Draw the legend's sample of one class, 9 mm by 6 mm."""
    frame = "M0.2 -0.55H8.8V5.05H0.2Z"
    return "\n".join(
        [
            '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="6mm" '
            'viewBox="0 -0.75 9 6">',
            f"<defs>{_pattern(map_class.hatch, 'swatch', 1.0)}</defs>",
            f'<path d="{frame}" fill="{map_class.fill}"/>',
            f'<path d="{frame}" fill="{_paint(map_class.hatch, "swatch")}"/>',
            f'<path d="{frame}" fill="none" stroke="{INK}" stroke-width="0.4"/>',
            "</svg>",
        ]
    )


def _shapes(plan: Plan, moisture: Moisture, mm: float, at_one: bool) -> str:
    """Fills, hatches and edges. Each outline is written once and used for all of them."""
    classes = map_classes(plan, moisture, at_one=at_one)
    outlines = [
        f'<path id="{moisture}-zone-{setting.zone.id}" fill-rule="evenodd" '
        f'd="{svg_path(setting.zone.shape)}"/>'
        for setting in plan.settings
    ]
    fills = [
        f'<use href="#{moisture}-zone-{zone}" data-zone="{zone}" fill="{paint}"/>'
        for map_class in classes
        for zone in map_class.zones
        for paint in (map_class.fill, _paint(map_class.hatch, moisture))
    ]
    edges = "".join(
        f'<use href="#{moisture}-zone-{setting.zone.id}"/>' for setting in plan.settings
    )
    field = svg_path(plan.field.shape)
    patterns = [_pattern(map_class.hatch, moisture, mm) for map_class in classes]
    return "\n".join(
        [
            f"<defs>{''.join([*patterns, *outlines])}</defs>",
            *fills,
            f'<g fill="none" stroke="{PAPER}" stroke-width="{1.3 * mm:.2f}">{edges}</g>',
            f'<g fill="none" stroke="{INK}" stroke-width="{0.4 * mm:.2f}">{edges}</g>',
            f'<path d="{field}" fill="none" stroke="{INK}" stroke-width="{0.8 * mm:.2f}"/>',
        ]
    )


@lru_cache(maxsize=1024)  # every map of a plan asks
def svg_path(shape: BaseGeometry, decimals: int = 2) -> str:
    """Write an outline as an SVG path, north up."""
    rings = [ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)]
    return "".join(
        "M"
        + "L".join(
            f"{x:.{decimals}f} {-y:.{decimals}f}" for x, y in shapely.get_coordinates(ring)[:-1]
        )
        + "Z"
        for ring in rings
    )


def _paint(hatch: str, prefix: str) -> str:
    return "none" if hatch == "plain" else f"url(#{prefix}-{hatch})"


def _pattern(hatch: str, prefix: str, mm: float) -> str:
    if hatch == "plain":
        return ""
    side, turn, drawing = HATCHES[hatch]
    return (
        f'<pattern id="{prefix}-{hatch}" patternUnits="userSpaceOnUse" width="{side}" '
        f'height="{side}" patternTransform="scale({mm:.5f}) rotate({turn})">'
        f"{_inked(drawing)}</pattern>"
    )


def hatch_patterns(px_per_mm: float) -> str:
    """Every hatch of the map as SVG patterns, called by its name, for drawings on a screen."""
    return "".join(
        f'<pattern id="{name}" patternUnits="userSpaceOnUse" width="{side}" height="{side}" '
        f'patternTransform="scale({px_per_mm}) rotate({turn})">{_inked(drawing)}</pattern>'
        for name, (side, turn, drawing) in HATCHES.items()
    )


def _inked(drawing: str) -> str:
    return f'<g fill="{INK}" stroke="{INK}" stroke-width="0.22">{drawing}</g>'


def _leader(label: Label, foot: tuple[float, float], mm: float) -> str:
    x, y = foot
    line = f"M{label.x:.2f} {-label.y:.2f}L{x:.2f} {-y:.2f}"
    return (
        f'<path d="{line}" stroke="{PAPER}" stroke-width="{1.0 * mm:.2f}"/>'
        f'<path d="{line}" stroke="{INK}" stroke-width="{0.3 * mm:.2f}"/>'
        f'<circle cx="{x:.2f}" cy="{-y:.2f}" r="{0.7 * mm:.2f}" fill="{INK}"/>'
    )


def _disc(label: Label, mm: float) -> str:
    x, y = label.x, -label.y
    parts = [
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{label.radius_mm * mm:.2f}" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="{0.25 * mm:.2f}"/>'
        + _text(str(label.number), x, y + 1.15 * mm, 3.4 * mm, bold=True)
    ]
    if label.word:
        half = label.half_word_mm * mm
        parts.append(
            f'<rect x="{x - half:.2f}" y="{y + 3.0 * mm:.2f}" width="{2 * half:.2f}" '
            f'height="{3.2 * mm:.2f}" rx="{0.8 * mm:.2f}" fill="{PAPER}"/>'
            + _text(label.word, x, y + 5.4 * mm, 3.0 * mm)
        )
    return f'<g class="label" data-zone="{label.number}">{"".join(parts)}</g>'


def _text(words: str, x: float, y: float, size: float, *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="middle"{weight} '
        f'fill="{INK}">{escape(words)}</text>'
    )


def nice_length(limit: float) -> float:
    """The longest of 1, 2 or 5 times a power of ten that is no longer than `limit`.

    >>> nice_length(740.0), nice_length(0.3)
    (500.0, 0.2)
    """
    power = 10.0 ** math.floor(math.log10(limit))
    return max(step * power for step in (1, 2, 5) if step * power <= limit)


def scale_bar(x: float, y: float, mm: float, system: str) -> str:
    """Draw a round length of ground from (x, y) on, its first half filled."""
    name = unit("distance", system)
    metre = units.to(1.0, name, "length")  # of them to the metre
    length = nice_length(45 * mm * metre)
    span, top = length / metre, -y
    return (
        f'<g class="scale"><rect x="{x:.2f}" y="{top:.2f}" width="{span:.2f}" '
        f'height="{1.2 * mm:.2f}" fill="{PAPER}" stroke="{INK}" stroke-width="{0.25 * mm:.2f}"/>'
        f'<rect x="{x:.2f}" y="{top:.2f}" width="{span / 2:.2f}" height="{1.2 * mm:.2f}" '
        f'fill="{INK}"/>'
        + _text(f"{length:g} {name}", x + span + 7 * mm, top + 1.6 * mm, 3.0 * mm)
        + "</g>"
    )


def north_arrow(x: float, y: float, mm: float) -> str:
    """Draw where north is; its foot is at (x, y)."""
    tip, foot = -y - 0.5 * mm, -y + 5 * mm
    return (
        f'<g class="north"><path d="M{x:.2f} {tip:.2f}l{1.6 * mm:.2f} {5.5 * mm:.2f}'
        f'l{-1.6 * mm:.2f} {-1.3 * mm:.2f}l{-1.6 * mm:.2f} {1.3 * mm:.2f}Z" fill="{INK}"/>'
        + _text("N", x + 3.4 * mm, foot - 1.4 * mm, 3.4 * mm, bold=True)
        + "</g>"
    )
