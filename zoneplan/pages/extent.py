"""Where files lie, before there is a field to read them for: to find the place to draw at."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
from rasterio.warp import transform_bounds
from shapely.geometry import MultiPolygon, Polygon, box

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84
from zoneplan.field.files import read_shapes
from zoneplan.field.outline import read_field
from zoneplan.field.raster.raster_band import about, is_raster
from zoneplan.field.shapes import Field
from zoneplan.plain_file import scratch
from zoneplan.sources import Upload, on_disk

MOST_CORNERS = 5_000  # of all edges together: a survey area with more is shown by its extent
_FINE_DEG = 2e-5  # two metres


def reach_of(uploads: Sequence[Upload], crs: str | None = None) -> MultiPolygon:
    """Where soil layers lie, in degrees: their polygons, or else only how far they reach.

    A file that cannot be read without a field, or at all, is passed over: it is told about
    once there is a field.
    """
    shapes: list[Polygon] = []
    with scratch() as room:
        for number, upload in enumerate(uploads):
            try:
                shapes += _shapes(on_disk(upload, room / str(number)), crs)
            except LayerError:
                continue
    fine = shapely.simplify(np.array(shapes, dtype=object), _FINE_DEG)
    if shapely.get_num_coordinates(fine).sum() > MOST_CORNERS:
        return MultiPolygon([box(*shapely.total_bounds(fine))])
    return MultiPolygon([*fine])


def boundary_read(upload: Upload, pick: str | None, crs: str | None) -> Field | None:
    """The field of a boundary file; None where it cannot be read as it is."""
    with scratch() as room:
        try:
            return read_field(on_disk(upload, room), pick=pick, crs=crs)
        except LayerError:
            return None


def _shapes(path: Path, crs: str | None) -> list[Polygon]:
    if is_raster(path):
        source = about(path)
        if source.crs is None:
            return []
        return [box(*transform_bounds(source.crs, WGS_84, *source.bounds))]
    frames = [frame.to_crs(WGS_84) for frame in read_shapes(path, crs).values()]
    parts = [part for frame in frames for part in shapely.get_parts(frame.geometry.to_numpy())]
    return [part for part in parts if isinstance(part, Polygon)]
