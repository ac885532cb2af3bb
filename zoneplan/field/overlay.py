"""Cut layers to the field: pieces that tile it, without overlap and without gap."""

import functools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, WGS_84_GEOD, geodesic_area_ha, move
from zoneplan.field.disagreement import Disagreement, disagreements, noted
from zoneplan.field.repair import SAME_AREA, repaired
from zoneplan.field.shapes import NOWHERE, Field, MarkLayer, Marks, Pieces, SoilLayer
from zoneplan.field.supply import Supplied, compose, supplied, supply_notices
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import SoilFacts
from zoneplan.units import M2_PER_HA

GRID_M = 1e-7  # corners are put on a grid this fine, so that lines that should meet do
HAIRLINE_M = 0.2  # degrees with six decimals are good to 0.1 m; nobody maps soil so narrow
_ROUND_M = 50.0  # a soil polygon is first cut down to the field and this much around it
_Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Cut:
    """A field cut along its layers."""

    pieces: Pieces
    uncovered_ha: float  # ground that no layer covers
    disagreements: tuple[Disagreement, ...]  # between soil layers, the largest first
    supplied: tuple[Supplied, ...]  # what each layer said of how much of the field
    notes: tuple[Notice, ...]


class _Soil(NamedTuple):
    """A soil polygon about the field, in the field's metric system."""

    shape: Polygon | MultiPolygon
    facts: SoilFacts
    layer: str
    rank: int  # of its layer: 0 for the first


class _Mark(NamedTuple):
    """A marked polygon, in the field's metric system."""

    shape: BaseGeometry
    site: Marks


def overlay(field: Field, layers: Sequence[SoilLayer], marks: Sequence[MarkLayer] = ()) -> Cut:
    """Cut the layers to the field. Where two polygons overlap, the first wins.

    Of two layers the first wins that says something, property by property: see `compose`.

    Parameters
    ----------
    field : Field
        The ground to tile.
    layers : sequence of SoilLayer
        Polygons of soils, in any coordinate systems.
    marks : sequence of MarkLayer
        Polygons of sites, valid, in any coordinate systems. Each value of a site is taken
        from the first polygon that says something of it.

    Raises
    ------
    LayerError
        When no layer meets the field, or a soil polygon in it cannot be mended.

    Notes
    -----
    All outlines, the field's, the soils' and the marks', are cut where they cross and laid
    out as faces; then each face is looked up in the layers. So the pieces fit each other by
    the way they are made, however ill the layers fit.

    A strip narrower than a hairline, covered or not, is rounding in the files and no
    ground: it goes to what lies beside it.
    """
    soils = [soil for rank, layer in enumerate(layers) for soil in _near(field, layer, rank)]
    marked = [mark for layer in marks for mark in _marks(field, layer)]
    outlines = np.array([soil.shape for soil in soils], dtype=object)
    if not marked and len({soil.rank for soil in soils}) == 1:
        tiles = _tiles(field, outlines)
        if tiles is not None:
            return _cut(field, layers, soils, *tiles)
    mark_outlines = np.array([mark.shape for mark in marked], dtype=object)
    faces = _faces(field, np.concatenate([outlines, mark_outlines]))
    points = shapely.point_on_surface(faces)
    from_face = _past_hairlines(faces)
    over = _over(points, outlines)
    compose_once = functools.cache(functools.partial(_composed, soils=soils))
    composed = [compose_once(tuple(_firsts(soils, numbers))) for numbers in over]
    bare = np.array([not over[face] for face in from_face.tolist()])
    if bare.all():
        raise _apart(field, layers)
    sites = [
        _first_said([marked[number].site for number in numbers])
        for numbers in _over(points, mark_outlines)
    ]
    alike: dict[tuple[tuple[int, ...], Marks], list[int]] = defaultdict(list)
    whole: dict[tuple[int, ...], _Whole] = {}
    for face, at in enumerate(from_face.tolist()):
        composite = composed[at]
        whole.setdefault(composite.numbers, composite)
        alike[composite.numbers, sites[at]].append(face)

    pieces = [
        (shape, whole[numbers].facts, whole[numbers].layer, site)
        for (numbers, site), members in sorted(
            alike.items(), key=lambda part: part[0][0] or (len(soils),)
        )
        for shape in shapely.get_parts(shapely.coverage_union_all(faces[members]))
    ]
    shapes, facts, names, where = zip(*pieces, strict=True)
    uncovered_ha = sum(geodesic_area_ha(face, field.crs) for face in faces[bare])
    differences = disagreements(
        (_told([soils[number] for number in over[at]]), face.area / M2_PER_HA)
        for face, at in zip(faces, from_face.tolist(), strict=True)
    )
    closed_ha = shapely.area(faces[from_face != np.arange(len(faces))]) / M2_PER_HA
    supply = supplied(
        (
            (composed[at].sources, face.area)
            for face, at in zip(faces, from_face.tolist(), strict=True)
        ),
        field.shape.area,
        [layer.name for layer in layers],
    )
    notes = (*supply_notices(supply), *noted(differences), *_closed(closed_ha))
    return Cut(
        Pieces(np.array(shapes, dtype=object), facts, names, where, field.crs),
        float(uncovered_ha),
        tuple(differences),
        tuple(supply),
        notes,
    )


