"""Ground of one kind on a grid: cells put together into patches, and outlined along their edges.

Grids of patches are of whole numbers, -1 where there is no ground. What goes with the ground
cells is listed row by row.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from heapq import heapify, heappop, heappush
from itertools import pairwise
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from zoneplan.field.raster.grid import WORKING_CELL_M, Grid, cell_m, field_shares
from zoneplan.field.raster.opening import shapes
from zoneplan.field.shapes import Field
from zoneplan.soil.class_shares import texture_classes
from zoneplan.soil.texture import ORGANIC_PCT, TEXTURES, SoilFacts, is_organic, texture_class
from zoneplan.units import M2_PER_HA

# How far soils may differ and count as alike. A step of sand or clay moves the opener load
# by at most 72 N and one of organic matter by at most 87 N, for sandy loam to clay loam and
# dry to wet (worked out with soil.strength): less than what tells two zones apart.
ALIKE = {"sand_frac": 0.02, "clay_frac": 0.02, "organic_pct": 0.5}
LEAST_PATCH_M2 = 450.0  # judged: six rows planted for 100 m; hardly a planter gets a smaller zone
_TEXTURE = ("sand_frac", "silt_frac", "clay_frac")
Patches = NDArray[np.intp]
_Values = NDArray[np.float64]


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


def patches_of(kinds: Patches) -> Patches:
    """Number the patches from 0: cells of one kind that hang together by their edges.

    >>> patches_of(np.array([[7, 7, 8], [8, 7, -1]]))
    array([[ 0,  0,  1],
           [ 2,  0, -1]])
    """
    one, other = _beside(kinds)
    alike = kinds.flat[one] == kinds.flat[other]
    ties = coo_array((alike[alike], (one[alike], other[alike])), shape=(kinds.size, kinds.size))
    _, labels = connected_components(ties, directed=False)
    return _numbered(np.where(kinds < 0, -1, labels.reshape(kinds.shape)))


def join_small(
    patches: Patches,
    weights: _Values,
    measures: Sequence[_Values],
    least: float,
    kinds: NDArray[np.generic] | None = None,
) -> Patches:
    """Join each patch that weighs less than `least` to the neighbour most like it.

    The lightest goes first; what a patch has taken in counts from then on. Lighter than `least` are
    then only those without a neighbour to join.

    Parameters
    ----------
    patches : array
        What `patches_of` gives. All else goes with its ground cells.
    weights : array
        Above 0, in the unit of `least`.
    measures : sequence of array
        Patches differ by what their means differ, added up.
    kinds : array, optional
        One for all cells of a patch. Only patches of one kind join.
    """
    of = patches[patches >= 0]
    weight: list[float] = np.bincount(of, weights).tolist()
    # By measure and then by patch: few long lists, which the garbage collector is done with soon.
    sums = [np.bincount(of, weights * values).tolist() for values in measures]
    means = [np.divide(total, weight).tolist() for total in sums]
    kind = None
    if kinds is not None:
        kind = np.empty(len(weight), dtype=kinds.dtype)
        kind[of] = kinds
    near = _neighbours(patches, len(weight), kind)

    home = list(range(len(weight)))
    queue = [(light, patch) for patch, light in enumerate(weight) if light < least]
    heapify(queue)
    while queue:
        queued, patch = heappop(queue)
        if home[patch] != patch or weight[patch] != queued or not near[patch]:
            continue  # it has joined another since, or grown, or stands alone
        into = _most_like(patch, near[patch], means)
        home[patch] = into
        weight[into] += weight[patch]
        for total, mean in zip(sums, means, strict=True):
            total[into] += total[patch]
            mean[into] = total[into] / weight[into]
        for other in near[patch]:
            near[other].remove(patch)
        near[patch].discard(into)
        for other in near[patch]:
            near[other].add(into)
        near[into] |= near[patch]
        if weight[into] < least:
            heappush(queue, (weight[into], into))

    for patch in range(len(home)):
        while home[home[patch]] != home[patch]:
            home[patch] = home[home[patch]]
    return _numbered(np.array([*home, -1])[patches])  # the last is for no ground


def _most_like(patch: int, near: set[int], means: list[list[float]]) -> int:
    """The neighbour whose means differ least, added up; of several the first."""
    into, least = -1, math.inf
    mine = [(mean, mean[patch]) for mean in means]
    for other in near:
        off = 0.0
        for mean, here in mine:
            off += abs(here - mean[other])
        if into < 0 or off < least or (off == least and other < into):
            into, least = other, off
    return into


def _neighbours(patches: Patches, count: int, kind: NDArray[np.generic] | None) -> list[set[int]]:
    """Of each patch those beside it, of its own kind where kinds are given."""
    one, other = (patches.flat[places] for places in _beside(patches))
    join = one != other if kind is None else (one != other) & (kind[one] == kind[other])
    both = np.concatenate((one[join] * count + other[join], other[join] * count + one[join]))
    pairs = np.unique(both)
    ends = np.searchsorted(pairs, np.arange(count + 1) * count).tolist()
    beside = (pairs % count).tolist()
    return [set(beside[start:end]) for start, end in pairwise(ends)]


def _beside(cells: Patches) -> tuple[Patches, Patches]:
    """Places of every two ground cells that share an edge."""
    places = np.arange(cells.size).reshape(cells.shape)
    one = np.concatenate([places[:, :-1].ravel(), places[:-1].ravel()])
    other = np.concatenate([places[:, 1:].ravel(), places[1:].ravel()])
    ground = (cells.flat[one] >= 0) & (cells.flat[other] >= 0)
    return one[ground], other[ground]


def _numbered(labels: Patches) -> Patches:
    """Number the ground from 0 without gaps, in the order of the labels."""
    numbered = np.full(labels.shape, -1, dtype=np.intp)
    ground = labels >= 0
    numbered[ground] = np.unique(labels[ground], return_inverse=True)[1]
    return numbered
