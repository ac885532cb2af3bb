"""An invented county: a soil survey and the fields on it, from a fixed seed.

    python tests/helpers/county.py FOLDER [FIELDS]     (`made` does so, apart from a test)

The soils are those of the demo fields and likenesses of them, with other numbers; the map is drawn
at random, about 7 ha and 60 corners a polygon. There is a corner each 17 m, as public surveys have
one each 15 to 20. Fields are sections' quarters and halves of them, with a corner or a waterway
off, of 14 to 63 ha, in farms of growers.
"""

import copy
import json
import math
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import shapely
from pyproj import Transformer
from shapely.geometry import MultiPoint, Polygon, box, mapping

DEMOS = Path(__file__).parents[2] / "demo_fields"

SEED = 14
CORNER = (-87.1, 42.54)  # on open water, as the demo fields
SECTION_M = 1609.344
POLYGON_M2 = 70_000.0
LIKENESSES = 6  # of each soil and map unit
FIELDS_A_SECTION = 5.0


def made(folder, fields):
    """Make a county in a process of its own: the demo's scripts have names that libraries have."""
    subprocess.run([sys.executable, __file__, folder, str(fields)], check=True)
    return folder / "fields.geojson", folder / "survey"


def county(folder, fields=2000, seed=SEED):
    """Write `fields.geojson` and `survey/` into a folder; give the two paths."""
    from survey_files import survey_files

    random = np.random.default_rng(seed)
    sections = max(1, math.ceil(fields / FIELDS_A_SECTION))
    across = math.ceil(math.sqrt(sections))
    width_m = across * SECTION_M
    files = survey_files(tiles(width_m, random), soils(random))
    for name, content in files.items():
        path = folder / "survey" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    outlines = [
        shape for y in range(across) for x in range(across) for shape in section(x, y, random)
    ]
    placed = degrees([moved(shape, -width_m / 2) for shape in outlines[:fields]])
    features = [
        {
            "type": "Feature",
            "properties": {
                "grower": f"Grower {number // 10 + 1}",
                "farm": f"Farm {number // 5 % 2 + 1}",
                "name": f"Field {number + 1}",
            },
            "geometry": mapping(shape),
        }
        for number, shape in enumerate(placed)
    ]
    boundary = folder / "fields.geojson"
    boundary.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    return boundary, folder / "survey"


def soils(random):
    """The demo's soils, each with likenesses that differ in sand, clay and organic matter."""
    demo = tomllib.loads((DEMOS / "soils.toml").read_text("utf-8"))
    made = {**demo, "soil": {}, "unit": {}}
    for number in range(LIKENESSES):
        for name, soil in demo["soil"].items():
            like = copy.deepcopy(soil)
            for horizon in like.get("horizon", ()) if number else ():
                if "sand" in horizon:
                    shift = int(random.integers(-4, 5))
                    horizon["sand"] = max(3, min(90, horizon["sand"] + shift))
                    clay = horizon["clay"] + int(random.integers(-3, 4))
                    horizon["clay"] = max(2, min(97 - horizon["sand"], clay))
                if "organic" in horizon and horizon["organic"] < 8:
                    horizon["organic"] = round(horizon["organic"] * random.uniform(0.8, 1.2), 2)
            made["soil"][_like(name, number)] = like
        for symbol, unit in demo["unit"].items():
            parts = {_like(name, number): share for name, share in unit["parts"].items()}
            made["unit"][f"{symbol}{_LETTERS[number]}"] = {**unit, "parts": parts}
    return made


_LETTERS = ["", *"pqrst"]


def _like(name, number):
    return f"{name}{_LETTERS[number]}"


def degrees(shapes):
    """Lay shapes in metres round CORNER, all at once."""
    longitude, latitude = CORNER
    local = f"+proj=laea +lat_0={latitude} +lon_0={longitude} +datum=WGS84 +units=m"
    project = Transformer.from_crs(local, "EPSG:4326", always_xy=True)
    return shapely.transform(
        np.array(shapes, dtype=object),
        lambda xy: np.column_stack(project.transform(xy[:, 0], xy[:, 1])).round(7),
    )


