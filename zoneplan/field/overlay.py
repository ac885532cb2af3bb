"""Cut layers to the field: pieces that tile it, without overlap and without gap."""

import functools
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError
from zoneplan.field.compose import (
    Disagreement,
    Supplied,
    compose,
    disagreement_notices,
    disagreements,
    supplied,
    supply_notices,
)
from zoneplan.field.crs import WGS_84, distance_m, extent, geodesic_area_ha, move
from zoneplan.field.shapes import (
    NOWHERE,
    Field,
    MarkLayer,
    Marks,
    Pieces,
    SoilLayer,
    polygons_in,
    repaired,
)
from zoneplan.field.tiles import GRID_M, HAIRLINE_M, Tiles, past_hairlines, tiles
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import SoilFacts
from zoneplan.units import M2_PER_HA

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
    """What is known of a soil polygon about the field."""

    facts: SoilFacts
    layer: str
    rank: int  # of its layer: 0 for the first


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
    near = [_near(field, layer, rank) for rank, layer in enumerate(layers)]
    soils = [soil for _, of_layer in near for soil in of_layer]
    outlines = np.concatenate([np.empty(0, dtype=object), *(shapes for shapes, _ in near)])
    marked = [site for layer in marks for site in layer.ground["site"]]
    if not marked and len({soil.rank for soil in soils}) == 1:
        tiled = tiles(field.shape, outlines)
        if tiled is not None:
            return _cut(field, layers, soils, tiled)
    moved = [layer.ground.geometry.to_crs(field.crs).to_numpy() for layer in marks]
    mark_outlines = np.concatenate([np.empty(0, dtype=object), *moved])
    faces = _faces(field, np.concatenate([outlines, mark_outlines]))
    points = shapely.point_on_surface(faces)
    from_face = past_hairlines(faces)
    over = [_firsts(soils, numbers) for numbers in _over(points, outlines)]
    composed = list(map(functools.cache(functools.partial(_composed, soils=soils)), over))
    bare = np.array([not over[face] for face in from_face.tolist()])
    if bare.all():
        raise _apart(field, layers)
    sites = [
        _first_values([marked[number] for number in numbers])
        for numbers in _over(points, mark_outlines)
    ]
    alike: dict[tuple[tuple[int, ...], Marks], list[int]] = defaultdict(list)
    whole: dict[tuple[int, ...], _Whole] = {}
    takes_from, areas_m2 = from_face.tolist(), shapely.area(faces).tolist()
    for face, at in enumerate(takes_from):
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
        ([(soils[number].layer, soils[number].facts) for number in over[at]], m2 / M2_PER_HA)
        for at, m2 in zip(takes_from, areas_m2, strict=True)
    )
    closed_m2 = shapely.area(faces[from_face != np.arange(len(faces))])
    supply = supplied(
        ((composed[at].sources, m2) for at, m2 in zip(takes_from, areas_m2, strict=True)),
        field.shape.area,
        [layer.name for layer in layers],
    )
    notes = (*supply_notices(supply), *disagreement_notices(differences), *_closed(closed_m2))
    return Cut(
        Pieces(np.array(shapes, dtype=object), facts, names, where, field.crs),
        float(uncovered_ha),
        tuple(differences),
        tuple(supply),
        notes,
    )


def _cut(field: Field, layers: Sequence[SoilLayer], soils: Sequence[_Soil], tiled: Tiles) -> Cut:
    """Lay out tiles of one layer."""
    owners = [soils[number] for number in tiled.owners.tolist()]
    distinct = {id(owner.facts): owner.facts for owner in owners}
    composed = {key: compose([facts]) for key, facts in distinct.items()}
    (name,) = {owner.layer for owner in owners}
    areas_m2: dict[int, float] = defaultdict(float)
    for owner, m2 in zip(owners, shapely.area(tiled.shapes).tolist(), strict=True):
        areas_m2[id(owner.facts)] += m2
    supply = supplied(
        ((dict.fromkeys(composed[key].sources, name), m2) for key, m2 in areas_m2.items()),
        field.shape.area,
        [layer.name for layer in layers],
    )
    notes = (*supply_notices(supply), *_closed(tiled.closed_m2))
    pieces = Pieces(
        tiled.shapes,
        [composed[id(owner.facts)].facts for owner in owners],
        [name] * len(owners),
        [NOWHERE] * len(owners),
        field.crs,
    )
    return Cut(pieces, 0.0, (), tuple(supply), notes)


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


