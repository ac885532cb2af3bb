"""Zones by what their ground needs, on squares of 1 m."""

import pytest
import shapely

from tests.helpers.frames import pieces_of
from tests.marking import drawn_zone
from tests.zones.drawing import drawn, exactly, need_lb, need_of, to_5_lb, zones_of
from tests.zones.ground import GATHERS, HEADLAND, NO_DATA, NOWHERE, WATER, grid, noded, pieces, row
from tests.zones.ground import soil as newtons
from zoneplan.field.points.conductivity import THIRDS
from zoneplan.field.shapes import Marks
from zoneplan.terms import Ground, Moisture
from zoneplan.units import N_PER_LBF
from zoneplan.zones.build import build_zones
from zoneplan.zones.finest_ground import FinestGround
from zoneplan.zones.graph import GroundNeed
from zoneplan.zones.join import Stop
from zoneplan.zones.straighten import Edges
from zoneplan.zones.treatments import with_treatments

soil = newtons  # in these tests a pound for every 1/1000 of clay: see `need_of`
A, B = soil(200), soil(300)


def test_a_uniform_field_is_one_zone_and_says_so():
    built = drawn(grid([[A] * 4] * 3))
    (zone,) = built.zones
    # WORKED: 12 squares of 1 m2 are 0.0012 ha, for the projection is equal-area. The geodesic
    # sum is good to a few cm2 however small the ground.
    assert zone.area_ha == pytest.approx(0.0012, abs=1e-7)
    assert zone.facts == A
    assert zone.soils == (("soil 200", 1.0),)
    assert zone.composition == ((A, NOWHERE, 12.0),)
    assert built.stop is Stop.UNIFORM
    assert (built.drawn.share, built.drawn.rms_n) == (1.0, 0.0)


def test_ground_that_differs_less_than_a_step_rounds_away_is_one_zone():
    # WORKED: 200 and 210 lb stray by 5 lb x sqrt(0.8) from their mean, and are told to.
    built = drawn(row((5, soil(200)), (5, soil(210))))
    assert [need_lb(zone) for zone in built.zones] == pytest.approx([205])
    assert built.drawn.share == pytest.approx(0.0, abs=1e-9)
    assert built.drawn.rms_n == pytest.approx(5 * 0.8**0.5 * 4.448222)
    assert built.zones[0].soils == (("soil 200", 0.5), ("soil 210", 0.5))


def test_joint_ground_is_weighed_by_area_and_says_what_is_in_it():
    (zone,) = zones_of(row((1, soil(200)), (3, soil(210))))
    # WORKED: (1 x 200 + 3 x 210) / 4 = 207.5.
    assert need_lb(zone) == pytest.approx(207.5)
    assert zone.composition == ((soil(200), NOWHERE, 1.0), (soil(210), NOWHERE, 3.0))


def test_other_ground_never_joins_soil():
    zones = zones_of(row((1, A), (1, WATER), (1, WATER), (1, NO_DATA), (1, A)), least_area_m2=9)
    assert [zone.soils[0][0] for zone in zones] == ["soil 200", "water", "no data", "soil 200"]
    assert [zone.shape.area for zone in zones] == [1, 2, 1, 1]


def test_water_thinner_than_asked_is_told_in_the_zone_that_takes_it():
    shapes = [shapely.box(0, 0, 10, 10), shapely.box(10, 0, 11, 10), shapely.box(11, 0, 20, 10)]
    (zone,) = zones_of(pieces(shapes, [A, WATER, A]), least_width_m=4)
    assert zone.soils == (("soil 200", 0.95), ("water", 0.05))
    assert zone.facts.ground == "soil"


