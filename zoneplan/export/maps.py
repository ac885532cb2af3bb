"""The maps: the zones of one field, and many fields on one.

The zones of a field are shaded by margin target, or by whether the field's one setting suits them;
they are numbered, with scale and north. Many fields are shaded by their margins in the same scale
for every grower and year: that is a picture, laid out about the middle of the fields, and areas
and lengths are told elsewhere.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry

from zoneplan.export.picture import (
    APART_MM,
    INK,
    PAPER,
    STEPS,
    Label,
    MapClass,
    hatch_paint,
    hatch_pattern,
    hatch_patterns,
    north_arrow,
    place_labels,
    scale_bar,
    shade_of,
    step_of,
    step_words,
    svg_document,
    svg_path,
    svg_text,
)
from zoneplan.field.crs import LONGEST_DEGREE_M
from zoneplan.plan.headline import Fit, fits, holds_one
from zoneplan.plan.model import Plan, Setting, Wait
from zoneplan.say.summary import why_blank
from zoneplan.terms import Moisture

WIDTH_MM, HEIGHT_MM = 124.0, 84.0  # of the field, unless a sheet asks for less
MANY = 12  # zones, beyond which their numbers are smaller
FURNITURE_MM = 66.0  # what scale and north take side by side
_FITS = (0, 2, 4)  # of STEPS, for too light, right and too heavy
_DISC_MM = 2.4  # half the width of a field's number's disc
_TRIES = 90  # places round a field that a number may stand at


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
    at_one = shows_fit(plan, moisture)
    shown = "too light, right or too heavy" if at_one else "margin target"
    title = f"{name}: {shown} by zone, {moisture}"
    body = [
        _shapes(plan, moisture, mm, at_one),
        *(_leader(label, label.foot, mm) for label in labels if label.foot),
        *(_disc(label, lettered) for label in labels),
        scale_bar(west, south - 5 * mm, mm, system),
        north_arrow(far_east - 6 * mm, south - 5 * mm, mm),
    ]
    return svg_document((left, bottom, right, top), mm, title, body)


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
        for paint in (map_class.fill, hatch_paint(map_class.hatch, f"{moisture}-{map_class.hatch}"))
    ]
    edges = "".join(
        f'<use href="#{moisture}-zone-{setting.zone.id}"/>' for setting in plan.settings
    )
    field = svg_path(plan.field.shape)
    patterns = [
        hatch_pattern(map_class.hatch, f"{moisture}-{map_class.hatch}", mm) for map_class in classes
    ]
    return "\n".join(
        [
            f"<defs>{''.join([*patterns, *outlines])}</defs>",
            *fills,
            f'<g fill="none" stroke="{PAPER}" stroke-width="{1.3 * mm:.2f}">{edges}</g>',
            f'<g fill="none" stroke="{INK}" stroke-width="{0.4 * mm:.2f}">{edges}</g>',
            f'<path d="{field}" fill="none" stroke="{INK}" stroke-width="{0.8 * mm:.2f}"/>',
        ]
    )


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
        + svg_text(str(label.number), x, y + 1.15 * mm, 3.4 * mm, bold=True)
    ]
    if label.word:
        half = label.half_word_mm * mm
        parts.append(
            f'<rect x="{x - half:.2f}" y="{y + 3.0 * mm:.2f}" width="{2 * half:.2f}" '
            f'height="{3.2 * mm:.2f}" rx="{0.8 * mm:.2f}" fill="{PAPER}"/>'
            + svg_text(label.word, x, y + 5.4 * mm, 3.0 * mm)
        )
    return f'<g class="label" data-zone="{label.number}">{"".join(parts)}</g>'


# ---- many fields -------------------------------------------------------------------------------


@dataclass(frozen=True)
class MappedField:
    """One field as the map shows it."""

    number: int  # in the list beside the map
    name: str
    shape: BaseGeometry  # in WGS 84 degrees
    margin_n: float | None  # its mean margin target by area; None: no number


def fields_map_svg(
    fields: Sequence[MappedField], *, width_mm: float, height_mm: float, title: str, system: str
) -> str:
    """Draw fields as an SVG document, each with its number inside it or beside it.

    Fields that lie far apart become small: then their numbers stand beside them.
    """
    drawn = in_metres([one.shape for one in fields])
    west, south, east, north = shapely.total_bounds(drawn)
    mm = max((east - west) / width_mm, (north - south) / height_mm, 0.1)
    margin = 9.0 * mm
    left, right = west - margin, max(east, west + 70.0 * mm) + margin
    bottom, top = south - 16.0 * mm, north + margin
    body = [f"<defs>{hatch_patterns(mm)}</defs>"]
    for one, shape in zip(fields, drawn, strict=True):
        fill, hatch = shade_of(one.margin_n)
        fills = [fill] if hatch == "plain" else [fill, f"url(#{hatch})"]
        body += [
            f'<path d="{svg_path(shape, 1)}" fill-rule="evenodd" fill="{paint}"/>'
            for paint in fills
        ]
        body.append(
            f'<path d="{svg_path(shape, 1)}" fill="none" stroke="{INK}" '
            f'stroke-width="{0.35 * mm:.2f}"/>'
        )
    for one, (x, y), (at_x, at_y) in _labels(fields, drawn, mm):
        if (x, y) != (at_x, at_y):
            body.append(
                f'<path d="M{at_x:.1f} {-at_y:.1f}L{x:.1f} {-y:.1f}" stroke="{INK}" '
                f'stroke-width="{0.25 * mm:.2f}"/>'
            )
        size = (3.0 if one.number < 100 else 2.4) * mm
        body.append(
            f'<circle cx="{x:.1f}" cy="{-y:.1f}" r="{_DISC_MM * mm:.1f}" fill="{PAPER}" '
            f'stroke="{INK}" stroke-width="{0.25 * mm:.2f}"/>'
            f'<text x="{x:.1f}" y="{-y + 0.36 * size:.1f}" font-size="{size:.1f}" '
            f'text-anchor="middle" font-weight="600" fill="{INK}">{one.number}</text>'
        )
    body += [
        scale_bar(west, south - 6.0 * mm, mm, system),
        north_arrow(max(east, west + 70.0 * mm) - 6.0 * mm, south - 6.0 * mm, mm),
    ]
    return svg_document((left, bottom, right, top), mm, title, body)


def in_metres(shapes: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """Lay shapes out in metres about their middle, straight enough for a picture of a county."""
    west, south, east, north = shapely.total_bounds(shapes)
    middle = ((west + east) / 2, (south + north) / 2)
    metres = (LONGEST_DEGREE_M * math.cos(math.radians(middle[1])), LONGEST_DEGREE_M)

    def laid(corners: NDArray[np.float64]) -> NDArray[np.float64]:
        laid_out: NDArray[np.float64] = (corners - middle) * metres
        return laid_out

    return [shapely.transform(shape, laid) for shape in shapes]


def _labels(
    fields: Sequence[MappedField], drawn: Sequence[BaseGeometry], mm: float
) -> Iterable[tuple[MappedField, tuple[float, float], tuple[float, float]]]:
    """Set each number inside its field where it has room, or as near as no other stands."""
    taken: list[tuple[float, float]] = []
    for one, shape in zip(fields, drawn, strict=True):
        inside = shape.representative_point()
        at = (float(inside.x), float(inside.y))
        roomy = shape.buffer(-_DISC_MM * mm).contains(inside)
        place = next(
            (
                spot
                for spot in _spots(at, mm, start=0 if roomy else 1)
                if all(math.dist(spot, other) >= 2.2 * _DISC_MM * mm for other in taken)
            ),
            at,
        )
        taken.append(place)
        yield one, place, at


def _spots(at: tuple[float, float], mm: float, start: int) -> Iterable[tuple[float, float]]:
    """Places farther and farther from one, on a spiral."""
    for turn in range(start, _TRIES):
        far, angle = 1.1 * math.sqrt(turn) * 2 * _DISC_MM * mm, 2.4 * turn + 0.8
        yield at[0] + far * math.cos(angle), at[1] + far * math.sin(angle)
