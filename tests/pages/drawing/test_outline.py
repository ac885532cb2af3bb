import pytest
import shapely
from shapely.geometry import MultiPolygon, Polygon, box, mapping

from tests.pages.uploads import EAST, SQUARE, WEST, features
from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, geodesic_area_ha
from zoneplan.field.outline import read_field
from zoneplan.pages.drawing.outline import (
    Outline,
    area_ha,
    boundary_of,
    drawn_from,
    from_map,
    outlines_of,
    shape_of,
    square,
    thinned,
    to_map,
    typed,
    written,
)
from zoneplan.request import Drawn

KNOLL = Outline("Knoll", ((-93.5, 42.0), (-93.49, 42.0), (-93.49, 42.01)))
BARE = Outline("", ((-93.6, 42.0), (-93.59, 42.0), (-93.59, 42.01), (-93.6, 42.01)))


def test_outlines_go_to_the_map_and_come_back():
    assert from_map(to_map([KNOLL, BARE])) == [KNOLL, BARE]
    (closed, _) = to_map([KNOLL, BARE])
    ring = closed["geometry"]["coordinates"][0]
    assert ring[0] == ring[-1] == [-93.5, 42.0]


def test_what_the_map_sends_is_rounded_and_what_is_no_outline_is_passed_over():
    sent = [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [-93.5, 42.0]}},
        {
            "type": "Feature",
            "properties": None,
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [
                        [-93.123456789, 42.0],
                        [-93.123456789, 42.0],
                        [-93.0, 42.0],
                        [-93.0, 42.1],
                        [-93.123456789, 42.0],
                    ]
                ],
            },
        },
    ]
    assert from_map(sent) == [Outline("", ((-93.1234568, 42.0), (-93.0, 42.0), (-93.0, 42.1)))]


def test_outlines_are_written_and_read_back():
    assert typed(written([KNOLL, BARE])) == [KNOLL, BARE]
    assert typed("") == []


def test_corners_are_read_as_people_type_them():
    text = """
      42.0 -93.5
      42.0;−93.49
      42.01°, -93.49°
      North 40:
      42, -93
      42, -92
      43, -92
    """
    first, second = typed(text)
    assert first == Outline("", KNOLL.corners)
    assert second == Outline("North 40", ((-93.0, 42.0), (-92.0, 42.0), (-92.0, 43.0)))


def test_every_line_that_is_no_corner_is_told():
    with pytest.raises(LayerError) as error:
        typed("42.0, -93.5\n42.0 N, -93.49\n42.01\n")
    lines = str(error.value).splitlines()
    assert lines[0] == "What is typed has 2 faults:"
    assert "Line 2, “42.0 N, -93.49”, is no corner: write latitude, longitude" in lines[1]
    assert "Line 3, “42.01”" in lines[2]


def test_a_square_about_a_place_has_the_acres_that_were_asked_for():
    shape = Polygon(square(42.0, -93.5, 160.0, "Home").corners)
    # WORKED: 160 acres are 160 x 0.40468564224 ha = 64.75 ha
    assert geodesic_area_ha(shape, WGS_84) == pytest.approx(64.75, abs=0.01)
    assert (shape.centroid.y, shape.centroid.x) == pytest.approx((42.0, -93.5), abs=1e-5)


def test_corners_that_hardly_move_the_edge_are_left_out():
    corners = [(-93.5 + n / 1e4, 42.0) for n in range(11)]
    many = Outline("a", (*corners, (-93.4985, 42.002)))
    few = thinned(many, within_m=1.0)
    assert few.name == "a"
    assert len(few.corners) == 3
    assert {*few.corners} <= {*many.corners}
    assert thinned(KNOLL, within_m=1.0) == KNOLL
    assert thinned(KNOLL, within_m=10_000.0) == KNOLL


INNER = box(-93.003, 42.001, -93.002, 42.002)  # in the square
ISLAND = box(-93.0027, 42.0013, -93.0023, 42.0017)  # in the inner one
FAR = box(-92.0, 42.0, -91.996, 42.003)


def outline(shape, name=""):
    return Outline(name, tuple(shape.exterior.coords[:-1]))


def message_of(outlines, what="zone", meets=None):
    with pytest.raises(LayerError) as fault:
        drawn_from(outlines, what, meets)
    return str(fault.value)


@pytest.mark.parametrize("what", ["boundary", "zone", "headland"])
def test_an_outline_becomes_ground_and_comes_back_as_it_was(what):
    home = outline(SQUARE, "Home")
    (drawn,) = drawn_from([home], what)
    assert (drawn.what, drawn.name) == (what, "Home")
    assert shape_of(drawn).equals(SQUARE)
    assert outlines_of([drawn], what) == [home]
    assert outlines_of([drawn], "soil") == []


def test_what_has_no_name_gets_one_that_nothing_else_has():
    names = [mark.name for mark in drawn_from([outline(WEST, "drawn 1"), outline(EAST)], "zone")]
    assert names == ["drawn 1", "drawn 2"]
    (drawn,) = drawn_from([outline(WEST)], "boundary")
    assert drawn.name == "drawn field"


def test_an_outline_of_the_boundary_inside_another_is_a_hole_and_one_in_a_hole_is_ground():
    drawn = drawn_from([outline(ring) for ring in (ISLAND, SQUARE, INNER, FAR)], "boundary")
    ground = SQUARE.difference(INNER).union(ISLAND).union(FAR)
    assert shapely.union_all([shape_of(mark) for mark in drawn]).equals(ground)
    assert area_ha(drawn[0]) > 0
    # and so they come back, ring by ring
    again = outlines_of(drawn, "boundary")
    assert {Polygon(mark.corners).normalize() for mark in again} == {
        ring.normalize() for ring in (ISLAND, SQUARE, INNER, FAR)
    }
    assert len(again) == 4


