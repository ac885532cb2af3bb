"""The ground on its way to zones: overlay, the whole plan, and the plan once more."""

import functools
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from tests.bench import data
from tests.bench.measure import Case
from tests.bench.rasters import write_texture
from tests.bench.row import Row
from zoneplan.field.crs import WGS_84
from zoneplan.field.overlay import overlay
from zoneplan.field.raster.texture import read_rasters
from zoneplan.request import Request
from zoneplan.run import Setup, SourceSummary, least_patch_m2, plan_ground, read_setup
from zoneplan.sources import Sources

PIECES = (25, 300, 1_000)


@functools.cache
def _setup() -> Setup:
    return read_setup(Sources(machine="set-air"))


def _overlay(pieces: int, _folder: Path) -> Case:
    ground, layer = data.field(), data.soils(pieces)
    return Case(lambda: overlay(ground, [layer]), lambda: _laid_and_dissolved(pieces))


@functools.cache
def _flat(pieces: int) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The same layer and field for the primitives: a name where we have facts."""
    ground, layer = data.field(), data.soils(pieces)
    soils = gpd.GeoDataFrame(
        {"soil": [facts.named for facts in layer.ground["facts"]]},
        geometry=layer.ground.geometry,
        crs=WGS_84,
    )
    return soils, gpd.GeoDataFrame({"field": [1]}, geometry=[ground.shape], crs=ground.crs)


def _laid(pieces: int) -> gpd.GeoDataFrame:
    soils, ground = _flat(pieces)
    return gpd.overlay(soils.to_crs(ground.crs), ground, how="intersection")


def _laid_and_dissolved(pieces: int) -> gpd.GeoDataFrame:
    return _laid(pieces).dissolve("soil")


def _cut_and_united(pieces: int) -> object:
    """STRtree, intersection and coverage_union, on shapes that are in metres already."""
    soils, ground = _flat(pieces)
    shapes, outline = _in_metres(pieces), ground.geometry.iloc[0]
    near = shapely.STRtree(shapes).query(outline, predicate="intersects")
    parts = shapely.intersection(shapes[near], outline)
    names = soils["soil"].to_numpy()[near]
    return [shapely.coverage_union_all(parts[names == name]) for name in np.unique(names)]


@functools.cache
def _in_metres(pieces: int) -> np.ndarray:
    soils, ground = _flat(pieces)
    return soils.geometry.to_crs(ground.crs).to_numpy()


def _plan(pieces: int, _folder: Path) -> Case:
    ground, layer, setup = data.field(), data.soils(pieces), _setup()

    def plan() -> object:  # on ground that nobody has looked at yet
        return plan_ground(Request(), setup, ground, SourceSummary("WGS 84", (layer,), ()))

    return Case(plan, lambda: _cut_and_united(pieces))


def _again(ground: object, summary: SourceSummary, pieces: int) -> Case:
    """One plan after another, each at another speed and depth; the ground stays."""
    setup = _setup()
    turn = iter(range(10**9))
    plan_ground(Request(), setup, ground, summary)

    def plan() -> object:
        step = next(turn) % 40
        asked = Request(speed_mps=1.6 + step / 50, depth_m=0.04 + step / 2_000)
        return plan_ground(asked, setup, ground, summary)

    return Case(plan, lambda: _laid(pieces))


def _vector_again(pieces: int, _folder: Path) -> Case:
    summary = SourceSummary("WGS 84", (data.soils(pieces),), ())
    return _again(data.field(), summary, pieces)


def _raster_again(_cells: int, folder: Path) -> Case:
    ground = data.field()
    patch_m2 = least_patch_m2(Request(), _setup().machine)
    layer = read_rasters(sorted(folder.glob("*.tif")), ground, least_patch_m2=patch_m2)
    return _again(ground, SourceSummary("WGS 84", (layer,), ()), 300)


ROWS = (
    Row(
        name="overlay of one field",
        against="gpd.overlay + dissolve",
        today="0.7 / 2.0 / 2.2",
        goal=0.33,
        sizes=PIECES,
        unit="pieces",
        case=_overlay,
    ),
    Row(
        name="whole plan",
        against="STRtree + intersection + coverage_union",
        today="64–79",
        goal=15,
        sizes=PIECES,
        unit="pieces",
        case=_plan,
    ),
    Row(
        name="plan again, other speed and depth",
        against="one gpd.overlay",
        today="3.2",
        goal=1.5,
        sizes=PIECES,
        unit="pieces",
        case=_vector_again,
    ),
    Row(
        name="plan again on a raster",
        against="one gpd.overlay of 300 pieces",
        today="3 s",
        goal=1.5,
        sizes=(10_000, 1_000_000),
        unit="cells",
        case=_raster_again,
        files=write_texture,
        most_times=5,
    ),
)
