"""Headlands on squares whose areas can be counted, and on random ground."""

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate
from shapely.geometry import MultiPolygon, Point, Polygon, box

from tests.field.ground import field_of, layer_of
from tests.helpers.frames import frame_of
from tests.telling import sentences
from tests.zones.test_narrow_parts import BEND, TWICE
from zoneplan.errors import LayerError
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import Marks
from zoneplan.zones.headland import headland

SQUARE = box(0, 0, 100, 100)
POND = Polygon(SQUARE.exterior, [box(40, 40, 60, 60).exterior.coords])
ALL = ["north", "east", "south", "west"]


def laid(shape, passes, width_m, sides=None):
    """Lay a headland, see that it lies in the field, and give its ground and notes."""
    layer = headland(field_of(shape), passes, width_m, sides)
    assert set(layer.ground["site"]) == {Marks(headland=True)}
    assert set(layer.ground.geom_type) == {"Polygon"}
    ground = shapely.union_all(layer.ground.geometry.to_numpy())
    assert ground.area == pytest.approx(layer.ground.area.sum())  # no strip over another
    assert ground.difference(shape).area < 1e-6
    return ground, sentences(layer.notes)


def area_m2(*asked):
    return laid(*asked)[0].area


def test_two_passes_round_a_square():
    ground, notes = laid(SQUARE, 2, 10.0)
    assert ground.area == pytest.approx(6400)  # WORKED: 100^2 - 60^2
    assert notes == ("2 passes of 10 m along the whole edge, holes too.",)


def test_a_corner_that_is_written_twice_is_turned_at_once():
    once, twice = (Polygon(each) for each in (BEND, [*BEND[:4], TWICE, *BEND[4:]]))
    assert area_m2(twice, 1, 6) == pytest.approx(area_m2(once, 1, 6)) != pytest.approx(once.area)


def test_a_pond_is_turned_at_as_well():
    # WORKED: 100^2 - 80^2 along the outside, 40^2 - 20^2 round the pond.
    assert area_m2(POND, 1, 10.0) == pytest.approx(3600 + 1200)


def test_each_part_has_its_own():
    # WORKED: 100^2 - 80^2 in one, 50^2 - 30^2 in the other.
    assert area_m2(MultiPolygon([SQUARE, box(105, 0, 155, 50)]), 1, 10.0) == pytest.approx(5200)


def test_inner_corners_are_mitred_and_sharp_ones_cut_off():
    # WORKED: an L leaves 80 x 30 + 30 x 50 m2 inside.
    ell = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (50, 100), (0, 100)])
    assert area_m2(ell, 1, 10.0) == pytest.approx(7500 - 3900)
    # A mitre at a spike of 1 m into the field would reach right through it. WORKED: it is cut
    # off at twice the depth, 20 m from the spike's end at 99 m.
    spike = Polygon([(0, 0), (100, 0), (100, 100), (50.01, 100), (50, 99), (49.99, 100), (0, 100)])
    assert laid(spike, 1, 10.0)[0].intersection(box(11, 11, 89, 78.9)).is_empty


@pytest.mark.parametrize(
    ("sides", "area"),
    # WORKED: strips of 20 m on a square of 100 m; two that meet share 20 x 20 m2.
    [(["north"], 2000), (["north", "south"], 4000), (["north", "east"], 3600), (ALL, 6400)],
)
def test_chosen_sides_of_a_square(sides, area):
    ground, notes = laid(SQUARE, 2, 10.0, sides)
    assert ground.area == pytest.approx(area)
    assert notes == (f"2 passes of 10 m along the sides that face {', '.join(sides)}.",)


def test_a_side_is_where_it_says():
    assert laid(SQUARE, 1, 10.0, ["north"])[0].equals(box(0, 90, 100, 100))
    assert laid(SQUARE, 1, 10.0, ["east"])[0].equals(box(90, 0, 100, 100))
    assert laid(SQUARE, 1, 10.0, ["south"])[0].equals(box(0, 0, 100, 10))
    assert laid(SQUARE, 1, 10.0, ["west"])[0].equals(box(0, 0, 10, 100))


@pytest.mark.parametrize(("degrees", "side"), [(30, "north"), (44, "north"), (46, "west")])
def test_a_side_belongs_to_the_nearer_direction(degrees, side):
    # WORKED: turned by 44 degrees, the north side faces 44 degrees west of north.
    turned = rotate(SQUARE, degrees, origin=(50, 50))
    strip = rotate(box(0, 90, 100, 100), degrees, origin=(50, 50))
    assert laid(turned, 1, 10.0, [side])[0].symmetric_difference(strip).area < 1e-6


