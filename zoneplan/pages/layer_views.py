"""What lies on the field besides its zones, layer by layer, light enough for a screen.

Ground of one kind is joined. What is planned is never taken from here.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import GeometryCollection, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.compose import LEAST_SAID_HA
from zoneplan.field.raster.terrain import STEEP_FRAC
from zoneplan.field.shapes import Field, MarkLayer, Marks, SoilLayer, polygons_in
from zoneplan.run import Run
from zoneplan.soil.texture import TEXTURES, SoilFacts
from zoneplan.units import M2_PER_HA, percent
from zoneplan.zones.marks import marks_of

SOURCES, DISAGREEMENTS = "where soil comes from", "where soil layers disagree"
_SOIL = "soil: "
NOTHING = "no layer"  # of ground that none covers
AGREED = "no disagreement"
NEITHER = "neither wet nor steep"
UNMARKED = "nothing marked"
UNKNOWN_KINDS = ("no data", "no texture data")
LEAST_HA = 0.02  # of a kind: less would read 0.0 acres
MOST_NAMES = 60  # more names of ground than this are not told one by one
FINEST_M = 0.5  # a screen of 600 dots shows a field of 65 ha at 1.4 m a dot
MOST_CORNERS = 5_000  # of a layer: some 240 kB in degrees, with hatches
Layer = TypeVar("Layer")
_Kinds = Mapping[str, BaseGeometry]  # kind of ground to where it lies


@dataclass(frozen=True)
class Patch:
    """Ground that the map shades alike and that a pointer tells by one name."""

    kind: str  # a line of the legend
    name: str  # what the ground is called
    shape: Polygon | MultiPolygon  # in the field's metric system, for the screen
    area_ha: float


@dataclass(frozen=True)
class View:
    """One layer, as the map shows it."""

    title: str
    about: str  # what tells kinds apart: "soil", "source", "disagreement" or "mark"
    patches: tuple[Patch, ...]

    def kinds_ha(self) -> dict[str, float]:
        """Hectares by kind, in the order of the legend."""
        areas_ha: dict[str, float] = defaultdict(float)
        for patch in self.patches:
            areas_ha[patch.kind] += patch.area_ha
        return dict(areas_ha)


def titles(run: Run) -> list[str]:
    """Name every layer that can be shown besides the zones."""
    summary, plan = run.summary, run.plan
    several = len(summary.soils) > 1 or plan.uncovered_ha > 0
    return [
        *(_SOIL + name for name in _soils(summary.soils)),
        *([SOURCES] if several else []),
        *([DISAGREEMENTS] if plan.disagreements else []),
        *_marks(summary.marks),
    ]


def view(run: Run, title: str) -> View:
    """Show one of the layers that `titles` names."""
    field, soils, marks = run.plan.field, _soils(run.summary.soils), _marks(run.summary.marks)
    if title == SOURCES:
        return View(title, "source", _patches(_sources(field, soils)))
    if title == DISAGREEMENTS:
        return View(title, "disagreement", _patches(_disagreements(field, soils)))
    if title in marks:
        return View(title, "mark", _patches(_mark(field, marks[title])))
    return View(title, "soil", _patches(_soil(field, soils[title.removeprefix(_SOIL)])))


def planned_soil(run: Run) -> View:
    """Show the soil that the plan is made from: of two layers, what the first says that does."""
    planned: dict[str, list[BaseGeometry]] = defaultdict(list)
    taken: BaseGeometry = GeometryCollection()
    for _, kinds in _by_turn(run.plan.field, _soils(run.summary.soils)):
        for kind, shape in kinds.items():
            planned[kind].append(_area(shape.difference(taken)))
        taken = shapely.union_all([taken, *kinds.values()])
    ground = {(kind, kind): _area(shapely.union_all(parts)) for kind, parts in planned.items()}
    return View("soil", "soil", _patches(_in_order(ground)))


def mark_words(site: Marks) -> str | None:
    """What a mark says of its ground; None where it says nothing.

    >>> mark_words(Marks(headland=True)), mark_words(Marks())
    ('headland', None)
    """
    if site.slope_frac is not None:
        return _lies(site)
    return next((mark.name for mark in marks_of(site)), None)


def kind_of_ground(facts: SoilFacts) -> str:
    """The texture class of a soil, or else what the ground is.

    >>> kind_of_ground(SoilFacts(texture="silt loam")), kind_of_ground(SoilFacts(ground="water"))
    ('silt loam', 'water')
    """
    if facts.ground == "soil":
        return facts.texture or "no texture data"
    return facts.ground


# ---- one layer ---------------------------------------------------------------------------------

_Ground = Mapping[tuple[str, str], BaseGeometry]  # (kind, name) to where it lies


def _soil(field: Field, layer: SoilLayer) -> _Ground:
    """Ground by texture class, and by what the source calls it where that can be told."""
    here = _clipped(field, layer.ground)
    facts = here["facts"].tolist()
    names = [fact.named or "" for fact in facts]
    if len(set(names)) > MOST_NAMES:
        names = [""] * len(names)
    kinds = [kind_of_ground(fact) for fact in facts]
    labels = [f"{name}: {kind}" if name else kind for name, kind in zip(names, kinds, strict=True)]
    return _in_order(_joined(zip(kinds, labels, strict=True), here.geometry))


def _mark(field: Field, layer: MarkLayer) -> _Ground:
    here = _clipped(field, layer.ground)
    sites = here["site"].tolist()
    kinds = [mark_words(site) or UNMARKED for site in sites]
    if len(set(kinds)) > MOST_NAMES:
        kinds = ["drawn"] * len(kinds)
    return _joined(zip(kinds, kinds, strict=True), here.geometry)


def _lies(site: Marks) -> str:
    if site.gathers_water:
        return "water gathers"
    return f"steep: {percent(STEEP_FRAC)} or more" if site.steep else NEITHER


def _sources(field: Field, soils: Mapping[str, SoilLayer]) -> _Ground:
    """Which layer is planned where: of two, the first that says what the ground is."""
    uncovered: BaseGeometry = field.shape
    ground: dict[str, list[BaseGeometry]] = {name: [] for name in soils}
    for name, kinds in _by_turn(field, soils):
        here = shapely.union_all([*kinds.values()])
        ground[name].append(uncovered.intersection(here))
        uncovered = _area(uncovered.difference(here))
    joined = {(name, name): _area(shapely.union_all(parts)) for name, parts in ground.items()}
    return joined | {(NOTHING, NOTHING): uncovered}


def _by_turn(field: Field, soils: Mapping[str, SoilLayer]) -> list[tuple[str, _Kinds]]:
    """What each layer says of the ground, and after all of them where each knows nothing."""
    claims = [(name, _kinds_of(field, layer)) for name, layer in soils.items()]
    return [
        (name, {kind: shape for kind, shape in kinds.items() if (kind in UNKNOWN_KINDS) is unknown})
        for unknown in (False, True)
        for name, kinds in claims
    ]


def _disagreements(field: Field, soils: Mapping[str, SoilLayer]) -> _Ground:
    """Where a layer says another class than the first that says any."""
    ground: dict[tuple[str, str], BaseGeometry] = {}
    firsts: list[tuple[str, _Kinds]] = []
    spoken: BaseGeometry = GeometryCollection()  # for, by some layer
    for name, layer in soils.items():
        kinds = {
            kind: shape
            for kind, shape in _kinds_of(field, layer).items()
            if kind not in UNKNOWN_KINDS
        }
        for first, claims in firsts:
            for one, ours in claims.items():
                for other, theirs in kinds.items():
                    label = f"{first} says {one}, {name} says {other}"
                    if one != other:
                        ground[label, label] = _area(ours.intersection(theirs))
        firsts.append(
            (name, {kind: _area(shape.difference(spoken)) for kind, shape in kinds.items()})
        )
        spoken = shapely.union_all([spoken, *kinds.values()])
    ranked = sorted(ground.items(), key=lambda pair: -pair[1].area)
    disputed = {key: shape for key, shape in ranked if shape.area / M2_PER_HA >= LEAST_SAID_HA}
    agreed = _area(field.shape.difference(shapely.union_all([*disputed.values()])))
    return disputed | {(AGREED, AGREED): agreed}


def _kinds_of(field: Field, layer: SoilLayer) -> dict[str, BaseGeometry]:
    """Where each kind of ground lies; of two polygons that overlap, the first counts."""
    here = _clipped(field, layer.ground)
    kinds = [kind_of_ground(facts) for facts in here["facts"]]
    joined = _joined(zip(kinds, kinds, strict=True), here.geometry)
    return {kind: shape for (kind, _), shape in _in_order(joined).items()}


def _joined(names: Iterable[tuple[str, str]], shapes: Iterable[BaseGeometry]) -> _Ground:
    alike: dict[tuple[str, str], list[BaseGeometry]] = defaultdict(list)
    for name, shape in zip(names, shapes, strict=True):
        alike[name].append(shape)
    return {name: _area(shapely.union_all(parts)) for name, parts in alike.items()}


def _in_order(ground: _Ground) -> dict[tuple[str, str], BaseGeometry]:
    """Soils from coarse to fine, then what is no soil."""
    ranks = {texture: rank for rank, texture in enumerate(TEXTURES)}
    return dict(sorted(ground.items(), key=lambda pair: (ranks.get(pair[0][0], 99), pair[0])))


def _patches(ground: _Ground) -> tuple[Patch, ...]:
    """What the map shows of ground, but for kinds that are hardly there."""
    kinds_m2: dict[str, float] = defaultdict(float)
    for (kind, _), shape in ground.items():
        kinds_m2[kind] += shape.area
    visible = {
        key: shape for key, shape in ground.items() if kinds_m2[key[0]] >= LEAST_HA * M2_PER_HA
    }
    return tuple(
        Patch(kind, name, screen, shape.area / M2_PER_HA)
        for ((kind, name), shape), screen in zip(
            visible.items(), _light([*visible.values()]), strict=True
        )
    )


# ---- shapes for a screen ------------------------------------------------------------------------


def _clipped(field: Field, ground: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """A layer's polygons in the field, in its metric system, without overlaps."""
    window = gpd.GeoSeries([field.shape], crs=field.crs).to_crs(ground.crs).total_bounds
    near = ground.iloc[np.sort(ground.sindex.query(shapely.box(*window)))].to_crs(field.crs)
    shapes = shapely.make_valid(near.geometry.to_numpy())
    inside = shapely.intersection(shapes, field.shape)
    apart = near.set_geometry(
        gpd.GeoSeries([_area(shape) for shape in _apart(inside)], near.index, crs=field.crs)
    )
    return apart[~apart.is_empty]


