"""The demo county: the three hand-drawn sections laid side by side, and sixty fields cut from it.

Each section's soil map comes again mirrored beside itself, so that its soils run on across the
line. Rolling ground lies in the west, level ground in the middle, the river bottom in the east.
Fields are whole sections as they were drawn, or halves of them; twelve invented growers share them,
from the south-west to the north-east, so that each has his fields together.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

import shapely
from drawing import GRID_M, coverage
from fields import DemoField, bottom, creek, level
from shapely.affinity import scale, translate
from shapely.geometry import MultiPolygon, Polygon, box

CORNER = (-87.3, 42.53)  # on the open water that the demo fields lie on, apart from them
SIDE_M = 800.0
ROWS = 6
COLUMNS = "cccllbbb"  # of sections, west to east: creek, level, bottom
LEAST_M2 = 30_000.0  # a smaller piece beyond a ditch is nobody's field
ROAD_M = 12.0
HALVED = {3, 7, 9, 14, 18, 22, 25, 30, 33, 38, 41, 46}  # sections, in their order: 48 + 12 fields

GROWERS = {  # and how many fields each farm of theirs has
    "A. Sample": {"Two Left Boots Farm": 5, "Wobbly Gate Farm": 4},
    "B. Specimen": {"Wet Sock Farm": 8},
    "C. Placeholder": {"Third Pancake Farm": 4, "Cold Coffee Farm": 3},
    "D. Dummy": {"Squeaky Windmill Farm": 6},
    "E. Example": {"Lost Glove Farm": 4, "Found Glove Farm": 2},
    "F. Fictive": {"Sleeping Dog Farm": 5},
    "G. Guesswork": {"Half Past Noon Farm": 5},
    "H. Hypothetical": {"Upside Down Farm": 4},
    "I. Imaginary": {"Nearly There Farm": 4},
    "J. Justsupposing": {"Borrowed Ladder Farm": 3},
    "K. Makebelieve": {"Paper Hat Farm": 2},
    "L. Neverheard": {"One Spoon Farm": 1},
}
FIRST = ("Crooked", "Sleepy", "Lost", "Upper", "Lower", "Muddy", "Windy", "Borrowed", "Old", "Far")
LAST = ("Teapot", "Mitten", "Goose", "Button", "Kettle", "Pickle")


@dataclass(frozen=True)
class CountyField:
    """A field of the county, in metres from its south-west corner."""

    grower: str
    farm: str
    name: str
    outline: Polygon | MultiPolygon


def county() -> tuple[list[tuple[str, Polygon]], list[CountyField]]:
    """Draw the county: its soil map, symbol and shape, and its fields."""
    drawn = {"c": _section(creek(), 0.0), "l": _doubled(level()), "b": _section(bottom(), 100.0)}
    tiles: dict[str, list[Polygon]] = {}
    outlines: list[Polygon | MultiPolygon] = []
    number = count()
    for row in range(ROWS):
        for column, kind in enumerate(COLUMNS):
            outline, map_units = drawn[kind]
            halved = next(number) in HALVED
            for symbol, shape in map_units:
                tiles.setdefault(symbol, []).append(_laid(shape, column, row))
            outlines += _cut(_laid(outline, column, row), halved, across=(row + column) % 2 == 0)
    soils = [
        (symbol, part)
        for symbol, shapes in sorted(tiles.items())
        for part in shapely.get_parts(shapely.union_all(shapes, grid_size=GRID_M))
    ]
    pairs = zip(_names(), outlines, strict=True)
    return soils, [CountyField(*named, outline) for named, outline in pairs]


def _section(field: DemoField, south_m: float) -> tuple[Polygon, list[tuple[str, Polygon]]]:
    """Cut a hand-drawn section to a square, with the field that was drawn on it."""
    square = box(0, south_m, SIDE_M, south_m + SIDE_M)
    ground = coverage(field.surveyed, field.painted)
    cut = [(symbol, _within(shape, square)) for symbol, shape in ground]
    lanes = box(ROAD_M, south_m + ROAD_M, SIDE_M - ROAD_M, south_m + SIDE_M - ROAD_M)
    outline = _within(field.outline, lanes)
    return (
        translate(outline, 0, -south_m),
        [(symbol, translate(shape, 0, -south_m)) for symbol, shape in cut if not shape.is_empty],
    )


def _doubled(field: DemoField) -> tuple[Polygon, list[tuple[str, Polygon]]]:
    """Make a square of half a section and its mirror image."""
    half = box(0, 0, SIDE_M, SIDE_M / 2)
    cut = [(s, _within(ground, half)) for s, ground in coverage(field.surveyed, field.painted)]
    outline = _within(field.outline, box(ROAD_M, ROAD_M, SIDE_M - ROAD_M, SIDE_M / 2))

    def both(shape: Polygon) -> Polygon:
        mirrored = scale(shape, 1, -1, origin=(0, SIDE_M / 2))
        return shapely.union_all([shape, mirrored], grid_size=GRID_M)

    return both(outline), [(symbol, both(shape)) for symbol, shape in cut if not shape.is_empty]


def _within(shape: Polygon, square: Polygon) -> Polygon:
    return shapely.intersection(shape, square, grid_size=GRID_M)


def _laid(shape: Polygon, column: int, row: int) -> Polygon:
    """Lay a section's shape into its place, mirrored in every other one."""
    ways = (-1 if column % 2 else 1, -1 if row % 2 else 1)
    turned = scale(shape, *ways, origin=(SIDE_M / 2, SIDE_M / 2))
    return translate(turned, column * SIDE_M, row * SIDE_M)


def _cut(outline: Polygon, halved: bool, across: bool) -> Iterator[Polygon | MultiPolygon]:
    """Give a section's field, or the halves of it on both sides of a lane."""
    west, south, east, north = outline.bounds
    x, y, lane = (west + east) / 2, (south + north) / 2, ROAD_M / 2
    halves = (
        [box(west, south, east, y - lane), box(west, y + lane, east, north)]
        if across
        else [box(west, south, x - lane, north), box(x + lane, south, east, north)]
    )
    for half in halves if halved else [box(*outline.bounds)]:
        parts = shapely.get_parts(_within(outline, half))
        large = [part for part in parts if part.area >= LEAST_M2]
        yield large[0] if len(large) == 1 else MultiPolygon(large)


def _names() -> Iterator[tuple[str, str, str]]:
    """Grower, farm and field, one after another."""
    number = count()
    for grower, farms in GROWERS.items():
        for farm, fields in farms.items():
            for _ in range(fields):
                place = next(number)
                # WORKED: 10 and 6 have the common factor 2, so the second is moved on after 30.
                yield grower, farm, f"{FIRST[place % 10]} {LAST[(place + place // 30) % 6]}"
