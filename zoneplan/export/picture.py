"""What maps are drawn with: shades and hatches, scale and north, and where numbers go.

One unit of a drawing is one metre on the ground, north up. Line widths, hatches and letters are
given in millimetres of the drawing.

The colours are our own: their lightness falls evenly, so that they keep their order in grey
and for colour-blind readers, and each has its own hatch besides.
"""

import base64
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import shapely
from shapely.geometry import MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from zoneplan import units
from zoneplan.harmless import escape
from zoneplan.plan.model import ZoneSetting
from zoneplan.say.quantities import unit
from zoneplan.say.summary import why_blank
from zoneplan.terms import Moisture

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
WITHOUT = ("#ffffff", "bars")  # a field that waits, is not planned, or has no numbers
INK, PAPER = "#1d2b33", "#ffffff"
APART_MM = 6.0  # from the field to the numbers beside it
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


def swatch_svg(map_class: MapClass) -> str:
    """Draw the legend's sample of one class, 9 mm by 6 mm."""
    name = f"swatch-{map_class.hatch}"
    frame = "M0.2 -0.55H8.8V5.05H0.2Z"
    return "\n".join(
        [
            '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="6mm" '
            'viewBox="0 -0.75 9 6">',
            f"<defs>{hatch_pattern(map_class.hatch, name, 1.0)}</defs>",
            f'<path d="{frame}" fill="{map_class.fill}"/>',
            f'<path d="{frame}" fill="{hatch_paint(map_class.hatch, name)}"/>',
            f'<path d="{frame}" fill="none" stroke="{INK}" stroke-width="0.4"/>',
            "</svg>",
        ]
    )


def hatch_patterns(px_per_mm: float) -> str:
    """Every hatch of the map as SVG patterns, called by its name, for drawings on a screen."""
    return "".join(hatch_pattern(hatch, hatch, px_per_mm) for hatch in HATCHES)


def hatch_pattern(hatch: str, name: str, mm: float) -> str:
    """Draw a hatch as an SVG pattern of a name; empty for none."""
    if hatch == "plain":
        return ""
    side, turn, drawing = HATCHES[hatch]
    return (
        f'<pattern id="{name}" patternUnits="userSpaceOnUse" width="{side}" '
        f'height="{side}" patternTransform="scale({mm:.5f}) rotate({turn})">'
        f'<g fill="{INK}" stroke="{INK}" stroke-width="0.22">{drawing}</g></pattern>'
    )


def hatch_paint(hatch: str, name: str) -> str:
    """What an outline is filled with to be hatched by a pattern of that name."""
    return "none" if hatch == "plain" else f"url(#{name})"


# ---- what a drawing is made of -----------------------------------------------------------------


def svg_document(
    bounds: tuple[float, float, float, float], mm: float, title: str, body: Sequence[str]
) -> str:
    """Put elements into one drawing.

    Parameters
    ----------
    bounds : (float, float, float, float)
        West, south, east and north of it. [m]
    mm : float
        Metres of ground to a millimetre of the drawing.
    title, body : str, sequence of str
        What it is called, for those who cannot see it; its elements.
    """
    west, south, east, north = bounds
    wide, high = east - west, north - south
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" font-family="{FONT}" '
            f'width="{wide / mm:.1f}mm" height="{high / mm:.1f}mm" '
            f'viewBox="{west:.2f} {-north:.2f} {wide:.2f} {high:.2f}">',
            f"<title>{escape(title)}</title>",
            *body,
            "</svg>",
        ]
    )


def svg_link(drawing: str) -> str:
    """Give a drawing as a link that holds all of it, for a page that takes none in its HTML."""
    return f"data:image/svg+xml;base64,{base64.b64encode(drawing.encode()).decode()}"


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


def svg_text(words: str, x: float, y: float, size: float, *, bold: bool = False) -> str:
    """Write words about a place."""
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="middle"{weight} '
        f'fill="{INK}">{escape(words)}</text>'
    )


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
        + svg_text(f"{length:g} {name}", x + span + 7 * mm, top + 1.6 * mm, 3.0 * mm)
        + "</g>"
    )


def nice_length(limit: float) -> float:
    """The longest of 1, 2 or 5 times a power of ten that is no longer than `limit`.

    >>> nice_length(740.0), nice_length(0.3)
    (500.0, 0.2)
    """
    power = 10.0 ** math.floor(math.log10(limit))
    return max(step * power for step in (1, 2, 5) if step * power <= limit)


