"""Marks: what they say, how they blend, and that only slivers lose them."""

import pytest
import shapely

from tests.marking import drawn_zone
from tests.zones.ground import (
    GATHERS,
    HEADLAND,
    NO_DATA,
    TRACK,
    WATER,
    load_n,
    marked,
    noded,
    pieces,
    row,
    soil,
    zones_of,
)
from zoneplan.field.shapes import HEADLAND as HEADLAND_MARK
from zoneplan.field.shapes import NOWHERE, WHEEL_TRACK, Site
from zoneplan.zones.marks import blend_sites, marks_of

A, B = soil(200), soil(300)
LOW = Site(part=drawn_zone("low"))
SEEDS = range(5)


def test_the_lie_of_the_land_is_no_mark():
    assert marks_of(Site(slope_frac=0.08, gathers_water=True, steep=True)) == ()


def test_a_site_of_its_own_is_given_back():
    assert blend_sites({LOW: 7.0}) is LOW


def test_sites_blend_by_area():
    # WORKED: headland on 60 of 100 m2, low on 45, high on 15, water gathers on 30, steep on
    # 50, a tie; the slope is (60 x 0.02 + 30 x 0.05) / 90 = 0.03 where it is known.
    sites = {
        Site(headland=True, part=drawn_zone("low"), slope_frac=0.02): 45.0,
        Site(headland=True, part=drawn_zone("high"), slope_frac=0.02, steep=True): 15.0,
        Site(slope_frac=0.05, gathers_water=True, steep=True): 30.0,
        Site(steep=True): 5.0,
        NOWHERE: 5.0,
    }
    assert blend_sites(sites) == Site(
        headland=True, part=drawn_zone("low"), slope_frac=pytest.approx(0.03), steep=False
    )


def test_parts_of_equal_size_leave_none():
    assert blend_sites({LOW: 5.0, NOWHERE: 5.0}).part is None
    assert blend_sites({LOW: 5.0, Site(part=drawn_zone("high")): 5.0}).part == drawn_zone("high")


def test_marked_ground_never_joins_as_alike():
    zones = zones_of(row((2, A), (2, A, HEADLAND), (2, A, TRACK), (2, A, LOW)), alike_n=1e9)
    assert [zone.site for zone in zones] == [NOWHERE, HEADLAND, TRACK, LOW]
    assert [zone.marked for zone in zones[:2]] == [(), ((HEADLAND_MARK, 1.0),)]


def test_a_track_across_the_headland_is_headland():
    (zone,) = zones_of(row((2, A, HEADLAND), (1, A, Site(True, True)), (2, A, HEADLAND)))
    assert (zone.site, zone.marked) == (HEADLAND, ((HEADLAND_MARK, 1.0),))


def test_water_that_gathers_acts_through_the_loads():
    # WORKED: 50 N less than the same soil beside it.
    ground = row((1, A), (3, A, GATHERS))
    assert [load_n(zone) for zone in zones_of(ground, alike_n=50)] == pytest.approx([200, 150])
    (zone,) = zones_of(ground, alike_n=51)
    assert (zone.site, zone.marked) == (GATHERS, ())


def test_ground_without_numbers_is_not_parted_by_marks():
    ground = row((1, WATER), (1, WATER, HEADLAND), (2, NO_DATA, LOW), (1, NO_DATA))
    assert [zone.shape.area for zone in zones_of(ground)] == [2, 3]


def test_a_sliver_stays_within_its_mark_though_the_soil_is_another():
    # WORKED: 3 m2 of B at the edge borders headland on A along 1 m and, along 3 m, ground of
    # its own soil that lies in no headland.
    shapes = [shapely.box(0, 0, 10, 3), shapely.box(0, -1, 7, 0), shapely.box(7, -1, 10, 0)]
    ground = pieces(noded(shapes), [B, A, B], [NOWHERE, HEADLAND, HEADLAND])
    zones = zones_of(ground, least_area_m2=4)
    assert [(zone.shape.area, zone.site) for zone in zones] == [(30, NOWHERE), (10, HEADLAND)]


def test_a_mark_that_is_a_sliver_walls_nothing_off():
    # WORKED: tracks of 1 m part 14 m2 into three beds of 4 m2; none is 5 m2 by itself.
    beds = row((4, A), (1, A, TRACK), (4, A), (1, A, TRACK), (4, A))
    assert len(zones_of(beds)) == 5
    (zone,) = zones_of(beds, least_area_m2=5)
    assert (zone.site, zone.marked) == (NOWHERE, ((WHEEL_TRACK, pytest.approx(2 / 14)),))


def test_a_thin_track_walls_nothing_off_though_it_is_long():
    beds = [shapely.box(0, 0, 50, 4), shapely.box(0, 4, 50, 5), shapely.box(0, 5, 50, 9)]
    ground = pieces(beds, [A] * 3, [NOWHERE, TRACK, NOWHERE])
    assert len(zones_of(ground, least_width_m=1)) == 3
    assert len(zones_of(ground, least_width_m=2)) == 1


def test_a_mark_counts_as_a_whole_however_the_soils_part_it():
    # WORKED: headland of 2 x 3 m2 on two soils, 150 N from each other; each alone is a sliver.
    ground = row((9, A), (3, A, HEADLAND), (3, soil(350), HEADLAND), (9, soil(350)))
    zones = zones_of(ground, least_area_m2=5)
    assert [(zone.shape.area, zone.site) for zone in zones] == [
        (9, NOWHERE),
        (6, HEADLAND),
        (9, NOWHERE),
    ]


def test_marks_in_two_places_are_looked_at_one_by_one():
    ground = row((6, A, LOW), (6, A), (1, A, LOW), (6, A))
    zones = zones_of(ground, least_area_m2=2)
    assert [(zone.shape.area, zone.site) for zone in zones] == [(6, LOW), (13, NOWHERE)]


@pytest.mark.parametrize("seed", SEEDS)
def test_without_slivers_every_mark_keeps_its_ground(seed):
    ground = marked(seed)
    zones = zones_of(ground, alike_n=1e9)
    soils = ground[[facts.ground == "soil" for facts in ground["facts"]]]
    planned = [zone for zone in zones if zone.facts.ground == "soil"]
    for name in ("headland", "track", "part"):
        marked_before = [bool(getattr(site, name)) for site in soils["site"]]
        before = shapely.union_all(soils.geometry[marked_before].to_numpy())
        after = shapely.union_all([zone.shape for zone in planned if getattr(zone.site, name)])
        assert before.area > 0
        assert before.symmetric_difference(after).area < 1e-6
