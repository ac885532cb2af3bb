import pytest
from shapely.geometry import Polygon

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, geodesic_area_ha
from zoneplan.pages.drawing.outline import (
    Outline,
    from_map,
    square,
    thinned,
    to_map,
    typed,
    written,
)

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