@pytest.mark.parametrize(("wide_m", "zones"), [(3, 1), (5, 3)])
def test_a_gap_between_surveys_as_wide_as_the_planter_is_ground_of_its_own(wide_m, zones):
    west, gap = shapely.box(0, 0, 25, 10), shapely.box(25, 0, 25 + wide_m, 10)
    shapes = [west, gap, shapely.box(25 + wide_m, 0, 60, 10)]
    of_gap = zones_of(pieces(shapes, [A, NO_DATA, A]), least_width_m=4)
    assert len(of_gap) == zones
    assert sum(dict(zone.soils).get("no data", 0) * zone.shape.area for zone in of_gap) == (
        pytest.approx(10 * wide_m)
    )


def test_ground_without_numbers_has_nothing_to_keep():
    built = drawn(row((1, NO_DATA), (1, NO_DATA)))
    assert (len(built.zones), built.counts, built.drawn.rms_n) == (1, (), 0.0)


def test_a_field_in_two_parts_has_a_zone_in_each_and_one_treatment():
    west, east = zones_of(grid([[A, A, None, A]]))
    assert west.shape.bounds == (0, -1, 2, 0)
    assert east.shape.bounds == (3, -1, 4, 0)
    assert west.treatment == east.treatment == 1


def test_ground_that_meets_in_a_corner_is_two_zones():
    assert len(zones_of(grid([[A, None], [None, A]]))) == 2


def test_a_zone_goes_round_another_and_round_a_hole_in_the_field():
    around, inside = sorted(
        zones_of(grid([[A, A, A], [A, B, A], [A, A, A]])), key=lambda zone: -zone.shape.area
    )
    assert around.shape.area == 8
    assert shapely.Polygon(around.shape.interiors[0]).equals(inside.shape)
    (ring,) = zones_of(grid([[A, A, A], [A, None, A], [A, A, A]]))
    assert ring.shape.area == 8


def test_zones_are_numbered_from_north_to_south_then_from_west_to_east():
    zones = zones_of(grid([[soil(100), soil(200)], [soil(300), soil(400)]]))
    assert [need_lb(zone) for zone in zones] == pytest.approx([100, 200, 300, 400])


class TestMarks:
    def test_a_mark_that_changes_no_need_parts_nothing(self):
        assert len(zones_of(row((5, A), (5, A, HEADLAND)))) == 1

    def test_a_mark_that_changes_the_need_does(self):
        # WORKED: where water gathers `load_n` takes 50 off.
        zones = zones_of(row((5, A), (5, A, GATHERS)))
        assert [need_lb(zone) for zone in zones] == pytest.approx([200, 150])

    def test_a_zone_that_a_person_drew_keeps_its_line_whatever_it_prints(self):
        zones = zones_of(row((5, A), (5, A, Marks(part=drawn_zone("knoll"))), (5, A)))
        assert [zone.site.part for zone in zones] == [None, drawn_zone("knoll"), None]
        assert [zone.treatment for zone in zones] == [1, 1, 1]

    def test_a_class_that_a_layer_draws_is_no_line(self):
        sites = [Marks(part=third) for third in THIRDS]
        assert len(zones_of(row(*[(5, A, site) for site in sites]))) == 1


