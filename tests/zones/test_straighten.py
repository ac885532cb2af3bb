"""Edges straightened together, on stairs and on random ground."""

import numpy as np
import pytest
import shapely

from tests.zones.drawing import narrow_of, need_of, zones_of
from tests.zones.ground import NOWHERE, cells, marked, noded, soil
from zoneplan.zones.narrow_parts import Narrow, Outlines
from zoneplan.zones.straighten import Edges, straighten

SIDE = 40


def stairs(step_m):
    """A square of two zones that meet along stairs from corner to corner."""
    corners = [
        corner
        for at in range(0, SIDE, step_m)
        for corner in [(at, at + step_m), (at + step_m, at + step_m)]
    ]
    upper = shapely.Polygon([(0, 0), *corners, (0, SIDE)])
    lower = shapely.box(0, 0, SIDE, SIDE).difference(upper)
    return np.array(noded([upper, lower]), dtype=object)


def outlines_of(shapes):
    """Zones with these shapes, of soils that differ."""
    needs = [need_of(soil(100 * n), NOWHERE) for n in range(1, len(shapes) + 1)]
    means = np.array([need.coordinates_n for need in needs])
    return Outlines(shapes, tuple(need.label for need in needs), means)


def straightened(shapes, tolerance_m, least_width_m=0.0):
    outlines = outlines_of(shapes)
    return straighten(outlines, tolerance_m, narrow_of(outlines, (), least_width_m))


def assert_tiles(after, before):
    assert shapely.coverage_is_valid(after)
    here, there = shapely.coverage_union_all(after), shapely.coverage_union_all(before)
    assert shapely.hausdorff_distance(here, there) < 1e-6  # teeth are cut on a grid of 1e-7 m
    assert shapely.area(after).sum() == pytest.approx(shapely.area(before).sum(), rel=1e-9)


# WORKED: a step of s makes a triangle of s^2 / 2, its root is 0.71 s: 2.8 m at 4 m, 7.1 at 10.
@pytest.mark.parametrize(("step_m", "goes"), [(4, True), (10, False)])
def test_stairs_go_where_they_are_smaller_than_the_tolerance(step_m, goes):
    before = stairs(step_m)
    after, edges = straightened(before, 5.0)
    assert_tiles(after, before)
    assert edges is Edges.STRAIGHT
    fewer = shapely.get_num_coordinates(after).sum() < shapely.get_num_coordinates(before).sum()
    assert fewer == goes
    # WORKED: the edge keeps within the stairs' own width of where it was.
    assert shapely.area(shapely.symmetric_difference(after, before)).max() <= SIDE * step_m


def test_one_zone_and_no_tolerance_stay_as_they_are():
    before = stairs(4)
    assert straightened(before, 0.0)[0] is before
    assert straightened(before, 0.0)[1] is Edges.AS_GIVEN
    assert straightened(before[:1], 5.0)[1] is Edges.AS_GIVEN


def test_what_would_not_tile_is_given_back_and_said():
    apart = np.array([shapely.box(0, 0, 2, 2), shapely.box(1, 0, 3, 2)])  # they overlap
    after, edges = straightened(apart, 1.0)
    assert after is apart
    assert edges is Edges.WOULD_NOT_TILE


# WORKED: a strip from west to east, 4.2 m high at its ends, that bends up between. Its lower edge
# has one corner, a triangle of 60 m2. Its upper has two, of which each makes 22 m2 with the next
# two, and when one is gone the other 64 m2. At a tolerance of 6 m, so 36 m2, one of the two goes:
# there the edge sinks by 1.7 m, to less than 4 m. At 3 m, so 9 m2, all stay.
LOWER = [(0, 0), (20, 3), (40, 0)]
UPPER = [(40, 4.2), (27, 7.4), (13, 7.4), (0, 4.2)]
FIELD = shapely.box(0, -30, 40, 40)


def strip():
    """The strip, what lies north of it, and what lies south."""
    middle = shapely.Polygon([*LOWER, *UPPER])
    north, south = sorted(
        shapely.get_parts(FIELD.difference(middle)), key=lambda part: -part.bounds[3]
    )
    return np.array(noded([middle, north, south]), dtype=object)


def test_a_zone_is_not_made_thin_by_it():
    before = strip()
    outlines = outlines_of(before)
    narrow = narrow_of(outlines, (), 4.0)

    def large(shapes):
        return [narrow.any_large(*zone) for zone in zip(shapes, outlines.labels, strict=True)]

    assert not any(large(before))
    assert any(large(straightened(before, 6.0)[0]))
    after, edges = straighten(outlines, 6.0, narrow)
    assert edges is Edges.STRAIGHT
    assert not any(large(after))
    assert (after == straightened(before, 3.0)[0]).all()


def test_edges_that_cannot_be_straightened_are_left_and_it_is_said(monkeypatch):
    before = stairs(1)
    monkeypatch.setattr(Narrow, "any_large", lambda _, shape, __: shape not in before)
    after, edges = straightened(before, 8.0)
    assert after is before
    assert edges is Edges.WOULD_BE_NARROW


@pytest.mark.parametrize("draw", [cells, marked])
@pytest.mark.parametrize("seed", range(5))
def test_random_zones_still_tile_and_a_millimetre_moves_little(draw, seed):
    asked = {"least_area_m2": 400.0, "least_width_m": 12.0, "straighten_m": 3.0}
    ground = draw(seed)
    moved = ground.set_geometry(ground.translate(0.001, 0.001))
    here, there = (zones_of(pieces, **asked) for pieces in (ground, moved))
    shapes = np.array([zone.shape for zone in here])
    assert_tiles(shapes, ground.geometry.to_numpy())
    assert len(here) == len(there)
    for one, other in zip(here, there, strict=True):
        # A strip of a metre along the edge is what a zone may gain or lose.
        assert one.shape.symmetric_difference(other.shape).area <= one.shape.length
