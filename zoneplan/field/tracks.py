"""Wheel tracks: where other wheels than the planter's run, year by year."""

from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

from zoneplan.errors import LayerError
from zoneplan.field.drawn import on_field
from zoneplan.field.files import MOST_DRAWN_CORNERS, read_shapes
from zoneplan.field.shapes import Field, MarkLayer, Marks
from zoneplan.notices import notice

_LINES = ("LineString", "MultiLineString")
_AREAS = ("Polygon", "MultiPolygon")
_MOST_MITRE = 2.0  # of the half width, so that a turn sharper than 60° is cut off: judgement


def read_tracks(
    path: Path | str, field: Field, width_m: float, crs: str | None = None
) -> MarkLayer:
    """Read wheel tracks, drawn as lines along them or as outlines.

    Parameters
    ----------
    path : Path or str
        Shapefile, GeoJSON, GeoPackage or KML; a zip or a folder of these.
    field : Field
        What runs outside it is left out.
    width_m : float
        Width that a line stands for; outlines are taken as they are. A planter cannot
        follow what is narrower than itself. [m]
    crs : str, optional
        Coordinate system of files that do not state one.

    Raises
    ------
    LayerError
        When a file cannot be trusted, holds neither lines nor polygons or none that meets
        the field, or when an outline crosses itself.
    """
    path = Path(path)
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
