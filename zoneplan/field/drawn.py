"""What somebody drew by hand: zones of their own, and wheel tracks."""

from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from zoneplan.errors import LayerError
from zoneplan.field.columns import written
from zoneplan.field.crs import WGS_84, extent, move
from zoneplan.field.files import MOST_DRAWN_CORNERS, read_areas, read_shapes
from zoneplan.field.shapes import Field, Mark, MarkLayer, Marks, repaired
from zoneplan.field.tiles import HAIRLINE_M
from zoneplan.notices import Notice, notice
from zoneplan.terms import MarkKind
from zoneplan.units import M2_PER_HA

_NAMES = ("name", "zone", "label", "title")
_LINES = ("LineString", "MultiLineString")
_AREAS = ("Polygon", "MultiPolygon")
_MOST_MITRE = 2.0  # of the half width, so that a turn sharper than 60° is cut off: judgement


def read_drawn(path: Path, field: Field, crs: str | None = None) -> MarkLayer:
    """Read polygons drawn by hand: each stays a zone, or several, of its own.

    What was drawn outside the field is left out. Each `part` is called what a name column says, or
    else "drawn 1", "drawn 2" and so on, as the polygons lie in the file. Polygons of one name are
    one part. Where two overlap, the first wins.

    Raises
    ------
    LayerError
        When the file cannot be trusted, holds something else than polygons or none that
        meets the field, or when an outline crosses itself.
    """
    areas = read_areas(path, crs, MOST_DRAWN_CORNERS)
    parts = [_name_in(area) or f"drawn {n}" for n, (_, area) in enumerate(areas.iterrows(), 1)]
    drawn, notes = on_field(areas.assign(part=parts), field, path.name)
    return MarkLayer(
        name=path.stem,
        ground=drawn.assign(
            site=[Marks(part=Mark(MarkKind.DRAWN, name)) for name in drawn["part"]]
        )[["site", "geometry"]],
        notes=(*notes, *_overlaps(drawn, field)),
    )


def on_field(
    shapes: gpd.GeoDataFrame, field: Field, source: str
) -> tuple[gpd.GeoDataFrame, list[Notice]]:
    """Take shapes to a field's system, repair polygons, and leave out what misses the field.

    Notes of what was done come with the shapes that meet it. None that does, and a polygon past
    repair that may, are an error.
    """
    moved = shapes.to_crs(field.crs)
    near = moved.iloc[np.sort(moved.sindex.query(shapely.box(*field.shape.bounds)))]
    valid = [
        repaired(shape, field.crs, "polygon", source)
        if shape.geom_type in _AREAS
        else (shape, None)
        for shape in near.geometry
    ]
    here = near.set_geometry([shape for shape, _ in valid], crs=field.crs)
    here = here[here.intersects(field.shape)]
    if here.empty:
        there = shapes.to_crs(WGS_84).total_bounds
        raise LayerError(
            f"{source} and the field do not meet:\n"
            f"  {field.name}: {extent(move(field.shape, field.crs, WGS_84).bounds)}\n"
            f"  {source}: {extent(there)}\n"
            "Nothing of it could be shown in the plan. One of them is of another place, or its "
            "coordinate system is misstated.\nCheck both, or leave it out."
        )
    notes = [repair for _, repair in valid if repair]
    if len(here) < len(shapes):
        outside = len(shapes) - len(here)
        notes.append(notice("shapes-outside", outside=outside, shapes=len(shapes)))
    return here, notes


def _name_in(area: pd.Series) -> str | None:
    """What the file calls a polygon."""
    named = {str(column).lower(): written(area[column]) for column in area.index}
    return next((named[column] for column in _NAMES if named.get(column)), None)


def _overlaps(drawn: gpd.GeoDataFrame, field: Field) -> Iterator[Notice]:
    """Note where two parts claim the same ground, hairlines apart."""
    shapes, parts = drawn.geometry.to_numpy(), drawn["part"].tolist()
    pairs = shapely.STRtree(shapes).query(shapes, predicate="intersects").T
    first, second = np.unique(pairs[pairs[:, 0] < pairs[:, 1]], axis=0).T
    shared = shapely.intersection(shapely.intersection(shapes[first], shapes[second]), field.shape)
    for one, other, ground in zip(first, second, shared, strict=True):
        wide = 2 * ground.area > HAIRLINE_M * ground.length
        if wide and parts[one] != parts[other]:
            yield notice(
                "drawn-overlap",
                first=parts[one],
                second=parts[other],
                area_ha=ground.area / M2_PER_HA,
            )


def read_tracks(path: Path, field: Field, width_m: float, crs: str | None = None) -> MarkLayer:
    """Read wheel tracks, drawn as lines along them or as outlines; what is outside is left out.

    Outlines are taken as they are. A line stands for a width, in metres: a planter cannot follow
    what is narrower than itself.

    Raises
    ------
    LayerError
        When a file cannot be trusted, holds neither lines nor polygons or none that meets
        the field, or when an outline crosses itself.
    """
    layers = read_shapes(path, crs, MOST_DRAWN_CORNERS)
    frames = [frame.to_crs(field.crs)[["geometry"]] for frame in layers.values()]
    shapes = gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=field.crs)
    usable = shapes.geom_type.isin([*_LINES, *_AREAS]) & ~shapes.is_empty
    if not usable.any():
        kinds = sorted(set(shapes.geom_type.dropna()))
        raise LayerError(
            f"{path.name} holds {' and '.join(kinds) or 'no shapes at all'}.\n"
            "A wheel track is a line along it, or a polygon round it.\n"
            "Export the tracks again, as lines or polygons."
        )
    here, notes = on_field(shapes[usable], field, path.name)
    if not usable.all():
        unusable = int((~usable).sum())
        notes.append(notice("no-lines-or-polygons", unusable=unusable, shapes=len(usable)))
    lines = here.geom_type.isin(_LINES)
    if lines.any():
        notes.append(notice("lines-as-wide", width_m=width_m))
    wide = here.geometry[lines].buffer(
        width_m / 2, cap_style="flat", join_style="mitre", mitre_limit=_MOST_MITRE
    )
    ground = shapely.get_parts(shapely.union_all([*wide, *here.geometry[~lines]]))
    return MarkLayer(
        name=path.stem,
        ground=gpd.GeoDataFrame(
            {"site": [Marks(track=True)] * len(ground)}, geometry=ground, crs=field.crs
        ),
        notes=tuple(notes),
    )
