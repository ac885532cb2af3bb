"""Repair an outline that crosses itself, but only where that leaves the ground as it was."""

import re

import shapely
from pyproj import CRS
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, geodesic_area_ha, move
from zoneplan.notices import Notice, notice

SAME_AREA = 1e-6  # of the area; on 65 ha it is 0.65 m²
OUTLINES = {
    "boundary": "The boundary",
    "polygon": "A polygon of {}",
    "soil polygon": "A soil polygon of {}",
}


def repaired(
    shape: Polygon | MultiPolygon, crs: str | CRS, what: str, source: str | None = None
) -> tuple[Polygon | MultiPolygon, Notice | None]:
    """Make an outline valid.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        As it was read.
    crs : str or CRS
        Its coordinate system.
    what : str
        What it is: a key of OUTLINES.
    source : str, optional
        The file or layer that it is from.

    Returns
    -------
    tuple
        The outline, and a notice that it was repaired; None where it was not.

    Raises
    ------
    LayerError
        When a repair changes the area: then nobody can tell which ground was meant.
    """
    if shape.is_valid:
        return shape, None
    fault, latitude_deg, longitude_deg = _fault(shape, crs)
    valid = shapely.make_valid(shape, method="structure", keep_collapsed=False)
    assert isinstance(valid, Polygon | MultiPolygon)  # so the two options promise
    before_ha, after_ha = geodesic_area_ha(shape, crs), geodesic_area_ha(valid, crs)
    if abs(after_ha - before_ha) > SAME_AREA * before_ha:
        near = ""
        if latitude_deg is not None:
            near = f" near latitude {latitude_deg:.6f}, longitude {longitude_deg:.6f}"
        raise LayerError(
            f"{OUTLINES[what].format(source)} crosses itself ({fault}{near}).\n"
            f"Its loops come to {before_ha:.3f} ha against each other, and to "
            f"{after_ha:.3f} ha when repaired, so we cannot tell which ground is meant.\n"
            "Draw the outline again there, and export it."
        )
    return valid, notice(
        "outline-repaired",
        what=what,
        source=source,
        fault=fault,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
    )


def _fault(shape: Polygon | MultiPolygon, crs: str | CRS) -> tuple[str, float | None, float | None]:
    """What is wrong with a shape, and where, in degrees: "self-intersection", 42.1, -93.5."""
    reason = shapely.is_valid_reason(shape)
    match = re.fullmatch(r"(.+)\[(\S+) (\S+)\]", reason)
    if match is None:
        return reason.lower(), None, None
    point = move(shapely.Point(float(match[2]), float(match[3])), crs, WGS_84)
    return match[1].lower(), point.y, point.x
