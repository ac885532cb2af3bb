import json

import pytest
from shapely.geometry import box, mapping

from tests.pages.uploads import SQUARE, features, survey, tif, upload
from zoneplan.pages.drawing.table import MOST_CORNERS, boundary_read, reach_of
from zoneplan.sources import Upload


def sent(name, content, _kind=""):
    return Upload(name, content)


SOILS = sent("soils.geojson", features((SQUARE, {"texture": "loam"})))


def test_polygons_are_shown_as_they_lie():
    reach = reach_of([SOILS])
    assert reach.symmetric_difference(SQUARE).area < 1e-9


def test_a_raster_is_shown_by_its_extent():
    assert reach_of([sent(*tif("clay.tif", 10, 20))]).bounds == pytest.approx(SQUARE.bounds)


def test_a_survey_is_found_in_its_zip():
    west, south, east, north = reach_of([sent(*survey("level"))]).bounds
    assert west < east
    assert south < north


def test_a_layer_of_many_corners_is_shown_by_its_extent():
    many = [
        (box(-93 + x / 100, 42 + y / 100, -92.995 + x / 100, 42.005 + y / 100), {})
        for x in range(40)
        for y in range(30)
    ]
    assert 4 * len(many) < MOST_CORNERS < 5 * len(many)  # a ring of four has five
    (extent,) = reach_of([sent("many.geojson", features(*many))]).geoms
    assert extent.equals(box(*extent.bounds))


def test_what_cannot_be_read_yet_is_passed_over():
    points = sent("points.csv", b"lon,lat,clay\n-93,42,20\n")
    broken = sent("broken.geojson", b"{")
    assert reach_of([points, broken]).is_empty
    assert reach_of([points, SOILS]).intersects(SQUARE)
    assert reach_of([]).is_empty


def test_a_boundary_is_read_where_it_can_be():
    boundary = sent("home.geojson", features((SQUARE, {"name": "Home"})))
    assert boundary_read(boundary, None, None).name == "Home"
    assert boundary_read(sent("home.geojson", b"{"), None, None) is None
    two = json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "properties": {}, "geometry": mapping(SQUARE)} for _ in range(2)
            ],
        }
    ).encode()
    assert boundary_read(sent("two.geojson", two), None, None) is None
    assert boundary_read(sent("two.geojson", two), "2", None) is not None


def test_names_do_no_harm(tmp_path):
    name, content, _ = upload("../../soils.geojson", SOILS.content)
    assert reach_of([Upload(name, content)]).intersects(SQUARE)
    assert not [*tmp_path.iterdir()]