def north_arrow(x: float, y: float, mm: float) -> str:
    """Draw where north is; its foot is at (x, y)."""
    tip, foot = -y - 0.5 * mm, -y + 5 * mm
    return (
        f'<g class="north"><path d="M{x:.2f} {tip:.2f}l{1.6 * mm:.2f} {5.5 * mm:.2f}'
        f'l{-1.6 * mm:.2f} {-1.3 * mm:.2f}l{-1.6 * mm:.2f} {1.3 * mm:.2f}Z" fill="{INK}"/>'
        + svg_text("N", x + 3.4 * mm, foot - 1.4 * mm, 3.4 * mm, bold=True)
        + "</g>"
    )


# ---- where a zone's number goes ----------------------------------------------------------------


@dataclass(frozen=True)
class Label:
    """A zone's number, in metres. One that does not fit its zone stands beside the field."""

    number: int
    word: str  # why there is no number to aim for; empty where there is one
    x: float
    y: float
    foot: tuple[float, float] | None = None  # where its leader line touches the zone

    @property
    def radius_mm(self) -> float:
        """Of its disc, which holds two digits, or three."""
        return 2.5 if self.number < 100 else 3.2

    @property
    def half_word_mm(self) -> float:
        """Half the width that its word takes."""
        return 0.8 * len(self.word)


def place_labels(
    settings: Sequence[ZoneSetting],
    moisture: Moisture,
    bounds: tuple[float, float, float, float],
    mm: float,
) -> list[Label]:
    """Set each number at the roomiest place of its zone, or beside the field.

    Parameters
    ----------
    settings : sequence of ZoneSetting
        The zones to number.
    moisture : str
        Decides which zones carry a word with their number.
    bounds : (float, float, float, float)
        West, south, east and north of the field. [m]
    mm : float
        Metres of ground to a millimetre of the drawing.
    """
    inside, outside = [], []
    for setting in settings:
        word = why_blank(setting.moistures[moisture])
        x, y, room_m = roomiest(setting.zone.shape)
        label = Label(setting.zone.id, word, x, y)
        if room_m < label.radius_mm * mm:
            outside.append(replace(label, foot=(x, y)))
            continue
        # a word wants the number a little higher; where both do not fit, the number goes alone
        worded = replace(label, y=y + 1.7 * mm)
        fits = word and setting.zone.shape.covers(_footprint(worded, mm))
        inside.append(worded if fits else replace(label, word=""))
    west, south, east, north = bounds
    left = [label for label in outside if label.x < (west + east) / 2]
    right = [label for label in outside if label.x >= (west + east) / 2]
    return [
        *inside,
        *_beside(left, west, -APART_MM * mm, (south, north), mm),
        *_beside(right, east, APART_MM * mm, (south, north), mm),
    ]


@lru_cache(maxsize=1024)  # every map of a plan asks
def roomiest(shape: Polygon | MultiPolygon) -> tuple[float, float, float]:
    """Find the middle of the largest circle inside a shape, and its radius."""
    radius = shapely.maximum_inscribed_circle(shape)
    x, y = radius.coords[0]
    return x, y, radius.length


def _footprint(label: Label, mm: float) -> BaseGeometry:
    """The ground that a label covers: its disc, and its word below."""
    disc = Point(label.x, label.y).buffer(label.radius_mm * mm)
    if not label.word:
        return disc
    half = label.half_word_mm * mm
    return disc.union(box(label.x - half, label.y - 6.2 * mm, label.x + half, label.y))


def _beside(
    labels: list[Label], edge: float, apart: float, reach: tuple[float, float], mm: float
) -> list[Label]:
    """Set labels beside one edge of the field, in as many columns as its height asks for."""
    ordered = sorted(labels, key=lambda label: label.y)
    columns = math.ceil(sum(_step(label, mm) for label in ordered) / (reach[1] - reach[0]))
    if columns > 1:  # no room for words between them
        ordered = [replace(label, word="") for label in ordered]
    return [
        replace(label, x=edge + (i + 1) * apart, y=y)
        for i in range(columns)
        for label, y in _stacked(ordered[i::columns], reach, mm)
    ]


def _stacked(
    ordered: list[Label], reach: tuple[float, float], mm: float
) -> Iterator[tuple[Label, float]]:
    """Set labels in a column, each near its zone's height, from the field's foot to its head."""
    lowest, highest = reach
    steps = [_step(label, mm) for label in ordered]
    heights: list[float] = []
    for label, step in zip(ordered, steps, strict=True):
        heights.append(max(label.y, heights[-1] + step if heights else lowest))
    ceiling = max(highest, lowest + sum(steps[1:]))
    for i in reversed(range(len(heights))):
        heights[i] = min(heights[i], ceiling)
        ceiling = heights[i] - steps[i]
    return zip(ordered, heights, strict=True)


def _step(label: Label, mm: float) -> float:
    """From the label below to this one, whose word hangs below its number."""
    return (9.8 if label.word else 5.8) * mm
