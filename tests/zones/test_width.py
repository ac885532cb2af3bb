"""What is thin: on squares, and at corners whose angle is known."""

import math

import pytest
import shapely

from zoneplan.zones.width import least_part_m2, narrow_in, opened, thin_parts

BODY = shapely.box(0, 0, 20, 10)
SLACK = 0.01


def parts_m2(*boxes, least_width_m, besides=None):
    ground = shapely.union_all([shapely.box(*box) for box in boxes])
    besides = shapely.Polygon() if besides is None else besides
    return [part.area for part in thin_parts(ground, least_width_m, besides)]


def test_a_strip_is_thin_where_it_is_thinner_than_asked():
    # WORKED: 1 m by 6 m; the centimetre of slack stays with the body.
    strip = (8, 10, 9, 16)
    assert parts_m2(BODY.bounds, strip, least_width_m=4) == pytest.approx([6 - SLACK])
    assert parts_m2(BODY.bounds, strip, least_width_m=1) == []


def test_ground_that_is_nowhere_wide_is_all_thin():
    assert parts_m2((0, 0, 20, 3), least_width_m=4) == [60]
    assert parts_m2((0, 0, 20, 3), least_width_m=0) == []


def test_where_it_may_be_thin_it_is_not_told():
    strip = (8, 10, 9, 16)
    assert parts_m2(BODY.bounds, strip, least_width_m=4, besides=shapely.box(8, 10, 9, 16)) == []


def test_a_bump_counts_from_a_square_half_as_wide():
    # WORKED: a quarter of 4 m by 4 m are 4 m2; 2 m by 2.01 m are that and 2 cm2 more.
    assert least_part_m2(4) == 4
    assert parts_m2(BODY.bounds, (8, 10, 10, 12), least_width_m=4) == []
    assert parts_m2(BODY.bounds, (8, 10, 10, 12.02), least_width_m=4) == pytest.approx([4.02])


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


def test_shapes_are_thin_only_where_all_are_together():
    # WORKED: two strips of 2 m side by side are 4 m wide.
    strips = shapely.box([0, 2], [0, 0], [2, 4], [20, 20])
    assert narrow_in(strips, 4).is_empty
    assert narrow_in(strips[:1], 4).area == 40


def test_a_corner_that_is_written_twice_is_one_corner():
    # 7e-15 m apart, as overlays leave them: by itself no direction, and a mitre of NaN, which
    # warns.
    twice = [(63.6785998, 9.802677900000003), (63.67859980000001, 9.8026779)]
    triangle = shapely.Polygon([*twice, (69.7, 4.3), (82.5, 37.6)])
    assert opened(triangle, 12).is_empty