def tiles(width_m, random):
    """A map in degrees that covers the county and a little round it, with its symbols."""
    half, beyond = width_m / 2, 500.0
    count = int((width_m + 2 * beyond) ** 2 / POLYGON_M2)
    points = MultiPoint(random.uniform(-half - beyond, half + beyond, (count, 2)))
    ground = box(-half - beyond, -half - beyond, half + beyond, half + beyond)
    edges = shapely.voronoi_polygons(points, extend_to=ground, only_edges=True)
    lines = _crooked(shapely.get_parts(shapely.intersection(edges, ground)), random)
    phases = random.uniform(0, 2 * math.pi, 4)

    def bent(xy):
        x, y = xy[:, 0], xy[:, 1]
        east = 20 * np.sin(y / 53 + phases[0]) + 11 * np.sin((x + y) / 31 + phases[1])
        north = 20 * np.sin(x / 59 + phases[2]) + 11 * np.sin((x - y) / 29 + phases[3])
        return np.column_stack([x + east, y + north]).round(3)

    frame = ground.buffer(-90.0).exterior
    net = shapely.union_all([*shapely.transform(lines, bent), frame])
    shapes = shapely.get_parts(shapely.polygonize([net]))
    symbols = list(tomllib.loads((DEMOS / "soils.toml").read_text("utf-8"))["unit"])
    usual = [symbol for symbol in symbols if symbol not in ("W", "51")]
    chosen = []
    for _ in shapes:
        rare = random.random() < 0.02
        name = symbols[int(random.integers(len(symbols)))] if rare else None
        name = name or usual[int(random.integers(len(usual)))]
        chosen.append(f"{name}{_LETTERS[int(random.integers(LIKENESSES))]}")
    placed = zip(chosen, degrees(shapes), strict=True)
    return [(symbol, shape) for symbol, shape in placed if shape.is_valid]


def _crooked(edges, random):
    """Make straight edges as crooked as the lines of a soil survey, with a corner each 17 m.

    Each time the middle of every part is put aside, by a smaller share of its length.
    """
    lines = shapely.get_coordinates(edges).reshape(-1, 2, 2)
    for share in (0.30, 0.15, 0.07):
        begin, end = lines[:, :-1], lines[:, 1:]
        along = end - begin
        aside = random.uniform(-share, share, (*along.shape[:2], 1)) * along[..., ::-1] * [1, -1]
        finer = np.empty((len(lines), 2 * lines.shape[1] - 1, 2))
        finer[:, ::2], finer[:, 1::2] = lines, (begin + end) / 2 + aside
        lines = finer
    return shapely.segmentize(shapely.linestrings(lines), 25.0)


def section(x, y, random):
    """Cut one section into fields, in metres from the county's south-west corner."""
    half = SECTION_M / 2
    for west in (0, 1):
        for south in (0, 1):
            x0, y0 = x * SECTION_M + west * half, y * SECTION_M + south * half
            quarter = box(x0 + 10, y0 + 10, x0 + half - 10, y0 + half - 10)
            parts = [quarter]
            if random.random() < 0.6:
                cut = x0 + half * random.uniform(0.35, 0.65)
                parts = [
                    box(x0 + 10, y0 + 10, cut, y0 + half - 10),
                    box(cut + 4, y0 + 10, x0 + half - 10, y0 + half - 10),
                ]
            for part in parts:
                yield _trimmed(part, random)


def _trimmed(part, random):
    west, south, east, north = part.bounds
    trimmed = part
    if random.random() < 0.5:
        depth = random.uniform(40, 160)
        corner = Polygon([(west, south), (west + depth, south), (west, south + 1.4 * depth)])
        trimmed = trimmed - corner
    if random.random() < 0.4:
        bend = np.linspace(south, south + 0.6 * (north - south), 12)
        middle = (west + east) / 2 + 40 * np.sin(bend / 70)
        line = shapely.linestrings(np.column_stack([middle, bend]))
        trimmed = trimmed - line.buffer(8)
    return max(shapely.get_parts(trimmed), key=lambda shape: shape.area)


def moved(shape, by_m):
    """The same shape, so far to the north-east."""
    return shapely.transform(shape, lambda xy: (xy + by_m).round(2))


if __name__ == "__main__":
    sys.path.insert(0, str(DEMOS))
    county(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 2000)
