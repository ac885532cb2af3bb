"""The shapes of a plan: the field, the layers laid over it, and the pieces that it is cut into.

And what makes one fit for use: outlines are repaired where that leaves the ground as it was.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, geodesic_area_ha, move
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import MarkKind

COARSE_RASTER = "coarse raster"  # a kind of soil layer: of a country, not of this field
SAME_AREA = 1e-6  # of the area, before and after a repair; on 65 ha it is 0.65 m²
OUTLINES = {
    "boundary": "The boundary",
    "polygon": "A polygon of {}",
    "soil polygon": "A soil polygon of {}",
}


@dataclass(frozen=True)
class Field:
    """One field: its name and its shape in WGS 84 and in its own metric system.

    `crs` is a Lambert azimuthal equal-area system centred on the field, in metres, so
    that plane areas are true and straight lines are as good as geodesics.
    """

    name: str
    shape: Polygon | MultiPolygon  # in `crs`
    crs: str  # "+proj=laea +lat_0=... +lon_0=... +datum=WGS84 +units=m"
    area_ha: float  # geodesic, on the WGS 84 ellipsoid
    notes: tuple[Notice, ...] = ()  # repairs made, all of which keep the area


@dataclass(frozen=True)
class SoilLayer:
    """Polygons that say what soil lies where.

    `ground` has a `geometry` column in any stated system and a `facts` column of
    SoilFacts, one row a polygon.
    """

    name: str
    kind: str  # what it was made of, as in "soil survey" or "polygons"
    ground: gpd.GeoDataFrame
    notes: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class Mark:
    """What somebody said of a place; where it comes from is told by its kind, never by its name."""

    kind: MarkKind
    name: str  # "headland", "low ground"


HEADLAND = Mark(MarkKind.HEADLAND, "headland")
WHEEL_TRACK = Mark(MarkKind.TRACK, "wheel track")


@dataclass(frozen=True)
class Marks:
    """Where a piece of ground lies, apart from its soil. The default says nothing."""

    headland: bool = False  # the planter turns here
    track: bool = False  # other wheels run here year by year
    part: Mark | None = None  # a zone somebody drew, or a class of a layer that only draws edges
    slope_frac: float | None = None  # rise over run
    gathers_water: bool = False
    steep: bool = False


NOWHERE = Marks()  # nothing is said


@dataclass(frozen=True)
class MarkLayer:
    """Polygons that say where ground lies, not what soil it is.

    `ground` has a `geometry` column in any stated system and a `site` column of Marks, one
    row a polygon. Of a Marks only what is not the default is said.
    """

    name: str
    ground: gpd.GeoDataFrame
    notes: tuple[Notice, ...] = ()


@dataclass(frozen=True, eq=False)
class Pieces:
    """A field cut along its layers: pieces that tile it, each of one soil at one site.

    Neighbours have every corner of their border in common.
    """

    shapes: NDArray[np.object_]  # Polygons in `crs`
    facts: Sequence[SoilFacts]  # of each; ground "no data" where no layer lies
    layers: Sequence[str | None]  # that says what each is; None where no layer lies
    sites: Sequence[Marks]  # of each; NOWHERE where no mark lies
    crs: str  # the field's


def polygons_in(shape: Any) -> list[Polygon]:
    """Give the polygons of a shape or of many, whatever they are collected in.

    Lines and points, which are left over where shapes meet or were cut, are no ground.

    >>> line = shapely.LineString([(0, 0), (1, 1)])
    >>> polygons_in(shapely.GeometryCollection([line, MultiPolygon([shapely.box(0, 0, 1, 1)])]))
    [<POLYGON ((1 0, 1 1, 0 1, 0 0, 1 0))>]
    """
    parts = shapely.get_parts(shapely.get_parts(shape))
    return [part for part in parts if isinstance(part, Polygon)]


def repaired(
    shape: Polygon | MultiPolygon, crs: str | CRS, what: str, source: str | None = None
) -> tuple[Polygon | MultiPolygon, Notice | None]:
    """Make an outline valid, and give a notice where it was not.

    What it is, is a key of OUTLINES; the source is the file or layer that it is from.

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
