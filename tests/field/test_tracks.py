"""Wheel tracks as lines and as outlines, on a square of 400 m."""

import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import LineString, MultiLineString, Point, box

from tests.field.ground import BOW_TIE, SQUARE, field_of, layer_of, write_geojson
from tests.helpers.frames import frame_of
from tests.telling import sentences
from zoneplan.errors import LayerError
from zoneplan.field.drawn import read_tracks
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import Marks

NORTHWARD = LineString([(100, -50), (100, 450)])
EASTWARD = LineString([(-50, 300), (450, 300)])


def laid(tmp_path, *shapes, width_m=10.0):
    """Write and read tracks, and give what they cover of the square [m²] and the notes."""
    path = write_geojson(tmp_path / "lanes.geojson", shapes)
    layer = read_tracks(path, field_of(SQUARE), width_m)
    assert layer.name == "lanes"
    assert set(layer.ground["site"]) == {Marks(track=True)}
    assert set(layer.ground.geom_type) == {"Polygon"}
    soil = layer_of({"soil": box(-9, -9, 409, 409)})
    pieces = frame_of(overlay(field_of(SQUARE), [soil], [layer]).pieces)
    assert shapely.coverage_is_valid(pieces.geometry.to_numpy())
    assert pieces.area.sum() == pytest.approx(SQUARE.area, rel=1e-9)
    tracked = [site.track for site in pieces["site"]]
    return pieces.area[tracked].sum(), sentences(layer.notes)


def test_a_line_across_the_field_is_as_wide_as_told(tmp_path):
    area_m2, notes = laid(tmp_path, NORTHWARD)
    assert area_m2 == pytest.approx(4000, rel=1e-4)  # WORKED: 400 m x 10 m
    assert notes == ("Lines are taken as 10 m wide.",)


def test_where_tracks_cross_the_ground_counts_once(tmp_path):
    # WORKED: twice 400 x 10 m2 less the crossing of 10 x 10 m2.
    assert laid(tmp_path, NORTHWARD, EASTWARD)[0] == pytest.approx(7900, rel=1e-4)
    assert laid(tmp_path, MultiLineString([NORTHWARD, EASTWARD]))[0] == pytest.approx(
        7900, rel=1e-4
    )


def test_outlines_are_taken_as_they_are(tmp_path):
    area_m2, notes = laid(tmp_path, box(50, 0, 53, 400))
    assert area_m2 == pytest.approx(1200, rel=1e-3)  # WORKED: 3 m x 400 m
    assert notes == ()


def test_a_line_that_ends_in_the_field_ends_square(tmp_path):
    assert laid(tmp_path, LineString([(100, 100), (100, 300)]))[0] == pytest.approx(2000, rel=1e-4)


def test_a_turn_is_mitred_and_a_sharp_one_cut_off(tmp_path):
    # WORKED: two legs of 100 x 10 m2; they share 5 x 5 m2 inside the bend, and the mitre adds
    # 5 x 5 m2 outside it.
    elbow = LineString([(100, 200), (100, 100), (200, 100)])
    assert laid(tmp_path, elbow)[0] == pytest.approx(2000, rel=1e-3)
    hairpin = LineString([(100, 200), (101, 100), (102, 200)])
    path = write_geojson(tmp_path / "h.geojson", [hairpin])
    ground = read_tracks(path, field_of(SQUARE), 10.0).ground
    assert ground.total_bounds[1] > 89  # not past twice the half width


def test_what_is_neither_line_nor_polygon_is_left_out_and_said(tmp_path):
    notes = laid(tmp_path, NORTHWARD, Point(10, 10), translate(EASTWARD, 0, 900))[1]
    assert notes == (
        "1 of 2 shapes lie outside the field.",
        "1 of 3 shapes are neither lines nor polygons.",
        "Lines are taken as 10 m wide.",
    )


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (Point(10, 10), "holds Point"),
        (translate(NORTHWARD, 900, 0), "do not meet"),
        (BOW_TIE, "A polygon of lanes.geojson crosses itself"),
    ],
)
def test_what_cannot_be_a_track_is_refused(tmp_path, shape, words):
    with pytest.raises(LayerError, match=words):
        laid(tmp_path, shape)


def test_an_empty_file_is_refused(tmp_path):
    path = write_geojson(tmp_path / "lanes.geojson", [])
    with pytest.raises(LayerError, match="no shapes at all"):
        read_tracks(path, field_of(SQUARE), 10.0)


def test_a_line_of_no_length_marks_nothing(tmp_path):
    still = LineString([(100, 100), (100, 100)])
    assert laid(tmp_path, NORTHWARD, still)[0] == pytest.approx(4000, rel=1e-4)


def test_a_hole_between_tracks_is_no_track(tmp_path):
    # WORKED: a ring of 40 m and 10 m wide: 50^2 - 30^2.
    line = LineString(box(100, 100, 140, 140).exterior.coords)
    assert laid(tmp_path, line)[0] == pytest.approx(1600, rel=1e-3)