def _tiles(
    field: Field, outlines: _Shapes
) -> tuple[_Shapes, NDArray[np.intp], NDArray[np.float64]] | None:
    """The parts of polygons in the field, which each is of, and the hairlines closed. [ha].

    None where they do not tile it.

    Nothing needs to be noded where a map is a coverage, as surveys are: polygons inside the
    field stay as they are, the others are cut along its edge. It is tried, and taken only where
    the parts fit each other and fill the field.
    """
    outlines = shapely.set_precision(outlines, GRID_M, mode="pointwise")
    if not shapely.is_valid(outlines).all():
        return None
    ground = shapely.set_precision(field.shape, GRID_M)
    shapely.prepare(ground)
    near = np.flatnonzero(shapely.intersects(ground, outlines))
    inside = shapely.contains_properly(ground, outlines[near])
    parts = outlines[near]
    parts[~inside] = shapely.intersection(parts[~inside], ground, grid_size=GRID_M)
    pieces, of = shapely.get_parts(parts, return_index=True)
    areas_m2 = shapely.area(pieces)
    areal = areas_m2 > 0
    pieces, of, areas_m2 = pieces[areal], of[areal], areas_m2[areal]
    filled = abs(areas_m2.sum() - field.shape.area) <= SAME_AREA * field.shape.area
    if not filled or not shapely.coverage_is_valid(pieces):
        return None
    thin = 2 * areas_m2 < HAIRLINE_M * shapely.length(pieces)
    if not thin.any():
        return pieces, near[of], areas_m2[:0] / M2_PER_HA
    from_piece = _past_hairlines(pieces)
    closed = from_piece != np.arange(len(pieces))
    of = of[from_piece]
    takers = np.unique(of[closed])
    stay = ~np.isin(of, takers)
    whole = [shapely.coverage_union_all(pieces[of == taker]) for taker in takers]
    grown, at = shapely.get_parts(np.array(whole, dtype=object), return_index=True)
    owners = near[np.concatenate([of[stay], takers[at]])]
    return np.concatenate([pieces[stay], grown]), owners, areas_m2[closed] / M2_PER_HA


def _cut(
    field: Field,
    layers: Sequence[SoilLayer],
    soils: Sequence[_Soil],
    pieces: _Shapes,
    of: NDArray[np.intp],
    closed_ha: NDArray[np.float64],
) -> Cut:
    """Lay out pieces of one layer that tile the field."""
    order = np.argsort(of, kind="stable")
    pieces, owners = pieces[order], [soils[number] for number in of[order].tolist()]
    compose_once = functools.cache(lambda facts: compose([facts]))
    composed = [compose_once(owner.facts) for owner in owners]
    supply = supplied(
        (
            (dict.fromkeys(whole.sources, owner.layer), m2)
            for whole, owner, m2 in zip(
                composed, owners, shapely.area(pieces).tolist(), strict=True
            )
        ),
        field.shape.area,
        [layer.name for layer in layers],
    )
    notes = (*supply_notices(supply), *_closed(closed_ha))
    laid_out = Pieces(
        pieces,
        [whole.facts for whole in composed],
        [owner.layer for owner in owners],
        [NOWHERE] * len(pieces),
        field.crs,
    )
    return Cut(laid_out, 0.0, (), tuple(supply), notes)