def _firsts(soils: Sequence[_Soil], over: Iterable[int]) -> tuple[int, ...]:
    """Number the polygon of each layer that counts: its first."""
    first: dict[int, int] = {}
    for number in over:
        first.setdefault(soils[number].rank, number)
    return tuple(first.values())


def _closed(closed_m2: NDArray[np.float64]) -> list[Notice]:
    """Note what hairlines were closed, but for those that are not even a square metre."""
    m2 = float(closed_m2.sum())
    if m2 < 1:
        return []
    return [
        notice(
            "hairlines-closed", strips=len(closed_m2), width_m=HAIRLINE_M, area_ha=m2 / M2_PER_HA
        )
    ]


def _near(field: Field, layer: SoilLayer, rank: int) -> tuple[_Shapes, list[_Soil]]:
    """Take a layer's polygons about the field into the field's metric system.

    They are cut down to the field's surroundings on the way: a county then costs no more
    than a field, and no edge is too long to stay straight.
    """
    ground = layer.ground
    window = _window(field, _ROUND_M, ground.crs)
    beside = _window(field, 2 * HAIRLINE_M, ground.crs)  # what is further off cuts nothing
    near = np.sort(ground.sindex.query(beside, predicate="intersects"))
    shapes = ground.geometry.to_numpy()[near]
    soils = [_Soil(facts, layer.name, rank) for facts in ground["facts"].to_numpy()[near]]
    for at in np.flatnonzero(~shapely.is_valid(shapes)).tolist():
        shapes[at], note = repaired(shapes[at], ground.crs, "soil polygon", layer.name)
        facts = soils[at].facts
        assert note is not None
        soils[at] = soils[at]._replace(facts=replace(facts, notes=(*facts.notes, note)))
    shapely.prepare(window)
    beyond = ~shapely.contains_properly(window, shapes)
    shapes[beyond] = _within(shapes[beyond], window)
    return move(shapes, ground.crs, field.crs), soils


def _window(field: Field, round_m: float, crs: CRS) -> Polygon:
    """The box of a layer's system that holds a field and so much around it."""
    around = shapely.box(*field.shape.bounds).buffer(round_m).segmentize(_ROUND_M)
    return shapely.box(*move(around, field.crs, crs).bounds)


def _within(shapes: _Shapes, window: Polygon) -> _Shapes:
    """What of shapes lies in a window, and has an area."""
    cut = shapely.clip_by_rect(shapes, *window.bounds)
    broken = ~shapely.is_valid(cut)  # as it may, the quick way
    cut[broken] = shapely.intersection(shapes[broken], window)
    areas = np.empty(len(cut), dtype=object)
    areas[:] = list(map(_polygons, cut))
    return areas


def _polygons(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """What of a shape has an area."""
    if isinstance(shape, Polygon | MultiPolygon):
        return shape
    return MultiPolygon(polygons_in(shape))


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


def _first_values(sites: Iterable[Marks]) -> Marks:
    """Each value from the first site that says something of it.

    >>> site = _first_values([Marks(slope_frac=0.02), Marks(headland=True, slope_frac=0.05)])
    >>> site.headland, site.slope_frac
    (True, 0.02)
    """
    values: dict[str, Any] = {}
    for site in sites:
        for name, value in vars(site).items():
            if value != getattr(NOWHERE, name):
                values.setdefault(name, value)
    return Marks(**values)


def _apart(field: Field, layers: Sequence[SoilLayer]) -> LayerError:
    here = move(field.shape, field.crs, WGS_84)
    rows = [f"  {field.name}: {extent(here.bounds)}"]
    for layer in layers:
        if layer.ground.empty:
            rows.append(f"  {layer.name}: has no soil near it")
            continue
        there = layer.ground.geometry.to_crs(WGS_84)
        nearest = there.iloc[int(np.argmin(shapely.distance(there.to_numpy(), here)))]
        away_km = distance_m(here, nearest) / 1000
        rows.append(f"  {layer.name}: {extent(there.total_bounds)}; {away_km:,.1f} km away")
    return LayerError(
        "The boundary and the soil do not meet:\n"
        + "\n".join(rows)
        + "\nNo zone can be drawn without soil. One of them is of another place, or its "
        "coordinate system is misstated.\nCheck both, and give the soil that lies under the field."
    )