def test_a_side_runs_from_corner_to_corner_through_its_bends():
    # WORKED: a step of 3 m in the north edge faces east and is no side of its own.
    stepped = Polygon([(0, 0), (100, 0), (100, 100), (50, 100), (50, 103), (0, 103)])
    assert area_m2(stepped, 2, 10.0, ["north"]) == pytest.approx(2000, abs=200)
    assert area_m2(stepped, 2, 10.0, ["east"]) == pytest.approx(2000, abs=1)


def test_a_side_across_a_pond_is_turned_at_as_well():
    # WORKED: 100 x 10 m2 along the north, 20 x 10 m2 south of the pond.
    ground = laid(POND, 1, 10.0, ["north"])[0]
    assert ground.equals(box(0, 90, 100, 100).union(box(40, 30, 60, 40)))


def test_strips_run_out_to_the_edge_at_a_wide_corner_and_stop_at_an_inner_one():
    # WORKED: beside the north side of a hexagon the field widens by 0.6 m a metre, so the
    # strip is 100 m at its top and 112 m at its foot.
    hexagon = Polygon([(0, 0), (100, 0), (130, 50), (100, 100), (0, 100), (-30, 50)])
    assert area_m2(hexagon, 1, 10.0, ["north"]) == pytest.approx(1060)
    # WORKED: north sides of an L, 50 m each, of which one ends at the inner corner.
    ell = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (50, 100), (0, 100)])
    assert area_m2(ell, 1, 10.0, ["north"]) == pytest.approx(1000)


def test_no_strip_reaches_across_a_gap():
    # WORKED: two squares 5 m apart, an east side of 100 m on each.
    two = MultiPolygon([SQUARE, box(105, 0, 205, 100)])
    ground = laid(two, 2, 10.0, ["east"])[0]
    assert ground.equals(MultiPolygon([box(80, 0, 100, 100), box(185, 0, 205, 100)]))


def test_a_side_that_is_not_there_is_refused():
    triangle = Polygon([(0, 0), (100, 0), (50, 80)])
    with pytest.raises(LayerError) as fault:
        laid(triangle, 1, 10.0, ["south", "north"])
    for word in ["no side that faces north", "east, south, west", "all round"]:
        assert word in str(fault.value)


@pytest.mark.parametrize("sides", [None, ALL])
def test_a_field_narrower_than_two_headlands_is_all_headland(sides):
    ground, notes = laid(box(0, 0, 100, 40), 2, 10.0, sides)
    assert ground.equals(box(0, 0, 100, 40))
    assert notes[1] == "The field is too narrow for ground between headlands, and all headland."


def test_a_part_that_is_all_headland_is_told():
    notes = laid(MultiPolygon([SQUARE, box(110, 0, 140, 100)]), 2, 10.0)[1]
    assert notes[1].startswith("1 of the field's 2 parts are too narrow")


def star(seed):
    """A field of 24 corners, some of them deep inner ones, about a pond."""
    random = np.random.default_rng(seed)
    angles = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    reach = random.uniform(120, 250, 24)
    shell = np.column_stack([reach * np.cos(angles), reach * np.sin(angles)])
    return Polygon(shell, [Point(random.uniform(-40, 40, 2)).buffer(30).exterior.coords])


@pytest.mark.parametrize("seed", range(8))
def test_headland_is_all_ground_near_the_edge(seed):
    field = star(seed)
    ground = laid(field, 2, 9.0)[0]
    assert shapely.buffer(field.boundary, 17.999).intersection(field).difference(ground).area < 1e-6
    # A mitre is cut off twice as deep; the corners of the cut lie a little deeper.
    assert ground.difference(shapely.buffer(field.boundary, 40)).area < 1e-6


@pytest.mark.parametrize("seed", range(8))
def test_sides_make_up_the_whole_and_nothing_else(seed):
    field = star(seed)
    whole = laid(field, 2, 9.0)[0]
    strips = [laid(field, 2, 9.0, [side])[0] for side in ALL]
    together = laid(field, 2, 9.0, ALL)[0]
    assert together.symmetric_difference(whole).area < 1e-6
    for strip in strips:
        assert strip.difference(whole).area < 1e-6
        assert strip.area < whole.area


@pytest.mark.parametrize("seed", range(8))
def test_pieces_with_a_headland_tile_the_field(seed):
    field = field_of(star(seed))
    soil = layer_of({"soil": box(-300, -300, 60, 300)})
    pieces = frame_of(overlay(field, [soil], [headland(field, 2, 9.0)]).pieces)
    assert shapely.coverage_is_valid(pieces.geometry.to_numpy())
    assert pieces.area.sum() == pytest.approx(field.shape.area, rel=1e-9)
    in_it = [site.headland for site in pieces["site"]]
    assert pieces.area[in_it].sum() == pytest.approx(area_m2(field.shape, 2, 9.0), rel=1e-9)
