"""Narrow parts of zones go to what is beside them, on squares whose areas can be counted."""

import pytest
import shapely

from tests.marking import drawn_zone
from tests.zones.drawing import drawn, exactly, need_lb, zones_of
from tests.zones.ground import HEADLAND, NO_DATA, NOWHERE, WATER, cells, noded, pieces, soil
from zoneplan.field.points.conductivity import THIRDS
from zoneplan.field.shapes import Marks
from zoneplan.zones.narrow_parts import Narrow

A, B, C = soil(100), soil(300), soil(500)
BODY, TONGUE = shapely.box(0, 0, 20, 10), shapely.box(8, 10, 9, 16)
FIELD = shapely.box(0, 0, 20, 20)
LOWER = shapely.union_all([BODY, TONGUE])
UPPER = FIELD.difference(LOWER)


def areas_m2(zones):
    return pytest.approx(sorted(zone.shape.area for zone in zones), abs=0.02)  # SLACK_M to a side


def drawn_4_m(shapes, facts, sites=None):
    return zones_of(pieces(noded(shapes), facts, sites), least_width_m=4)


def test_a_narrow_part_goes_to_the_neighbour_and_is_told_there():
    zones = drawn_4_m([LOWER, UPPER], [A, B])
    assert areas_m2(zones) == [200, 200]
    assert dict(zones[0].soils)["soil 100"] == pytest.approx(6 / 200, rel=0.01)


@pytest.mark.parametrize("beside", [WATER, NO_DATA])
def test_soil_keeps_its_ground_beside_what_has_no_numbers(beside):
    assert areas_m2(drawn_4_m([LOWER, UPPER], [A, beside])) == [194, 206]


@pytest.mark.parametrize("narrow", [WATER, NO_DATA])
def test_a_narrow_part_without_numbers_goes_to_the_soil_and_what_is_wide_stays(narrow):
    north, south = drawn_4_m([LOWER, UPPER], [narrow, B])
    assert south.facts == narrow
    assert areas_m2([north, south]) == [200, 200]
    assert dict(north.soils)[narrow.ground] == pytest.approx(6 / 200, rel=0.01)


def test_it_goes_to_the_neighbour_that_is_most_alike():
    # WORKED: 100 is 200 from 300 in the west, 400 from 500 in the east, 6 m of border to both.
    west, east = shapely.box(0, 10, 8, 20), UPPER.difference(shapely.box(0, 10, 8, 20))
    zones = drawn_4_m([LOWER, west, east], [A, B, C])
    assert {round(need_lb(zone)): zone.shape.area for zone in zones} == pytest.approx(
        {100: 200, round(300 - 6 * 200 / 86): 86, 500: 114}, abs=0.02
    )


def test_a_bump_that_is_small_stays():
    # WORKED: 1 m by 3.9 m are less than the 2 m by 2 m of half the width.
    lower = shapely.union_all([BODY, shapely.box(8, 10, 9, 13.9)])
    assert areas_m2(drawn_4_m([lower, FIELD.difference(lower)], [A, B])) == [196.1, 203.9]


def test_what_a_neck_held_together_becomes_two_zones_and_one_treatment():
    # WORKED: two squares of 10 m, 10 m apart, held together by a neck of 1 m.
    chain = shapely.union_all(
        [shapely.box(0, 0, 10, 10), shapely.box(10, 4, 20, 5), shapely.box(20, 0, 30, 10)]
    )
    zones = drawn_4_m([chain, shapely.box(-5, -10, 35, 20).difference(chain)], [A, B])
    assert areas_m2(zones) == [100, 100, 1000]
    assert sorted(zone.treatment for zone in zones) in ([1, 1, 2], [1, 2, 2])


def test_what_it_leaves_too_small_for_a_zone_joins():
    # WORKED: the eastern square, held by the neck, is 25 m2.
    chain = shapely.union_all(
        [shapely.box(0, 0, 10, 10), shapely.box(10, 4, 20, 5), shapely.box(20, 0, 25, 5)]
    )
    rest = shapely.box(-5, -10, 35, 20).difference(chain)
    ground = pieces(noded([chain, rest]), [A, B])
    for least_m2, count in ((20.0, 3), (30.0, 2)):
        assert len(zones_of(ground, least_width_m=4, least_area_m2=least_m2)) == count


def test_fingers_of_two_zones_go_where_they_make_a_wide_strip():
    # WORKED: from west to east 2 m each, by turns of the south and of the north. No finger is
    # 4 m wide together with one beside it of the other zone alone; three are 6 m.
    fingers = [shapely.box(x, 10, x + 2, 20) for x in range(4, 16, 2)]
    south = shapely.union_all([shapely.box(0, 0, 20, 10), *fingers[::2]])
    north = shapely.box(0, 0, 20, 30).difference(south)
    zones = drawn(pieces(noded([south, north]), [A, B]), least_width_m=4)
    assert len(zones.zones) == 2
    assert zones.narrow_share == 0


# Ours, found by trying: fields where no zone gets less thin by some of the large parts.
@pytest.mark.parametrize(("seed", "width_m"), [(8, 30.0), (10, 30.0), (3, 20.0)])
def test_a_large_part_that_nobody_takes_makes_its_zone_join(seed, width_m, monkeypatch):
    asked = {"least_width_m": width_m, "printed": exactly}
    zones = drawn(cells(seed), **asked)
    monkeypatch.setattr(Narrow, "any_large", lambda *_: False)
    left = drawn(cells(seed), **asked)
    assert len(zones.zones) < len(left.zones)
    assert zones.narrow_share < left.narrow_share


class TestDrawn:
    LOW = Marks(part=drawn_zone("low"))

    def test_what_a_person_drew_keeps_its_ground(self):
        assert areas_m2(drawn_4_m([LOWER, UPPER], [A, B], [self.LOW, NOWHERE])) == [194, 206]

    def test_and_takes_none(self):
        assert areas_m2(drawn_4_m([LOWER, UPPER], [A, B], [NOWHERE, self.LOW])) == [194, 206]

    def test_nor_does_it_take_a_part_that_is_more_like_it(self):
        # WORKED: the tongue of A has B to its west, and drawn ground that needs as much as A to
        # its east.
        west, east = shapely.box(0, 10, 8, 20), UPPER.difference(shapely.box(0, 10, 8, 20))
        zones = drawn_4_m([LOWER, west, east], [A, B, A], [NOWHERE, NOWHERE, self.LOW])
        assert areas_m2(zones) == [86, 114, 200]

    def test_within_it_narrow_parts_go_from_soil_to_soil(self):
        assert areas_m2(drawn_4_m([LOWER, UPPER], [A, B], [self.LOW] * 2)) == [200, 200]

    def test_a_drawn_zone_may_be_called_as_a_class_of_conductivity_is(self):
        alike = [
            areas_m2(drawn_4_m([LOWER, UPPER], [A, B], [Marks(part=drawn_zone(name)), NOWHERE]))
            for name in ("low ground", THIRDS[0].name)
        ]
        assert alike == [[194, 206]] * 2

    @pytest.mark.parametrize("site", [HEADLAND, Marks(part=THIRDS[0])])
    def test_no_other_mark_keeps_ground(self, site):
        assert areas_m2(drawn_4_m([LOWER, UPPER], [A, B], [site, NOWHERE])) == [200, 200]
