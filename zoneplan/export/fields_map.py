"""Many fields on one map: outlines shaded by their margin, in one scale for every grower and year.

One unit of the drawing is a metre on the ground, north up, about the middle of the fields. It is a
picture: areas and lengths are told elsewhere.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from zoneplan.export.picture import (
    FONT,
    INK,
    PAPER,
    STEPS,
    hatch_patterns,
    north_arrow,
    scale_bar,
    step_of,
    step_words,
    svg_path,
)
from zoneplan.field.crs import LONGEST_DEGREE_M
from zoneplan.harmless import escape

WITHOUT = ("#ffffff", "bars")  # what waits, is not planned, or has no numbers
_DISC_MM = 2.4  # half the width of a number's disc
_TRIES = 90  # places round a field that a number may stand at


@dataclass(frozen=True)
class MappedField:
    """One field as the map shows it."""

    number: int  # in the list beside the map
    name: str
    shape: BaseGeometry  # in WGS 84 degrees
    margin_n: float | None  # its mean margin target by area; None: no number


def shade_of(margin_n: float | None) -> tuple[str, str]:
    """Give the fill and the hatch of a margin.

    >>> shade_of(390.0) == STEPS[0], shade_of(None) == WITHOUT
    (True, True)
    """
    if margin_n is None:
        return WITHOUT
    return STEPS[step_of(margin_n)]


def shade_words(system: str) -> list[tuple[str, str, str]]:
    """Name every shade: fill, hatch, and what it stands for."""
    named = zip(STEPS, step_words(system), strict=True)
    return [*((*step, words) for step, words in named), (*WITHOUT, "no number")]


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
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" font-family="{FONT}" '
            f'width="{(right - left) / mm:.1f}mm" height="{(top - bottom) / mm:.1f}mm" '
            f'viewBox="{left:.1f} {-top:.1f} {right - left:.1f} {top - bottom:.1f}">',
            f"<title>{escape(title)}</title>",
            *body,
            "</svg>",
        ]
    )


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
