"""Areas against closed formulas on the ellipsoid."""

import math

import pytest
from shapely.geometry import MultiPolygon, Polygon, box

from tests.field.ground import LOCAL
from zoneplan.field.crs import WGS_84, geodesic_area_ha, local_crs, move

# The defining constants of WGS 84 (NGA.STND.0036, from memory).
A_M = 6_378_137.0
FLATTENING = 1 / 298.257223563
E = math.sqrt(FLATTENING * (2 - FLATTENING))

# PUBLISHED: surface of the WGS 84 ellipsoid, 510 065 621.724 km² (from memory).
SURFACE_KM2 = 510_065_621.724


def band_m2(latitude: float) -> float:
    """WORKED: ellipsoid from the equator to a latitude, for one radian of longitude.

    Integral of the area element; Snyder (1987), Map Projections: A Working Manual, USGS
    Professional Paper 1395, eq. 3-12 times half the square of the equatorial radius.
    """
    sine = math.sin(math.radians(latitude))
    part = sine / (1 - (E * sine) ** 2) - math.log((1 - E * sine) / (1 + E * sine)) / (2 * E)
    return A_M**2 / 2 * (1 - E**2) * part


def test_an_eighth_of_the_earth():
    # The equator and two meridians are geodesics, so this triangle is exactly one eighth.
    octant = Polygon([(0, 0), (90, 0), (90, 90), (0, 90)])
    assert geodesic_area_ha(octant, WGS_84) / 100 == pytest.approx(SURFACE_KM2 / 8, abs=0.001)
    assert band_m2(90) * math.pi / 2 / 1e6 == pytest.approx(SURFACE_KM2 / 8, abs=0.001)


@pytest.mark.parametrize("south", [-34.0, 0.0, 42.0, 55.3])
def test_a_cell_between_parallels(south):
    # WORKED: a cell of 0.01°, whose parallels bend from geodesics alike at both ends.
    cell = box(-93.50, south, -93.49, south + 0.01)
    expected_m2 = (band_m2(south + 0.01) - band_m2(south)) * math.radians(0.01)
    assert geodesic_area_ha(cell, WGS_84) * 1e4 == pytest.approx(expected_m2, rel=1e-6)


def test_holes_and_parts_count_whichever_way_they_wind():
    # WORKED: 4 ha less a hole of 1 ha, and 1 ha apart from it.
    hole = [(50, 50), (150, 50), (150, 150), (50, 150)]
    for ring in (hole, hole[::-1]):
        shape = MultiPolygon([Polygon(box(0, 0, 200, 200).exterior, [ring]), box(300, 0, 400, 100)])
        assert geodesic_area_ha(shape, LOCAL) == pytest.approx(4 - 1 + 1, abs=1e-7)


def test_the_local_system_keeps_areas_of_a_large_field():
    cell = box(-93.52, 42.00, -93.50, 42.02)  # 370 ha
    crs = local_crs(cell)
    metric = move(cell, WGS_84, crs)
    assert metric.area / 1e4 == pytest.approx(geodesic_area_ha(metric, crs), rel=1e-6)


def test_no_ground_has_no_area():
    assert geodesic_area_ha(Polygon(), WGS_84) == 0.0
    assert geodesic_area_ha(MultiPolygon(), LOCAL) == 0.0
