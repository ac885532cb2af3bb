"""What is thin: on squares, and at corners whose angle is known."""

import math

import numpy as np
import pytest
import shapely

from tests.zones.drawing import narrow_of, need_of
from tests.zones.ground import NO_DATA, NOWHERE, WATER, noded, soil
from zoneplan.zones.narrow_parts import (
    NOTHING,
    Outlines,
    is_thin,
    least_part_m2,
    narrow_in,
    opened,
    thin_parts,
)

BODY = shapely.box(0, 0, 20, 10)
TONGUE = shapely.box(8, 10, 9, 16)
FIELD = shapely.box(0, 0, 20, 20)
LOWER = shapely.union_all([BODY, TONGUE])


def parts_m2(*boxes, least_width_m, besides=None):
    ground = shapely.union_all([shapely.box(*box) for box in boxes])
    besides = shapely.Polygon() if besides is None else besides
    return [part.area for part in thin_parts(ground, least_width_m, besides)]


def test_a_strip_is_thin_where_it_is_thinner_than_asked():
    strip = (8, 10, 9, 16)  # WORKED: 1 m by 6 m
    assert parts_m2(BODY.bounds, strip, least_width_m=4) == pytest.approx([6])
    assert parts_m2(BODY.bounds, strip, least_width_m=1) == []


def test_ground_that_is_nowhere_wide_is_all_thin():
    assert parts_m2((0, 0, 20, 3), least_width_m=4) == [60]
    assert parts_m2((0, 0, 20, 3), least_width_m=0) == []


def test_where_it_may_be_thin_it_is_not_told():
    strip = (8, 10, 9, 16)
    assert parts_m2(BODY.bounds, strip, least_width_m=4, besides=shapely.box(8, 10, 9, 16)) == []


def test_a_bump_counts_from_a_square_half_as_wide():
    # WORKED: half of 4 m, squared, are 4 m2.
    assert least_part_m2(4) == 4
    assert parts_m2(BODY.bounds, (8, 10, 10, 11.9), least_width_m=4) == []
    assert parts_m2(BODY.bounds, (8, 10, 10, 12), least_width_m=4) == pytest.approx([4])


@pytest.mark.parametrize(
    ("degrees", "is_thin"), [(90, False), (61, False), (35, False), (25, True)]
)
def test_a_sharp_corner_is_thin_at_its_end(degrees, is_thin):
    # WORKED: a strip of 2 has its last middle at 1 / sin(a / 2) from the corner; what is further
    # than 2 from there is cut off: a triangle of height h = 1 / sin(a / 2) - 2 and area
    # h^2 tan(a / 2). At 60 degrees it is nothing, at 35 0.56 m2, at 25 1.52 m2: 1 m2 counts.
    half = math.radians(degrees) / 2
    long = 60.0
    corner = shapely.Polygon(
        [(0, 0), (long, -long * math.tan(half)), (long, long * math.tan(half))]
    )
    height = max(0.0, 1 / math.sin(half) - 2)
    rubbed_out = corner.area - opened(corner, 2).intersection(corner).area
    at_the_others = 2 * _end_m2(math.pi / 2 - half)
    assert rubbed_out == pytest.approx(height**2 * math.tan(half) + at_the_others, abs=0.1)
    tips = [part for part in thin_parts(corner, 2) if part.bounds[0] < 1]
    assert bool(tips) == is_thin


def _end_m2(corner):
    height = max(0.0, 1 / math.sin(corner / 2) - 2)
    return height**2 * math.tan(corner / 2)


def test_a_corner_that_is_written_twice_is_one_corner():
    # 7e-15 m apart, as overlays leave them: by itself no direction, and a mitre of NaN, which
    # warns.
    twice = [(63.6785998, 9.802677900000003), (63.67859980000001, 9.8026779)]
    triangle = shapely.Polygon([*twice, (69.7, 4.3), (82.5, 37.6)])
    assert opened(triangle, 12).is_empty


def test_a_hole_that_meets_its_outline_in_a_corner_written_twice_is_still_a_hole():
    # Half a micrometre beside the other corner: without it the hole would reach out of the ground.
    corner = (10 + 5e-7, 5 + 5e-7)
    square = [(0, 0), (10, 0), (10, 5), corner, (10, 10), (0, 10)]
    ground, once = (
        shapely.Polygon(outline, [[hole, (5, 3), (5, 7)]])
        for outline, hole in ((square, corner), (square[:3] + square[4:], (10, 5)))
    )
    assert ground.is_valid
    assert opened(ground, 2).area == pytest.approx(opened(once, 2).area, abs=1e-4)


