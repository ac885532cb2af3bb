"""A zone's shape in WGS 84 degrees, as the files have it."""

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from zoneplan.export.once import once
from zoneplan.field.crs import WGS_84, move
from zoneplan.plan.model import Plan

# WORKED: a degree of latitude is longest at the poles, a² / b · π / 180 on the ellipsoid.
LONGEST_DEGREE_M = 111_694.0


def in_degrees(shape: BaseGeometry, crs: str, decimals: int) -> BaseGeometry:
    """Give a shape in longitude and latitude, rounded, still valid, outlines counter-clockwise.

    A corner that two zones share is rounded alike in both, so they stay neighbours without a
    gap.

    Parameters
    ----------
    shape : geometry
        A polygon or several.
    crs : str
        The coordinate system that it is in.
    decimals : int
        Of a degree: 7 is about a centimetre, 9 a tenth of a millimetre.
    """

    def rounded(corners: NDArray[np.float64]) -> NDArray[np.float64]:
        return corners.round(decimals)

    geometry = shapely.transform(move(shape, crs, WGS_84), rounded)
    if not geometry.is_valid:  # a hole that touched its outline may now cross it by a hair
        mended = shapely.make_valid(geometry, method="structure", keep_collapsed=False)
        geometry = shapely.set_precision(mended, 10.0**-decimals)
    return shapely.orient_polygons(geometry)


@once
def zone_shapes(plan: Plan, decimals: int) -> tuple[BaseGeometry, ...]:
    """Give the shape of every zone so."""
    return tuple(in_degrees(each.zone.shape, plan.field.crs, decimals) for each in plan.settings)


def slack_m(decimals: int) -> float:
    """Give the most that rounding can move a corner: half the last place, both ways. [m].

    Times the length of an outline, it is the most that rounding can change an area. [m²]

    >>> round(slack_m(7), 4)
    0.0079
    """
    return math.hypot(0.5, 0.5) * 10.0**-decimals * LONGEST_DEGREE_M
