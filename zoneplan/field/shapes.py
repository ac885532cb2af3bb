"""The field, the layers laid over it, where in it ground lies, and the pieces it is cut into."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.notices import Notice
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import MarkKind

COARSE_RASTER = "coarse raster"  # a kind of soil layer: of a country, not of this field


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
