"""Mend an outline that crosses itself, but only where that leaves the ground as it was."""

import re

import shapely
from pyproj import CRS
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.errors import LayerError
from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.crs import WGS_84, move

SAME_AREA = 1e-6  # of the area; on 65 ha it is 0.65 m²


def repaired(
    shape: Polygon | MultiPolygon, crs: str | CRS, subject: str
) -> tuple[Polygon | MultiPolygon, str | None]:
    """Make an outline valid.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        As it was read.
    crs : str or CRS
        Its coordinate system.
    subject : str
        What to call it in a message.

    Returns
    -------
    tuple
        The outline, and what was done to it; None where nothing was.

    Raises
    ------
    LayerError
        When mending changes the area: then nobody can tell which ground was meant.
    """
    if shape.is_valid:
        return shape, None
    where = _where(shape, crs)
    mended = shapely.make_valid(shape, method="structure", keep_collapsed=False)
    assert isinstance(mended, Polygon | MultiPolygon)  # so the two options promise
    before_ha, after_ha = geodesic_area_ha(shape, crs), geodesic_area_ha(mended, crs)
    if abs(after_ha - before_ha) > SAME_AREA * before_ha:
        raise LayerError(
            f"{subject} crosses itself ({where}).\n"
            f"Its loops come to {before_ha:.3f} ha against each other, and to "
            f"{after_ha:.3f} ha when mended, so we cannot tell which ground is meant.\n"
            "Draw the outline again there, and export it."
        )
    return mended, f"{subject} crossed itself ({where}); mended, its area is the same"


def _where(shape: Polygon | MultiPolygon, crs: str | CRS) -> str:
    """Say what is wrong with a shape and where: "self-intersection near 42.1, -93.5"."""
    reason = shapely.is_valid_reason(shape)
    found = re.fullmatch(r"(.+)\[(\S+) (\S+)\]", reason)
    if found is None:
        return reason.lower()
    point = move(shapely.Point(float(found[2]), float(found[3])), crs, WGS_84)
    return f"{found[1].lower()} near latitude {point.y:.6f}, longitude {point.x:.6f}"