def _light(shapes: Sequence[BaseGeometry]) -> list[Polygon | MultiPolygon]:
    """Coarsen shapes together, so that they still fit, until a browser takes them easily."""
    fine, reach_m = np.array([*shapes], dtype=object), FINEST_M
    coarse = shapely.coverage_simplify(fine, reach_m)
    while shapely.get_num_coordinates(coarse).sum() > MOST_CORNERS:
        reach_m *= 2
        seen = [_without_specks(shape, (2 * reach_m) ** 2) for shape in fine]
        coarse = shapely.coverage_simplify(np.array(seen, dtype=object), reach_m)
    return [*coarse]


def _area(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """What of a shape is area: cuts leave points and lines where edges meet."""
    if isinstance(shape, Polygon | MultiPolygon):
        return shape
    return MultiPolygon(polygons_in(shape))


def _apart(shapes: Iterable[BaseGeometry]) -> list[BaseGeometry]:
    """Take from each shape what the ones before it cover."""
    apart = np.array([*shapes], dtype=object)
    one, other = shapely.STRtree(apart).query(apart, predicate="overlaps")
    within, over = shapely.STRtree(apart).query(apart, predicate="within")
    pairs = {*zip(one.tolist(), other.tolist(), strict=True)}
    pairs |= {*zip(within.tolist(), over.tolist(), strict=True)}
    pairs |= {(second, first) for first, second in pairs}
    for late, early in sorted(pairs):
        if early < late:
            apart[late] = apart[late].difference(apart[early])
    return [*apart]


def _without_specks(shape: BaseGeometry, least_m2: float) -> BaseGeometry:
    """Leave out islands and fill holes that are too small to be seen."""
    parts = [
        Polygon(
            part.exterior,
            [interior for interior in part.interiors if Polygon(interior).area >= least_m2],
        )
        for part in shapely.get_parts(shape)
        if part.area >= least_m2
    ]
    return MultiPolygon(parts)


# ---- names -------------------------------------------------------------------------------------


def _soils(layers: Iterable[SoilLayer]) -> dict[str, SoilLayer]:
    return _each_its_own((layer.name, layer) for layer in layers)


def _marks(layers: Iterable[MarkLayer]) -> dict[str, MarkLayer]:
    return _each_its_own((_called(layer), layer) for layer in layers)


def _called(layer: MarkLayer) -> str:
    """What a layer of marks is about, and its name where that is not the same."""
    what = next(iter(subjects(layer)), "marks")
    return what if what == layer.name else f"{what}: {layer.name}"


def subjects(layer: MarkLayer) -> list[str]:
    """What a layer of marks is about."""
    sites = layer.ground["site"].tolist()
    there = {
        "lie of the land": any(site.slope_frac is not None for site in sites),
        "headland": any(site.headland for site in sites),
        "wheel tracks": any(site.track for site in sites),
        "zones or edges": any(site.part is not None for site in sites),
    }
    return [subject for subject, holds in there.items() if holds]


def _each_its_own(named: Iterable[tuple[str, Layer]]) -> dict[str, Layer]:
    """Layers by name; a second of one name gets a number.

    >>> _each_its_own([("soil", 1), ("soil", 2), ("soil", 3)])
    {'soil': 1, 'soil (2)': 2, 'soil (3)': 3}
    """
    layers: dict[str, Layer] = {}
    for name, layer in named:
        number = sum(title == name or title.startswith(f"{name} (") for title in layers)
        layers[f"{name} ({number + 1})" if number else name] = layer
    return layers