class _Whole(NamedTuple):
    """What the polygons over a face say of it together."""

    numbers: tuple[int, ...]  # of the polygons that had a part, the one that says what it is first
    facts: SoilFacts
    layer: str | None
    sources: dict[str, str]  # property to layer


def _composed(over: tuple[int, ...], soils: Sequence[_Soil]) -> _Whole:
    if not over:
        return _Whole((), SoilFacts(ground="no data"), None, {})
    composed = compose([soils[number].facts for number in over])
    used = dict.fromkeys((composed.base, *composed.sources.values()))
    return _Whole(
        tuple(over[place] for place in used),
        composed.facts,
        soils[over[composed.base]].layer,
        {name: soils[over[place]].layer for name, place in composed.sources.items()},
    )


def _firsts(soils: Sequence[_Soil], over: Iterable[int]) -> Iterable[int]:
    """Number the polygon of each layer that counts: its first."""
    first: dict[int, int] = {}
    for number in over:
        first.setdefault(soils[number].rank, number)
    return first.values()


def _told(over: Iterable[_Soil]) -> list[tuple[str, SoilFacts]]:
    """What each layer says, of which the first polygon counts."""
    first: dict[int, tuple[str, SoilFacts]] = {}
    for soil in over:
        first.setdefault(soil.rank, (soil.layer, soil.facts))
    return list(first.values())


def _closed(closed_ha: NDArray[np.float64]) -> list[Notice]:
    """Note what hairlines were closed, but for those that are not even a square metre."""
    if closed_ha.sum() * M2_PER_HA < 1:
        return []
    return [
        notice(
            "hairlines-closed",
            strips=len(closed_ha),
            width_m=HAIRLINE_M,
            area_ha=float(closed_ha.sum()),
        )
    ]


def _near(field: Field, layer: SoilLayer, rank: int) -> Iterator[_Soil]:
    """Take a layer's polygons about the field into the field's metric system.

    They are cut down to the field's surroundings on the way: a county then costs no more
    than a field, and no edge is too long to stay straight.
    """
    ground = layer.ground
    around = shapely.box(*field.shape.bounds).buffer(_ROUND_M).segmentize(_ROUND_M)
    window = shapely.box(*move(around, field.crs, ground.crs).bounds)
    near = np.sort(ground.sindex.query(window, predicate="intersects"))
    shapes, notes = ground.geometry.to_numpy()[near], dict[int, Notice | None]()
    for at in np.flatnonzero(~shapely.is_valid(shapes)).tolist():
        shapes[at], notes[at] = repaired(shapes[at], ground.crs, "soil polygon", layer.name)
    shapely.prepare(window)
    beyond = ~shapely.contains_properly(window, shapes)
    shapes[beyond] = shapely.intersection(shapes[beyond], window)
    areas = np.empty(len(shapes), dtype=object)
    areas[:] = list(map(_polygons, shapes))
    moved = move(areas, ground.crs, field.crs)
    for at, (shape, facts) in enumerate(zip(moved, ground["facts"].iloc[near], strict=True)):
        note = notes.get(at)
        soil_facts = replace(facts, notes=(*facts.notes, note)) if note else facts
        yield _Soil(shape, soil_facts, layer.name, rank)


