"""What we write is read here by SQLite, and by GDAL (pyogrio), which knows what a GeoPackage is."""

import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from pyproj import Geod

from tests.export.plans import AREAS_HA, FIELD_HA, small_plan
from tests.helpers.full_disk import full_disk
from zoneplan.export.table import SETTING_COLUMNS, columns, row, setting_rows
from zoneplan.export.zone_files import geopackage_bytes, provenance
from zoneplan.terms import Moisture

WGS84 = Geod(ellps="WGS84")
CLOCK = "OGR_CURRENT_DATE"


@pytest.fixture(scope="module")
def raw():
    return geopackage_bytes(small_plan(), tuple(Moisture))


@pytest.fixture(scope="module")
def path(raw, tmp_path_factory):
    path = tmp_path_factory.mktemp("packed") / "zones.gpkg"
    path.write_bytes(raw)
    return path


@pytest.fixture
def database(raw):
    connection = sqlite3.connect(":memory:")
    connection.deserialize(raw)
    yield connection
    connection.close()


def names(cursor):
    return [part[0] for part in cursor.description]


def test_sqlite_finds_a_sound_geopackage(database):
    # PUBLISHED: OGC GeoPackage 1.4, requirement 2: application_id 0x47504B47, "GPKG", and a
    # user_version of 10400; requirements 6 and 7: integrity_check and foreign_key_check.
    asked = ("application_id", "user_version", "integrity_check", "foreign_key_check")
    values = [database.execute(f"PRAGMA {name}").fetchall() for name in asked]
    assert values == [[(1196444487,)], [(10400,)], [("ok",)], []]


def test_its_contents_are_three_tables(database):
    contents = database.execute(
        "SELECT table_name, data_type, srs_id, last_change FROM gpkg_contents"
    ).fetchall()
    fixed = "1980-01-01T00:00:00.000Z"
    assert contents == [
        ("zones", "features", 4326, fixed),
        ("settings", "attributes", 0, fixed),
        ("provenance", "attributes", 0, fixed),
    ]


def test_zones_are_multipolygons_in_wgs84(database):
    # PUBLISHED: OGC GeoPackage 1.4, requirements 21 to 34; -1, 0 and 4326 are always there.
    (geometry,) = database.execute("SELECT * FROM gpkg_geometry_columns").fetchall()
    assert geometry == ("zones", "geom", "MULTIPOLYGON", 4326, 0, 0)
    systems = {number for (number,) in database.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
    assert systems >= {-1, 0, 4326}
    for (blob,) in database.execute("SELECT geom FROM zones"):
        assert blob[:2] == b"GP"
        assert int.from_bytes(blob[4:8], "little") == 4326


def test_zone_columns_are_the_table(database):
    result = names(database.execute("SELECT * FROM zones"))
    assert result == ["fid", "geom", *(column.name for column in columns(tuple(Moisture)))]


def test_settings_have_a_row_for_each_zone_at_each_moisture(database):
    cursor = database.execute("SELECT * FROM settings")
    assert names(cursor) == ["fid", *(column.name for column in SETTING_COLUMNS)]
    wanted = [
        tuple(setting_row.values()) for setting_row in setting_rows(small_plan(), tuple(Moisture))
    ]
    assert [result[1:] for result in cursor] == wanted


def test_a_package_for_one_moisture_has_no_other():
    connection = sqlite3.connect(":memory:")
    connection.deserialize(geopackage_bytes(small_plan(), ["wet"]))
    # WORKED: as written down in plans.py; 350 N + 44 N wet, zone 2 waits, zone 3 has no soil.
    wanted = [("wet", 394.0), ("wet", None), ("wet", None)]
    for table in ("zones", "settings"):
        result = connection.execute(f"SELECT moisture, margin_n FROM {table}").fetchall()
        assert result == wanted
    connection.close()


def test_what_is_unknown_is_null(database):
    result = database.execute("SELECT texture, dry_margin_n, dry_reached FROM zones WHERE id = 3")
    assert result.fetchall() == [(None, None, None)]


def test_provenance_tells_what_the_plan_was_made_from(database):
    result = database.execute("SELECT name, value FROM provenance").fetchall()
    assert result == provenance(small_plan(), tuple(Moisture))
    # WORKED: as written down in plans.py.
    assert dict(result)["field"] == "Crêt-du-Noyer, côté nord"
    assert dict(result)["rules_revised"] == "2026-11-20"
    assert dict(result)["tillage"] == "no-till"
    assert dict(result)["moistures"] == "dry, moist, wet"
    assert result[-1] == ("note", "2.00 ha have no soil data.")


def test_zones_are_read_by_gdal_with_true_areas(path):
    assert [name for name, _ in pyogrio.list_layers(path)] == ["zones", "settings", "provenance"]
    zones = gpd.read_file(path, layer="zones")
    assert zones.crs == "EPSG:4326"
    areas_m2 = [WGS84.geometry_area_perimeter(each)[0] for each in zones.geometry]
    for zone, area_m2 in zip(zones["id"], areas_m2, strict=True):
        assert area_m2 / 1e4 == pytest.approx(AREAS_HA[zone], rel=1e-6)  # turned as they should
    assert sum(areas_m2) / 1e4 == pytest.approx(FIELD_HA, rel=1e-6)
    assert shapely.coverage_is_valid(zones.geometry.to_numpy())


def test_values_are_read_by_gdal(path):
    zones = gpd.read_file(path, layer="zones")
    first = row(small_plan(), small_plan().settings[0], tuple(Moisture))
    for name, wanted in first.items():
        result = zones.iloc[0][name]
        assert pd.isna(result) if wanted is None else result == wanted, name


def test_bytes_repeat_though_the_clock_goes_on(raw):
    time.sleep(0.01)  # last_change has milliseconds
    assert geopackage_bytes(small_plan(), tuple(Moisture)) == raw


@pytest.mark.parametrize("before", [None, "2026-01-01T00:00:00.000Z"])
def test_gdals_clock_is_as_it_was(before):
    pyogrio.set_gdal_config_options({CLOCK: before})
    try:
        geopackage_bytes(small_plan())
        assert pyogrio.get_gdal_config_option(CLOCK) == before
    finally:
        pyogrio.set_gdal_config_options({CLOCK: None})


def test_two_at_a_time_do_not_meet(raw):
    with ThreadPoolExecutor(2) as pool:
        made = pool.map(lambda _: geopackage_bytes(small_plan(), tuple(Moisture)), range(4))
    assert set(made) == {raw}
    assert pyogrio.get_gdal_config_option(CLOCK) is None


def test_a_full_disk_is_told_as_the_system_tells_it():
    with full_disk(20_000), pytest.raises(OSError, match="too large"):
        geopackage_bytes(small_plan(), tuple(Moisture))