def test_outlines_of_the_boundary_that_overlap_are_joined():
    drawn = drawn_from(
        [outline(WEST.buffer(0.0005, join_style="mitre")), outline(EAST)], "boundary"
    )
    (whole,) = map(shape_of, drawn)
    assert whole.covers(SQUARE.buffer(-1e-9))


def test_a_boundary_may_have_small_holes_but_encloses_ground():
    well = box(-93.003, 42.001, -93.00296, 42.00103)
    (drawn,) = drawn_from([outline(SQUARE), outline(well)], "boundary")
    assert len(shape_of(drawn).interiors) == 1
    message = message_of([outline(well)], "boundary")
    # WORKED: 0.00004 degrees x 82.8 km x 0.00003 degrees x 111.1 km = 3.31 m x 3.33 m
    assert message.startswith("The boundary encloses 11 m², too little to plant")


def test_two_outlines_of_the_boundary_that_are_the_same_are_a_fault():
    assert message_of([outline(SQUARE), outline(SQUARE)], "boundary") == (
        "Two outlines of the boundary are the same: delete one of them."
    )


def test_a_zone_inside_another_is_not_hidden_by_it():
    names = [
        mark.name
        for mark in drawn_from(
            [outline(FAR, "far"), outline(SQUARE, "large"), outline(INNER, "small")], "zone"
        )
    ]
    assert names == ["small", "far", "large"]


# What is wrong with one outline, and what is said of it.
FAULTS = {
    "crossed": (
        Outline("", ((-93.0, 42.0), (-92.99, 42.01), (-92.99, 42.0), (-93.0, 42.01))),
        "crosses itself near 42.00500, -92.99500: move the corners there",  # WORKED: the middle
    ),
    "a line": (
        Outline("", ((-93.0, 42.0), (-92.99, 42.0))),
        "has 2 corners: an outline needs three at least",
    ),
    "a point": (Outline("", ((-93.0, 42.0),)), "has only one corner"),
    "flat": (
        Outline("", ((-93.0, 42.0), (-92.99, 42.0), (-92.98, 42.0))),
        "encloses no ground: draw it again",
    ),
    "a speck": (
        outline(box(-93.0, 42.0, -92.999999, 42.000001)),
        "m²: draw it larger, or delete it",
    ),
    "a state": (outline(box(-94.0, 42.0, -93.0, 43.0)), "acres, more than any one field"),
    "swapped": (
        Outline("", ((42.0, -93.0), (42.0, -92.99), (42.01, -92.99))),
        "has a corner at latitude -93: write latitude first",
    ),
    "off the earth": (
        Outline("", ((-193.0, 42.0), (-192.0, 42.0), (-192.0, 42.5))),
        "has a corner at longitude -193",
    ),
}


@pytest.mark.parametrize(("drawn", "words"), FAULTS.values(), ids=FAULTS)
def test_what_cannot_be_used_is_told_in_a_sentence(drawn, words):
    message = message_of([drawn])
    assert message.startswith("The outline ")
    assert words in message
    assert "\n" not in message


def test_every_fault_is_told_at_once_by_number_and_name():
    crossed, line = FAULTS["crossed"][0], FAULTS["a line"][0]
    message = message_of([outline(SQUARE, "good"), Outline("Knoll", crossed.corners), line])
    first, *faults = message.splitlines()
    assert first == "What is drawn has 2 faults:"
    assert faults[0].strip().startswith("Outline 2, “Knoll”, crosses itself near ")
    assert faults[1].strip().startswith("Outline 3, “drawn 1”, has 2 corners")


def test_an_outline_that_is_nowhere_near_is_told_with_how_far_it_is():
    # WORKED: 0.99999 to 1 degree of longitude at 42 N: cos 42 x 111.5 = 82.9 km
    assert "lies 82.8 km from the field: move it there" in message_of(
        [outline(FAR)], "zone", SQUARE
    )
    assert "km from the soil layers" in message_of([outline(FAR)], "boundary", SQUARE)
    assert drawn_from([outline(INNER)], "zone", SQUARE)


def test_soil_is_of_a_texture_class():
    assert drawn_from([outline(INNER, "silt loam")], "soil")
    message = message_of([outline(INNER, "silt lome")], "soil")
    assert 'which is no texture class. Did you mean "silt loam"?' in message
    assert "Choose one of sand, " in message_of([outline(INNER, "")], "soil")
    assert drawn_from([outline(box(-94, 42, -93, 43), "clay")], "soil")  # larger than any field


def test_a_boundary_file_can_be_drawn_on_and_keeps_its_ground(tmp_path):
    shape = MultiPolygon([SQUARE.difference(INNER), FAR])
    path = tmp_path / "home.geojson"
    path.write_bytes(features((shape, {"name": "Home"})))
    drawn = boundary_of(read_field(path))
    assert {mark.name for mark in drawn} == {"Home"}
    assert {mark.what for mark in drawn} == {"boundary"}
    assert sum(map(area_ha, drawn)) == pytest.approx(geodesic_area_ha(shape, WGS_84), rel=1e-6)
    again = drawn_from(outlines_of(drawn, "boundary"), "boundary")
    assert sum(map(area_ha, again)) == pytest.approx(sum(map(area_ha, drawn)), rel=1e-9)


def test_drawn_ground_is_geojson():
    (drawn,) = drawn_from([outline(SQUARE)], "zone")
    assert drawn == Drawn("zone", "drawn 1", shapely.to_geojson(SQUARE))
    assert mapping(shape_of(drawn))["type"] == "Polygon"