def _polygons(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """What of a shape has an area."""
    if isinstance(shape, Polygon | MultiPolygon):
        return shape
    return MultiPolygon([part for part in shapely.get_parts(shape) if isinstance(part, Polygon)])


def _marks(field: Field, layer: MarkLayer) -> Iterator[_Mark]:
    ground = layer.ground.to_crs(field.crs)
    yield from map(_Mark, ground.geometry, ground["site"])


def _faces(field: Field, outlines: _Shapes) -> _Shapes:
    """Cut the field along every outline."""
    edge = field.shape.boundary
    lines = [edge, *shapely.boundary(outlines), *_ties(edge, outlines)]
    noded = shapely.union_all(lines, grid_size=GRID_M)
    faces = shapely.get_parts(shapely.polygonize([noded]))
    return faces[shapely.within(shapely.point_on_surface(faces), field.shape)]


def _ties(edge: BaseGeometry, outlines: _Shapes) -> _Shapes:
    """Lines from corners to the field's edge, where that is only a hairline away.

    They part a hairline among the soils and the marks that it runs past.
    """
    shapely.prepare(edge)
    corners = np.asarray(shapely.points(np.unique(shapely.get_coordinates(outlines), axis=0)))
    ties = shapely.shortest_line(corners[shapely.dwithin(corners, edge, HAIRLINE_M)], edge)
    return ties[shapely.length(ties) > 0]


def _over(points: _Shapes, outlines: _Shapes) -> list[list[int]]:
    """Number the polygons that lie over each point, in their order."""
    point, number = shapely.STRtree(outlines).query(points, predicate="within")
    over: list[list[int]] = [[] for _ in points]
    for at, which in sorted(zip(point.tolist(), number.tolist(), strict=True)):
        over[at].append(which)
    return over


def _first_said(sites: Iterable[Marks]) -> Marks:
    """Each value from the first site that says something of it.

    >>> site = _first_said([Marks(slope_frac=0.02), Marks(headland=True, slope_frac=0.05)])
    >>> site.headland, site.slope_frac
    (True, 0.02)
    """
    values: dict[str, Any] = {}
    for site in sites:
        for name, value in vars(site).items():
            if value != getattr(NOWHERE, name):
                values.setdefault(name, value)
    return Marks(**values)


def _past_hairlines(faces: _Shapes) -> NDArray[np.intp]:
    """Number the face that each face takes its soil and site from.

    That is itself; or, where it is narrower than a hairline, the one it has the longest
    border with.
    """
    from_face = np.arange(len(faces))
    settled = 2 * shapely.area(faces) / shapely.length(faces) >= HAIRLINE_M
    while True:
        loose, firm = np.flatnonzero(~settled), np.flatnonzero(settled)
        one, other = shapely.STRtree(faces[firm]).query(faces[loose], predicate="intersects")
        one, other = loose[one], firm[other]
        borders_m = shapely.length(shapely.intersection(faces[one], faces[other]))
        order = np.argsort(borders_m)
        order = order[borders_m[order] > 0]
        if not len(order):
            return from_face
        # Of several, the last: the longest border.
        from_face[one[order]] = from_face[other[order]]
        settled[one[order]] = True


def _apart(field: Field, layers: Sequence[SoilLayer]) -> LayerError:
    here = move(field.shape, field.crs, WGS_84)
    rows = [f"  {field.name}: {extent(here.bounds)}"]
    for layer in layers:
        if layer.ground.empty:
            rows.append(f"  {layer.name}: has no soil near it")
            continue
        there = layer.ground.geometry.to_crs(WGS_84)
        nearest = there.iloc[int(np.argmin(shapely.distance(there.to_numpy(), here)))]
        ends = shapely.get_coordinates(shapely.shortest_line(here, nearest))
        _, _, metres = WGS_84_GEOD.inv(*ends[0], *ends[1])
        rows.append(f"  {layer.name}: {extent(there.total_bounds)}; {metres / 1000:,.1f} km away")
    return LayerError(
        "The boundary and the soil do not meet:\n"
        + "\n".join(rows)
        + "\nNo zone can be drawn without soil. One of them is of another place, or its "
        "coordinate system is misstated.\nCheck both, and give the soil that lies under the field."
    )


def extent(bounds: Sequence[float]) -> str:
    """Say bounds in degrees.

    >>> extent((-93.5, 42.0, -93.49, 42.01))
    'longitude -93.5000 to -93.4900, latitude 42.0000 to 42.0100'
    """
    west, south, east, north = bounds
    return f"longitude {west:.4f} to {east:.4f}, latitude {south:.4f} to {north:.4f}"