# Six corners of ground that holds a circle of 6 m, and the fourth once more, 2e-7 m beside it.
BEND = [
    (-227.6343551, -297.3652787),
    (-237.7310424, -296.5201337),
    (-240.9922372, -298.0103087),
    (-257.5092051, -290.4729956),
    (-274.8757557, -303.2415488),
    (-307.7224141, -318.8100697),
]
TWICE = (-257.5092049924861, -290.4729957960162)


def test_ground_is_not_lost_where_a_corner_is_written_twice():
    once, twice = (shapely.Polygon(each) for each in (BEND, [*BEND[:4], TWICE, *BEND[4:]]))
    assert opened(once, 12).area == pytest.approx(300, abs=1)
    assert opened(twice, 12).symmetric_difference(opened(once, 12)).area < 1e-3
    assert [part.area for part in thin_parts(twice, 12)] == pytest.approx(
        [part.area for part in thin_parts(once, 12)]
    )


def outlines_of(shapes, facts):
    needs = [need_of(known, NOWHERE) for known in facts]
    means = np.array([need.coordinates_n for need in needs])
    return Outlines(
        np.array(noded(shapes), dtype=object), tuple(need.label for need in needs), means
    )


def narrow_zones(shapes, facts, least_width_m=4.0, loose=(WATER, NO_DATA)):
    """What is narrow in a field of these shapes, and its outlines."""
    outlines = outlines_of(shapes, facts)
    labels = {need_of(known, NOWHERE).label for known in loose}
    return narrow_of(outlines, labels, least_width_m), outlines


class TestOfZones:
    def parts_m2(self, shapes, facts):
        """Of the first shape."""
        narrow, outlines = narrow_zones(shapes, facts)
        return [part.area for part in narrow.parts(outlines.shapes[0], outlines.labels[0])]

    def test_it_is_what_a_zone_has_of_thin_ground(self):
        assert self.parts_m2([LOWER, FIELD.difference(LOWER)], [soil(1), soil(2)]) == (
            pytest.approx([6])
        )

    def test_ground_that_is_thin_because_the_field_is_is_not_narrow(self):
        assert self.parts_m2([LOWER], [soil(1)]) == []

    def test_nor_is_soil_that_is_thin_because_all_soil_is_there(self):
        around = FIELD.difference(LOWER)
        assert self.parts_m2([LOWER, around], [soil(1), WATER]) == []
        # Water is not worth an outline as thin as that.
        assert self.parts_m2([LOWER, around], [WATER, soil(1)]) == pytest.approx([6])

    def test_shapes_side_by_side_are_as_wide_as_both(self):
        # WORKED: two strips of 2 m, with 8 m of water to either side.
        strips = [shapely.box(8, 0, 10, 20), shapely.box(10, 0, 12, 20)]
        water = [shapely.box(0, 0, 8, 20), shapely.box(12, 0, 20, 20)]
        facts = [soil(1), soil(2), WATER, WATER]
        assert self.parts_m2([*strips, *water], facts) == pytest.approx([40])
        assert self.parts_m2([strips[0], *water], [soil(1), WATER, WATER]) == []

    def test_large_is_from_a_square_of_the_least_width(self):
        # WORKED: 4 m asked, so from 16 m2: 1 m by 15.9 m and by 16 m.
        for long_m, large in ((15.9, False), (16, True)):
            lower = shapely.box(0, 0, 40, 20).union(shapely.box(8, 20, 9, 20 + long_m))
            rest = shapely.box(0, 0, 40, 60).difference(lower)
            narrow, outlines = narrow_zones([lower, rest], [soil(1), soil(2)])
            assert narrow.any_large(outlines.shapes[0], outlines.labels[0]) == large

    def test_a_zone_is_thin_where_it_is_nowhere_wide_although_the_field_is(self):
        strip, rest = shapely.box(0, 0, 20, 3), shapely.box(0, 3, 20, 20)
        field = narrow_in(np.array(noded([strip, rest])), 4.0)
        assert is_thin(strip, 4.0, field)
        assert not is_thin(rest, 4.0, field)
        assert not is_thin(strip, 4.0, narrow_in(np.array([strip]), 4.0))

    def test_where_no_width_is_asked_nothing_is_narrow(self):
        narrow, outlines = narrow_zones([LOWER, FIELD.difference(LOWER)], [soil(1), soil(2)], 0.0)
        assert narrow.parts(outlines.shapes[0], outlines.labels[0]) == ()
        assert not is_thin(outlines.shapes[0], 0.0, NOTHING)
