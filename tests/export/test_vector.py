"""What we write is read back here by another library: pyshp, GDAL (pyogrio), json alone."""

import io
import json
import math
import zipfile
from dataclasses import replace
from itertools import pairwise

import geopandas as gpd
import pytest
import shapefile
from pyproj import CRS, Geod

from tests.export.plans import AREAS_HA, FIELD_HA, SETTINGS, remarks, small_plan
from zoneplan.export.table import columns, row
from zoneplan.export.zone_files import cut, geojson_bytes, shapefile_zip_bytes
from zoneplan.terms import Moisture

WGS84 = Geod(ellps="WGS84")
# WORKED: half of 1e-7 degree is 5.57 mm north, and 4.14 mm east at 42°: less than 7 mm in all.
# An outline of 1000 m shifted by it sweeps 7 m².
SHIFT_M = 0.007


def geodesic_ha(shape):
    area_m2, _ = WGS84.geometry_area_perimeter(shape.normalize())
    return abs(area_m2) / 1e4


def turn(ring):
    """Twice the signed area of a ring, by the shoelace rule: positive is counter-clockwise."""
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise(ring))


def with_dry(**parts):
    dry = replace(SETTINGS[0].moistures["dry"], **parts)
    setting = replace(SETTINGS[0], moistures={**SETTINGS[0].moistures, "dry": dry})
    return replace(small_plan(), settings=(setting, *SETTINGS[1:]))


@pytest.fixture(scope="module")
def collection():
    return json.loads(geojson_bytes(small_plan(), tuple(Moisture)))


@pytest.fixture(scope="module")
def read_geojson():
    return gpd.read_file(io.BytesIO(geojson_bytes(small_plan(), tuple(Moisture))))


@pytest.fixture(scope="module")
def unzipped():
    with zipfile.ZipFile(io.BytesIO(shapefile_zip_bytes(small_plan(), tuple(Moisture)))) as archive:
        return {entry.filename: archive.read(entry) for entry in archive.infolist()}


@pytest.fixture(scope="module")
def read_shapefile():
    return gpd.read_file(io.BytesIO(shapefile_zip_bytes(small_plan(), tuple(Moisture))))


@pytest.fixture(scope="module")
def pyshp(unzipped):
    parts = {kind: io.BytesIO(unzipped[f"zones.{kind}"]) for kind in ("shp", "shx", "dbf")}
    return shapefile.Reader(**parts, encoding="utf-8")


def test_geojson_has_only_what_the_standard_knows(collection):
    # PUBLISHED: RFC 7946, sections 3.2, 3.3 and 4: no crs member.
    assert set(collection) == {"type", "features"}
    for feature in collection["features"]:
        assert set(feature) == {"type", "id", "properties", "geometry"}
        assert set(feature["geometry"]) == {"type", "coordinates"}


def test_geojson_rings_turn_as_the_standard_says(collection):
    # PUBLISHED: RFC 7946, section 3.1.6: exterior counter-clockwise, holes clockwise, closed.
    for feature in collection["features"]:
        exterior, *holes = feature["geometry"]["coordinates"]
        assert turn(exterior) > 0
        assert all(turn(hole) < 0 for hole in holes)
        assert all(ring[0] == ring[-1] for ring in (exterior, *holes))
    assert len(collection["features"][0]["geometry"]["coordinates"]) == 2


def test_geojson_coordinates_have_seven_decimals_at_most(collection):
    for feature in collection["features"]:
        for ring in feature["geometry"]["coordinates"]:
            assert all(len(repr(each).partition(".")[2]) <= 7 for place in ring for each in place)


def test_geojson_zones_share_their_corners(collection):
    first, second, third = (
        feature["geometry"]["coordinates"] for feature in collection["features"]
    )
    # WORKED: zone 2 fills the hole of zone 1; zone 3 has two corners in common with zone 1.
    assert set(map(tuple, first[1])) == set(map(tuple, second[0]))
    assert len(set(map(tuple, first[0])) & set(map(tuple, third[0]))) == 2


def test_geojson_properties_are_the_table(collection):
    plan = small_plan()
    for feature, setting in zip(collection["features"], plan.settings, strict=True):
        assert feature["properties"] == row(plan, setting, tuple(Moisture))
        assert feature["id"] == setting.zone.id


def test_geojson_lies_where_the_field_is(collection):
    # WORKED: the corner 150 m east and 100 m north of the centre is 180.278 m away, at
    # atan2(150, 100) = 56.310° from north. PROJ puts the centre itself 0.7 mm too far north.
    corner = max(collection["features"][2]["geometry"]["coordinates"][0], key=sum)
    azimuth, _, distance_m = WGS84.inv(-93.62, 42.05, *corner)
    assert distance_m == pytest.approx(180.278, abs=0.001 + SHIFT_M)
    assert azimuth == pytest.approx(56.310, abs=0.003)  # 7 mm at 180 m are 0.002°


def test_geojson_is_read_by_gdal_with_true_areas(read_geojson):
    assert read_geojson.crs == "EPSG:4326"
    assert list(read_geojson["id"]) == [1, 2, 3]
    for zone, shape in zip(read_geojson["id"], read_geojson.geometry, strict=True):
        slack_ha = SHIFT_M * WGS84.geometry_length(shape) / 1e4
        assert geodesic_ha(shape) == pytest.approx(AREAS_HA[zone], abs=slack_ha)
    total_ha = sum(map(geodesic_ha, read_geojson.geometry))
    assert total_ha == pytest.approx(FIELD_HA, abs=SHIFT_M * 1000 / 1e4)  # WORKED: 2 (300 + 200) m
    assert read_geojson["area_ha"].sum() == pytest.approx(FIELD_HA, rel=1e-6)
    assert read_geojson.union_all().geom_type == "Polygon"


