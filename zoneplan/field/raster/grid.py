"""Values on a regular grid over the field, and the polygons that follow its cells."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.field.crs import move
from zoneplan.field.raster.cell_regions import Patches, join_small, patches_of
from zoneplan.field.raster.opening import shapes
from zoneplan.field.shapes import Field
from zoneplan.soil.class_shares import texture_classes
from zoneplan.soil.texture import ORGANIC_PCT, TEXTURES, SoilFacts, is_organic, texture_class
from zoneplan.units import M2_PER_HA

# How far soils may differ and count as alike. A step of sand or clay moves the opener load
# by at most 72 N and one of organic matter by at most 87 N, for sandy loam to clay loam and
# dry to wet (worked out with soil.strength): less than what tells two zones apart.
ALIKE = {"sand_frac": 0.02, "clay_frac": 0.02, "organic_pct": 0.5}
WORKING_CELL_M = 5.0  # judged: finer than any planter is wide, and than most rasters are true
LEAST_PATCH_M2 = 450.0  # judged: six rows planted for 100 m; hardly a planter gets a smaller zone
_TEXTURE = ("sand_frac", "silt_frac", "clay_frac")
_STRAIGHT_M = 100.0  # a longer edge of the field would bend on its way to another system
_Values = NDArray[np.float64]


@dataclass(frozen=True)
class Grid:
    """Named values on one grid, north up, NaN where unknown."""

    values: Mapping[str, NDArray[np.float64]]  # each (rows, columns), the north row first
    transform: Affine  # from (column, row) to the system's coordinates
    crs: str


class _Sums(NamedTuple):
    """Of each of several pieces of ground: what of the field it is, and what it holds."""

    share: _Values  # of the field
    rated: _Values  # of the field, with all the values that are needed
    weights: Mapping[str, _Values]  # of the field, with this value
    totals: Mapping[str, _Values]  # this value times its weight

    def means(self, name: str) -> _Values:
        """Areal means, NaN where the value is unknown."""
        with np.errstate(invalid="ignore"):
            return self.totals[name] / self.weights[name]


def field_shares(grid: Grid, field: Field) -> NDArray[np.float64]:
    """Share of the field that lies in each cell, exact where its edge cuts one. [0 to 1].

    They add up to 1 where the grid covers the whole field.

    Notes
    -----
    All cells count as equal. In degrees they shrink towards the pole, but from one of 250 m
    to the next by less than one part in ten thousand.
    """
    shape = next(iter(grid.values.values())).shape
    return _shares(shape, grid.transform, grid.crs, field)


@lru_cache(maxsize=2)  # a layer asks twice for the shares of its cells
def _shares(
    shape: tuple[int, int], transform: Affine, crs: str, field: Field
) -> NDArray[np.float64]:
    rows, columns = shape
    step_east, _, west, _, step_south, north, *_ = transform
    outline = _outline(crs, field)
    frame = gpd.GeoDataFrame(geometry=[outline], crs=crs)
    # Both in one system by the same words: where they differ, exact_extract only warns.
    cells = NumPyRasterSource(
        np.zeros((rows, columns)),
        xmin=west,
        ymin=north + step_south * rows,
        xmax=west + step_east * columns,
        ymax=north,
        srs_wkt=frame.crs.to_wkt(),
    )
    overlap = exact_extract(cells, frame, ["cell_id", "coverage"], output="pandas").iloc[0]
    covered = np.zeros(rows * columns)
    covered[overlap["cell_id"].astype(np.intp)] = overlap["coverage"]
    cell_share: float = abs(step_east * step_south) / outline.area
    shares = cell_share * covered.reshape(rows, columns)
    shares.setflags(write=False)
    return shares


def cell_m(grid: Grid, field: Field) -> float:
    """How wide a cell is in the field, as a square of its area. [m]."""
    share = abs(grid.transform.determinant) / _outline(grid.crs, field).area
    return math.sqrt(M2_PER_HA * field.area_ha * share)


def grid_ground(grid: Grid, field: Field, least_patch_m2: float = 0.0) -> gpd.GeoDataFrame:
    """Outline the ground that is alike, along the edges of cells.

    Parameters
    ----------
    grid : Grid
        `sand_frac`, `silt_frac` and `clay_frac` [0 to 1, together 1]; `organic_pct` [%] if
        there is such. A cell without one of the three is unknown, unless it holds as much
        organic matter as peat.
    field : Field
        Only cells that lie in it at least in part are outlined, and only that part counts.
    least_patch_m2 : float
        What the planter can follow, where that is more than LEAST_PATCH_M2. [m²]

    Returns
    -------
    GeoDataFrame
        `geometry`, one Polygon each, in the grid's system, and `facts`, from areal means
        over what lies in the field, exact where its edge cuts a cell. `rated_share` is the
        share that is known. Unknown ground is left out: it is the next layer's, or uncovered.

    Notes
    -----
    Cells much finer than WORKING_CELL_M are put together first. Neighbours of one texture
    class that are ALIKE make a patch; a smaller patch than the least joins the neighbour it
    differs from least, and its cells count in the means there. Peat and soil never join.
    """
    enough = np.logical_and.reduce([~np.isnan(grid.values[name]) for name in _TEXTURE])
    if "organic_pct" in grid.values:
        enough |= grid.values["organic_pct"] >= ORGANIC_PCT  # peat has no texture
    sums, ground, transform = _working_cells(grid, field, enough)
    textures = _kinds({name: sums.means(name) for name in sums.totals})
    grounds = np.where(np.isin(textures, TEXTURES), "soil", textures)
    steps = [np.nan_to_num(sums.means(name) / ALIKE[name]) for name in ALIKE if name in sums.totals]
    kinds = np.unique(textures, return_inverse=True)[1]
    for step in steps:
        near = np.floor(step.round(6)).astype(np.intp)
        near -= near.min(initial=0)
        kinds = np.unique(kinds * (near.max(initial=0) + 1) + near, return_inverse=True)[1]
    patches = patches_of(_on_grid(kinds, ground))
    patches = join_small(patches, sums.share, steps, _least_share(field, least_patch_m2), grounds)
    facts = list(_facts_of(_added(sums, patches[ground])))
    numbers, outlines = _outlined(patches, transform)
    return gpd.GeoDataFrame(
        {"facts": [facts[patch] for patch in numbers]}, geometry=outlines, crs=grid.crs
    )


def class_ground(grid: Grid, name: str, field: Field, edges: Sequence[float]) -> gpd.GeoDataFrame:
    """Outline the ground between rising edges of one property, along the edges of cells.

    For a property that only draws the edges of zones, such as conductivity or wetness, in any unit.
    A value on an edge belongs above it. Cells and patches are as in `grid_ground`; the mean of a
    patch, once none is small, says its part.

    Returns
    -------
    GeoDataFrame
        `geometry`, one Polygon each, in the grid's system, and `part`: 0 below the first
        edge, 1 above it, and so on. Unknown ground is left out.
    """
    sums, ground, transform = _working_cells(grid, field, ~np.isnan(grid.values[name]))
    means = sums.means(name)
    patches = patches_of(_on_grid(np.digitize(means, edges), ground))
    patches = join_small(patches, sums.share, [means], _least_share(field))
    of = patches[ground]
    parts = np.digitize(_added(sums, of).means(name), edges)[of]
    numbers, outlines = _outlined(_on_grid(parts, ground), transform)
    return gpd.GeoDataFrame({"part": numbers}, geometry=outlines, crs=grid.crs)


@lru_cache(maxsize=2)
def _outline(crs: str, field: Field) -> Polygon | MultiPolygon:
    return move(field.shape.segmentize(_STRAIGHT_M), field.crs, crs)


def _least_share(field: Field, least_patch_m2: float = 0.0) -> float:
    return max(LEAST_PATCH_M2, least_patch_m2) / (M2_PER_HA * field.area_ha)


def _working_cells(
    grid: Grid, field: Field, enough: NDArray[np.bool_]
) -> tuple[_Sums, NDArray[np.bool_], Affine]:
    """Put fine cells together; tell where the known ones are, listed row by row.

    Of `enough` cells enough is known. Known is a cell put together of which at least half of
    what lies in the field is. They are counted
    from the system's origin, so that they stay when the edge of the field is moved a little.
    """
    factor = max(1, round(WORKING_CELL_M / cell_m(grid, field)))
    step_east, _, west, _, step_south, north, *_ = grid.transform
    left, top = round(west / step_east) % factor, round(north / step_south) % factor

    def blocks(values: _Values) -> _Values:
        rows, columns = values.shape
        down, right = -(rows + top) % factor, -(columns + left) % factor
        whole = np.pad(values, ((top, down), (left, right)))
        added: _Values = whole.reshape(len(whole) // factor, factor, -1, factor).sum(axis=(1, 3))
        return added

    shares = field_shares(grid, field)
    known = {name: enough & ~np.isnan(values) for name, values in grid.values.items()}
    share, rated = blocks(shares), blocks(shares * enough)
    ground = (rated > 0) & (rated >= share / 2)
    sums = _Sums(
        share[ground],
        rated[ground],
        {name: blocks(shares * known[name])[ground] for name in known},
        {
            name: blocks(np.where(known[name], shares * values, 0.0))[ground]
            for name, values in grid.values.items()
        },
    )
    west, north = west - left * step_east, north - top * step_south
    transform = Affine(factor * step_east, 0.0, west, 0.0, factor * step_south, north)
    return sums, ground, transform


def _added(sums: _Sums, patch: Patches) -> _Sums:
    """Add up what belongs to the same patch."""

    def added(values: _Values) -> _Values:
        return np.asarray(np.bincount(patch, values), dtype=np.float64)

    return _Sums(
        added(sums.share),
        added(sums.rated),
        {name: added(weights) for name, weights in sums.weights.items()},
        {name: added(totals) for name, totals in sums.totals.items()},
    )


def _facts_of(sums: _Sums) -> Iterator[SoilFacts]:
    """The facts of each piece of ground, from its means."""
    names = list(sums.totals)
    rows = zip(*(sums.means(name).tolist() for name in names), strict=True)
    for rated_share, row in zip((sums.rated / sums.share).tolist(), rows, strict=True):
        means = zip(names, row, strict=True)
        facts = _facts({name: mean for name, mean in means if not math.isnan(mean)})
        share = facts.rated_share * rated_share
        yield facts if share == facts.rated_share else replace(facts, rated_share=share)


def _on_grid(numbers: Patches, ground: NDArray[np.bool_]) -> Patches:
    grid = np.full(ground.shape, -1, dtype=np.intp)
    grid[ground] = numbers
    return grid


def _outlined(patches: Patches, transform: Affine) -> tuple[list[int], NDArray[np.object_]]:
    """Follow the edges of cells round what hangs together by them: numbers and outlines."""
    drawn = list(shapes(patches.astype(np.int32), patches >= 0, transform=transform))
    rings = [ring for outline, _ in drawn for ring in outline["coordinates"]]
    corners = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    lines = np.asarray(
        shapely.linearrings(np.concatenate(rings or [np.empty((0, 2))]), indices=corners)
    )
    of = np.repeat(np.arange(len(drawn)), [len(outline["coordinates"]) for outline, _ in drawn])
    outlines = np.asarray(shapely.polygons(lines, indices=of))  # of each its shell comes first
    return [int(number) for _, number in drawn], outlines


def _kinds(means: Mapping[str, _Values]) -> NDArray[np.str_]:
    """The texture class of many means, or "organic" or "no data", as `_facts` says them."""
    parts = [means[name] for name in _TEXTURE]
    known = ~np.isnan(parts).any(axis=0)
    classes = np.array(TEXTURES)[texture_classes(*(np.where(known, part, 1 / 3) for part in parts))]
    kinds = np.where(known, classes, "no data")
    organic = means.get("organic_pct", np.full(len(kinds), np.nan)) >= ORGANIC_PCT
    return np.where(organic, "organic", kinds)


def _facts(means: Mapping[str, float]) -> SoilFacts:
    """Make facts of mean sand, silt and clay, and of organic matter where it is known.

    With as much of that as peat has, it is organic ground, and texture says nothing.
    """
    organic_pct = means.get("organic_pct")
    if is_organic(organic_pct):
        return SoilFacts(ground="organic", organic_pct=organic_pct)
    if any(name not in means for name in _TEXTURE):
        return SoilFacts(ground="no data", organic_pct=organic_pct)
    sand, silt, clay = means["sand_frac"], means["silt_frac"], means["clay_frac"]
    return SoilFacts(
        texture=texture_class(sand, silt, clay),
        sand_frac=sand,
        silt_frac=silt,
        clay_frac=clay,
        organic_pct=organic_pct,
        rated_share=1.0,
    )