class TestTreatments:
    def test_neighbours_that_print_the_same_are_one_zone(self):
        # WORKED: 200, 230, 260 lb print as many; where only too much and too little is told
        # apart, the last two are one.
        ground = row((5, soil(200)), (5, soil(230)), (5, soil(260)))
        assert len(zones_of(ground)) == 3
        built = drawn(ground, printed=lambda zones: [need_lb(zone) > 215 for zone in zones])
        assert [need_lb(zone) for zone in built.zones] == pytest.approx([200, 245])
        assert [zone.treatment for zone in built.zones] == [1, 2]
        # WORKED: it keeps what two zones keep, 0 and 15^2 x 2 of 30^2 x 2.
        assert built.drawn.share == pytest.approx(0.75)

    def test_they_join_until_none_print_the_same(self):
        # Ours: 100 and 140 print the same, and then what they make prints as 120 does.
        ground = row((5, soil(100)), (5, soil(140)), (5, soil(120)))
        key = {100: "a", 140: "a", 120: "b"}
        asked = {"printed": lambda zones: [key[round(need_lb(zone))] for zone in zones]}
        assert [need_lb(zone) for zone in zones_of(ground, **asked)] == pytest.approx([120])

    def test_neighbours_share_half_the_least_width(self):
        # WORKED: the two meet along 1.9 m, and along 2.1 m; 4 m asked.
        for border_m, count in ((1.9, 2), (2.1, 1)):
            shapes = [shapely.box(0, 0, 10, 10), shapely.box(10, 10 - border_m, 20, 20)]
            ground = pieces(noded(shapes), [A, A])
            assert len(zones_of(ground, least_width_m=4)) == count

    def test_strangers_that_print_the_same_are_one_treatment_in_two_places(self):
        zones = zones_of(row((5, A), (5, B), (5, soil(201))))
        assert [zone.treatment for zone in zones] == [1, 2, 1]

    def test_they_are_numbered_anew_when_zones_are_changed(self):
        zones = zones_of(row((5, A), (5, B), (5, A)))
        assert [zone.treatment for zone in with_treatments(zones, "xyy")] == [1, 2, 2]


def test_zones_are_drawn_for_the_moisture_that_is_planned():
    # WORKED: apart when dry only, which counts a half where it is planned for, else a quarter.
    def need(facts, _):
        other_n = 100 * N_PER_LBF
        return GroundNeed(Ground.SOIL, None, (facts.clay_frac * 1000 * N_PER_LBF, other_n, other_n))

    ground = row((10, soil(200)), (10, soil(222)))
    asked = {"least_area_m2": 0.0, "least_width_m": 0.0}
    counts = {
        planned: build_zones(
            FinestGround(pieces_of(ground)), need, exactly, planned=planned, **asked
        )
        .counts[-1]
        .rms_n
        for planned in (Moisture.DRY, None)
    }
    assert counts[Moisture.DRY] == pytest.approx(counts[None] * 2**0.5)


def test_no_more_zones_than_asked():
    ground = row(*[(5, soil(100 * n)) for n in range(1, 7)])
    for most, count in ((None, 6), (6, 6), (3, 3), (1, 1)):
        assert len(zones_of(ground, most_zones=most)) == count


def test_each_soil_at_each_site_is_asked_for_once():
    asked = []

    def need(facts, site):
        asked.append((facts, site))
        return need_of(facts, site)

    ground = grid([[A, B, A, B], [B, A, B, A]])
    build_zones(
        FinestGround(pieces_of(ground)), need, to_5_lb, least_area_m2=0.0, least_width_m=0.0
    )
    assert sorted(facts.named for facts, _ in asked) == ["soil 200", "soil 300"]


def test_what_was_lost_with_narrow_parts_is_not_kept():
    # WORKED: 6 m2 of the lower 206 go to the upper 194.
    lower = shapely.union_all([shapely.box(0, 0, 20, 10), shapely.box(8, 10, 9, 16)])
    shapes = noded([lower, shapely.box(0, 0, 20, 20).difference(lower)])
    built = drawn(pieces(shapes, [A, B]), least_width_m=4)
    assert built.counts[0].share == 1.0
    # WORKED: of 206 x 194 / 400 = 99.91 it loses 6 x 194 / 200 = 5.82.
    assert built.drawn.share == pytest.approx(1 - 5.82 / 99.91, abs=1e-4)


def test_edges_are_straightened_and_it_is_said():
    board = grid([[A if x > y else B for x in range(12)] for y in range(12)])
    assert drawn(board).edges is Edges.AS_GIVEN
    built = drawn(board, straighten_m=2.0, printed=exactly)
    assert built.edges is Edges.STRAIGHT
    corners = sum(shapely.get_num_coordinates(zone.shape) for zone in built.zones)
    assert corners < sum(shapely.get_num_coordinates(zone.shape) for zone in zones_of(board))