def test_geojson_values_are_read_by_gdal(read_geojson):
    first, second, third = read_geojson.to_dict("records")
    assert first["dry_margin_n"] == 644.0
    assert first["wet_closing_notch"] == "light"
    assert second["dry_wait"] is False
    assert second["wet_wait"] is True
    assert math.isnan(third["dry_margin_n"])


def test_geojson_never_holds_what_is_no_number():
    with pytest.raises(ValueError, match="not JSON compliant"):
        geojson_bytes(with_dry(margin_n=math.nan), ["dry"])


def test_a_file_for_one_moisture_has_no_other(collection):
    feature = json.loads(geojson_bytes(small_plan(), ["dry"]))["features"][0]["properties"]
    all_three = collection["features"][0]["properties"]
    assert feature["moisture"] == "dry"
    # WORKED: 600 N + 44 N dry; 500 + 44 moist; 350 + 44 wet.
    assert feature["margin_n"] == all_three["dry_margin_n"] == 644.0
    assert not {544.0, 394.0} & {value for value in feature.values() if isinstance(value, float)}


def test_shapefile_zip_is_flat_and_complete(unzipped):
    assert set(unzipped) == {"zones.shp", "zones.shx", "zones.dbf", "zones.prj", "zones.cpg"}
    assert unzipped["zones.cpg"] == b"UTF-8"


def test_shapefile_states_wgs84(unzipped):
    wkt = unzipped["zones.prj"].decode("ascii")
    assert wkt.startswith('GEOGCS["GCS_WGS_1984"')
    assert CRS.from_wkt(wkt).to_epsg() == 4326


def test_shapefile_rings_turn_as_the_description_says(pyshp):
    # PUBLISHED: Esri (1998), "Polygon": exterior clockwise, holes counter-clockwise.
    for shape in pyshp.shapes():
        assert shape.shapeTypeName == "POLYGON"
        starts = [*shape.parts, len(shape.points)]
        exterior, *holes = (shape.points[a:b] for a, b in pairwise(starts))
        assert turn(exterior) < 0
        assert all(turn(hole) > 0 for hole in holes)
    assert len(pyshp.shape(0).parts) == 2


# dBASE's own letters for the kinds of `table`.
LETTER = {"Int64": "N", "Float64": "N", "boolean": "L", "string": "C"}


def test_shapefile_fields_are_the_table(pyshp):
    values = [(column.short, LETTER[column.dtype]) for column in columns(tuple(Moisture))]
    result = [(field.name, field.field_type) for field in pyshp.fields]
    assert result[-len(values) :] == values


@pytest.mark.parametrize("zone", [0, 1, 2])
def test_shapefile_values_are_read_by_pyshp(pyshp, zone):
    plan = small_plan()
    values = row(plan, plan.settings[zone], tuple(Moisture))
    record = pyshp.record(zone).as_dict()
    for column in columns(tuple(Moisture)):
        wanted, result = values[column.name], record[column.short]
        if column.dtype == "string":
            assert result == (wanted or ""), column.short
        else:
            assert result == (wanted if wanted is None else pytest.approx(wanted)), column.short


def test_shapefile_is_read_by_gdal_zone_by_zone(read_shapefile, read_geojson):
    assert read_shapefile.crs == "EPSG:4326"
    assert list(read_shapefile["ID"]) == list(read_geojson["id"])
    for short, long in zip(read_shapefile.geometry, read_geojson.geometry, strict=True):
        assert short.hausdorff_distance(long) < 1e-7  # of a degree: a centimetre


def test_shapefile_areas_are_true(read_shapefile):
    total_ha = sum(map(geodesic_ha, read_shapefile.geometry))
    assert total_ha == pytest.approx(FIELD_HA, rel=1e-6)
    assert read_shapefile["AREA_HA"].sum() == pytest.approx(FIELD_HA, rel=1e-6)


def test_bytes_repeat_and_hold_no_clock(unzipped):
    raw = shapefile_zip_bytes(small_plan(), tuple(Moisture))
    assert raw == shapefile_zip_bytes(small_plan(), tuple(Moisture))
    assert geojson_bytes(small_plan()) == geojson_bytes(small_plan())
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert unzipped["zones.dbf"][1:4] == bytes([80, 1, 1])  # the date of the last update


def test_long_text_is_cut_in_the_shapefile_and_whole_in_geojson():
    warning = "Là où l'eau dort, ralentir. " * 20
    plan = with_dry(notices=remarks(warning))
    record = gpd.read_file(io.BytesIO(shapefile_zip_bytes(plan, ["dry"]))).iloc[0]["WARNINGS"]
    assert record.endswith("...")
    assert warning.startswith(record.removesuffix("..."))
    assert len(record.encode()) <= 254
    whole = gpd.read_file(io.BytesIO(geojson_bytes(plan, ["dry"]))).iloc[0]["warnings"]
    assert whole == warning.strip()


@pytest.mark.parametrize(
    ("text", "most_bytes", "whole"),
    [
        # WORKED: three of the bytes go to the dots; é is two bytes.
        ("press lightly", 13, "press lightly"),
        ("press lightly", 12, "press..."),
        ("press lightly now", 16, "press lightly..."),
        ("presslightly", 9, "pressl..."),
        ("éééé", 6, "é..."),
        ("éééé", 7, "éé..."),
    ],
)
def test_cut_keeps_words_and_characters_whole(text, most_bytes, whole):
    assert cut(text, most_bytes) == whole
