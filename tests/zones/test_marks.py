"""Marks: what they say, how they blend, and what they part."""

import pytest
import shapely

from tests.marking import drawn_zone
from tests.zones.drawing import zones_of
from tests.zones.ground import HEADLAND, NO_DATA, TRACK, WATER, pieces, row, soil
from zoneplan.field.shapes import HEADLAND as HEADLAND_MARK
from zoneplan.field.shapes import NOWHERE, WHEEL_TRACK, Marks
from zoneplan.zones.marks import blend_sites, marks_of

A = soil(200)
LOW = Marks(part=drawn_zone("low"))


def test_the_lie_of_the_land_is_no_mark():
    assert marks_of(Marks(slope_frac=0.08, gathers_water=True, steep=True)) == ()


def test_a_site_of_its_own_is_given_back():
    assert blend_sites({LOW: 7.0}) is LOW


def test_sites_blend_by_area():
    # WORKED: headland on 60 of 100 m2, low on 45, high on 15, water gathers on 30, steep on
    # 50, a tie; the slope is (60 x 0.02 + 30 x 0.05) / 90 = 0.03 where it is known.
    sites = {
        Marks(headland=True, part=drawn_zone("low"), slope_frac=0.02): 45.0,
        Marks(headland=True, part=drawn_zone("high"), slope_frac=0.02, steep=True): 15.0,
        Marks(slope_frac=0.05, gathers_water=True, steep=True): 30.0,
        Marks(steep=True): 5.0,
        NOWHERE: 5.0,
    }
    assert blend_sites(sites) == Marks(
        headland=True, part=drawn_zone("low"), slope_frac=pytest.approx(0.03), steep=False
    )


def test_parts_of_equal_size_leave_none():
    assert blend_sites({LOW: 5.0, NOWHERE: 5.0}).part is None
    assert blend_sites({LOW: 5.0, Marks(part=drawn_zone("high")): 5.0}).part == drawn_zone("high")


def test_a_track_across_the_headland_is_headland():
    (zone,) = zones_of(row((2, A, HEADLAND), (1, A, Marks(True, True)), (2, A, HEADLAND)))
    assert (zone.site, zone.marked) == (HEADLAND, ((HEADLAND_MARK, 1.0),))


def test_a_mark_that_changes_nothing_is_told_in_the_zone_that_takes_it():
    # WORKED: tracks of 1 m part 14 m2 into three beds.
    beds = row((4, A), (1, A, TRACK), (4, A), (1, A, TRACK), (4, A))
    (zone,) = zones_of(beds)
    assert (zone.site, zone.marked) == (NOWHERE, ((WHEEL_TRACK, pytest.approx(2 / 14)),))


def test_ground_without_numbers_is_not_parted_by_marks():
    ground = row((1, WATER), (1, WATER, HEADLAND), (2, NO_DATA, LOW), (1, NO_DATA))
    assert [zone.shape.area for zone in zones_of(ground)] == [2, 3]


def test_zones_that_a_person_drew_are_looked_at_one_by_one():
    # WORKED: of two zones of one name, 1 m is thinner than the 2 m asked.
    strips = [(0, 6, LOW), (6, 12, NOWHERE), (12, 13, LOW), (13, 20, NOWHERE)]
    shapes = [shapely.box(west, 0, east, 9) for west, east, _ in strips]
    ground = pieces(shapes, [A] * 4, [site for *_, site in strips])
    zones = zones_of(ground, least_width_m=2)
    assert [(zone.shape.area, zone.site) for zone in zones] == [(54, LOW), (126, NOWHERE)]
