"""What ground is asked about, and what is refused before anything is sent."""

import json
from dataclasses import replace

import pytest
import shapely
from pyproj import Transformer
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, box, mapping

from zoneplan.errors import LayerError, ServiceError
from zoneplan.field.outline import read_field
from zoneplan.field.service.ground import (
    GROWN_M,
    MOST_CORNERS,
    SIMPLIFIED_M,
    asked_outline,
    check_cover,
)
from zoneplan.field.service.soil import SoilService

IN = {  # from an atlas, from memory: any map shows them
    "Ames, Iowa": (-93.62, 42.03),
    "the Red River, Minnesota": (-96.9, 48.9),
    "Imperial Valley, California": (-115.5, 32.8),
    "Homestead, Florida": (-80.5, 25.5),
    "Palmer, Alaska": (-149.1, 61.6),
    "Oahu, Hawaii": (-158.0, 21.5),
    "Puerto Rico": (-66.5, 18.3),
    "Guam": (144.8, 13.45),
}
OUT = {
    "the Atlantic": (-60.0, 35.0),
    "the Gulf of Mexico": (-90.0, 26.5),
    "the Pacific": (-130.0, 40.0),
    "Manitoba": (-97.2, 49.5),
    "Ontario": (-80.5, 43.6),
    "Sonora": (-111.0, 29.5),
    "Tamaulipas": (-98.2, 25.5),
    "Cuba": (-81.0, 22.5),
    "Denmark": (9.5, 55.5),
    "nowhere": (0.0, 0.0),
}


def field_at(folder, x, y, size=0.005):
    path = folder / "field.geojson"
    shape = box(x, y, x + size, y + size) if isinstance(size, float) else size
    feature = {"type": "Feature", "properties": {}, "geometry": mapping(shape)}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    return read_field(path)


@pytest.mark.parametrize("name", IN)
def test_ground_of_the_united_states_may_be_asked_about(tmp_path, name):
    check_cover(field_at(tmp_path, *IN[name]))


@pytest.mark.parametrize("name", OUT)
def test_ground_elsewhere_or_over_the_sea_is_told_before_anything_is_sent(
    tmp_path, soils, server, name
):
    with pytest.raises(
        ServiceError, match="outside the United States, or over open water"
    ) as caught:
        soils.survey(field_at(tmp_path, *OUT[name]))
    assert caught.value.code == "outline-outside"
    assert "nothing was sent" in str(caught.value)
    assert server.seen == []


def test_a_place_that_is_swapped_is_guessed_at_in_the_message_alone(tmp_path):
    # 42 E, 75 S is no place for corn; 75 W, 42 N is in New York.
    with pytest.raises(ServiceError, match="look swapped"):
        check_cover(field_at(tmp_path, 42.0, -75.0))


def test_ten_counties_are_told_before_anything_is_sent(tmp_path, soils, server):
    two = MultiPolygon([box(-93.6, 42, -93.599, 42.001), box(-91.6, 42, -91.599, 42.001)])
    with pytest.raises(ServiceError, match=r"spans 16\d km") as caught:
        soils.survey(field_at(tmp_path, 0, 0, two))
    assert caught.value.code == "outline-too-wide"
    assert server.seen == []


def test_and_so_is_one_outline_round_them(tmp_path):
    with pytest.raises(LayerError, match="no field"):
        field_at(tmp_path, -95.0, 41.0, 2.0)


def test_the_outline_is_grown_by_as_much_as_is_said(creek):
    outline = asked_outline(creek)
    back = Transformer.from_crs("EPSG:4326", creek.crs, always_xy=True)
    grown = shapely.transform(outline, back.transform, interleaved=False)
    near, far = GROWN_M - SIMPLIFIED_M - 0.1, GROWN_M + SIMPLIFIED_M + 0.1
    assert grown.covers(creek.shape.buffer(near, quad_segs=2))
    assert creek.shape.buffer(far).covers(grown)


def test_an_outline_of_many_corners_goes_as_its_box(creek):
    # 400 squares apart from each other: as islands of 62 m they stay apart, grown by 30 m.
    comb = shapely.union_all(
        [translate(box(0, 0, 62, 62), n % 20 * 140, n // 20 * 140) for n in range(400)]
    )
    ragged = replace(creek, shape=comb)
    outline = asked_outline(ragged)
    assert shapely.get_num_coordinates(outline) <= MOST_CORNERS
    back = Transformer.from_crs("EPSG:4326", creek.crs, always_xy=True)
    assert shapely.transform(outline, back.transform, interleaved=False).covers(comb)


def test_a_service_address_is_looked_at_first(monkeypatch):
    monkeypatch.setenv("ZONEPLAN_SOIL_SERVICE", "nonsense")
    with pytest.raises(ServiceError, match="Nothing was sent"):
        SoilService()
