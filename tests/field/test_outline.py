"""Boundaries: what is read, what is chosen, what is mended, what is refused."""

import json
import zipfile

import geopandas as gpd
import pytest
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from tests.field.ground import BOW_TIE, LOCAL, SQUARE, in_degrees, write_geojson, write_shapefile
from tests.telling import sentences
from zoneplan.cli.tell import advised
from zoneplan.errors import LayerError
from zoneplan.field.outline import UNNAMED, read_field

TWO = [SQUARE, box(1000, 0, 1100, 200)]  # 16 ha and 2 ha
ROWS = [{"farm": "Nord", "no": 1}, {"farm": "Süd", "no": 2}]


def write_raw(path, coordinates):
    """Write a polygon in the coordinates as they stand."""
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [coordinates]}))
    return path


def test_a_square(tmp_path):
    field = read_field(write_geojson(tmp_path / "home.geojson", [SQUARE]))
    assert (field.name, field.notes) == ("home", ())
    assert field.area_ha == pytest.approx(16, abs=1e-6)
    assert field.shape.area == pytest.approx(160_000, abs=0.01)
    assert field.crs.startswith("+proj=laea +lat_0=41.9999")
    assert field.shape.centroid.distance(Point(0, 0)) < 0.2  # its system is centred on it


@pytest.mark.parametrize("crs", ["EPSG:26915", "EPSG:2257", "EPSG:5070", "EPSG:3857"])
def test_the_area_does_not_depend_on_the_file(tmp_path, crs):
    # UTM, State Plane in US survey feet, equal-area, and the web's own, which is 81 % off.
    frame = gpd.GeoDataFrame({"a": [1]}, geometry=[in_degrees(SQUARE)], crs="EPSG:4326")
    frame.to_crs(crs).to_file(tmp_path / "a.gpkg")
    assert read_field(tmp_path / "a.gpkg").area_ha == pytest.approx(16, abs=1e-5)


@pytest.mark.parametrize("inside", ["North forty.gdb/", "deep/er/North.GDB/", "", "export/"])
def test_a_zipped_file_geodatabase(tmp_path, inside):
    # With its folder, deep down, in capitals; and its files alone, as some services send them.
    home = tmp_path / "a.gdb"
    frame = gpd.GeoDataFrame({"name": ["Home"]}, geometry=[in_degrees(SQUARE)], crs="EPSG:4326")
    frame.to_file(home, driver="OpenFileGDB", layer="fields")
    packed = tmp_path / "fields.gdb.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for path in home.iterdir():
            archive.write(path, inside + path.name)
    field = read_field(packed)
    assert field.name == "Home"
    assert field.area_ha == pytest.approx(16, abs=1e-5)  # its corners are whole tenths of a mm


def test_two_parts_and_a_hole_stay(tmp_path):
    # WORKED: 16 ha less a pond of 1 ha, and 2 ha across the road.
    holed = Polygon(SQUARE.exterior, [box(100, 100, 200, 200).exterior.coords])
    field = read_field(write_geojson(tmp_path / "a.geojson", [MultiPolygon([holed, TWO[1]])]))
    assert field.area_ha == pytest.approx(17, abs=1e-6)
    assert len(field.shape.geoms) == 2
    assert sum(len(part.interiors) for part in field.shape.geoms) == 1


def test_heights_are_dropped(tmp_path):
    corners = [(x, y, 300.0) for x, y in in_degrees(SQUARE).exterior.coords]
    field = read_field(write_raw(tmp_path / "a.geojson", corners))
    assert not field.shape.has_z
    assert field.area_ha == pytest.approx(16, abs=1e-6)


@pytest.mark.parametrize(
    ("row", "given", "name"),
    [
        ({"NAME": "North 40"}, None, "North 40"),
        ({"Field": " Back "}, None, "Back"),
        ({"name": None}, None, "a"),
        ({"name": "North 40"}, "Mine", "Mine"),
        ({"name": "\u200b"}, None, UNNAMED),  # no sheet can be headed by what nobody sees
        ({"name": "\u202ea"}, None, "\u202ea"),
    ],
)
def test_the_name(tmp_path, row, given, name):
    path = write_geojson(tmp_path / "a.geojson", [SQUARE], [row])
    assert read_field(path, name=given).name == name


@pytest.mark.parametrize("pick", ["2", "no=2", "FARM=süd", " farm = Süd "])
def test_one_of_several_is_picked(tmp_path, pick):
    field = read_field(write_geojson(tmp_path / "a.geojson", TWO, ROWS), pick=pick)
    assert field.area_ha == pytest.approx(2, abs=1e-6)
    assert field.name == "a 2"


def test_a_column_is_the_one_that_is_written_so(tmp_path):
    rows = [{"Farm": "Nord", "farm": "a"}, {"Farm": "Süd", "farm": "b"}]
    path = write_geojson(tmp_path / "a.geojson", TWO, rows)
    assert read_field(path, pick="farm=b").area_ha == pytest.approx(2, abs=1e-6)


def test_a_layer_of_several_is_picked(tmp_path):
    for name, shape in zip(("big", "small"), TWO, strict=True):
        write_shapefile(tmp_path / f"{name}.shp", shape)
    assert read_field(tmp_path, pick="layer=small").area_ha == pytest.approx(2, abs=1e-6)
    with pytest.raises(LayerError, match=r"1: 16\.00 ha  layer=big\n"):
        read_field(tmp_path)


@pytest.mark.parametrize(
    ("pick", "words"),
    [
        (
            None,
            ["a.geojson holds 2 areas", "1: 16.00 ha  farm=Nord, no=1", "2: 2.00 ha", "--pick 1"],
        ),
        ("3", ['no area with "3"', "1: 16.00 ha", "2: 2.00 ha"]),
        ("no=9", ['no area with "no=9"', "1: 16.00 ha"]),
        ("owner=x", ['no column "owner"', "farm, no"]),
    ],
)
def test_an_unclear_pick_lists_what_there_is(tmp_path, pick, words):
    path = write_geojson(tmp_path / "a.geojson", TWO, ROWS)
    with pytest.raises(LayerError) as fault:
        read_field(path, pick=pick)
    for word in words:
        assert word in advised(fault.value)


def test_a_long_list_is_cut(tmp_path):
    shapes = [box(0, 500 * i, 400, 500 * i + 400) for i in range(25)]
    path = write_geojson(tmp_path / "a.geojson", shapes, [{"id": i} for i in range(25)])
    with pytest.raises(LayerError, match=r"20: 16\.00 ha  id=19\n  and 5 more"):
        read_field(path)


def test_a_loop_at_one_corner_is_mended_and_said(tmp_path):
    # A ring that touches itself at (100, 0): not valid, but its ground is plain. WORKED:
    # 16 ha less the triangle (100, 0), (200, 100), (100, 100) of 0.5 ha.
    ring = [(0, 0), (100, 0), (100, 100), (200, 100), (100, 0), (400, 0), (400, 400), (0, 400)]
    field = read_field(write_geojson(tmp_path / "a.geojson", [Polygon(ring)]))
    assert field.shape.is_valid
    assert field.area_ha == pytest.approx(15.5, abs=1e-6)
    assert "repaired, its area is the same" in sentences(field.notes)[0]


@pytest.mark.parametrize(
    "shape",
    [
        BOW_TIE,
        MultiPolygon([SQUARE, box(200, 0, 600, 400)]),  # half of it twice
        Polygon([(0, 0), (400, 0), (400, 400), (380, 420), (420, 420), (400, 400.1), (0, 400)]),
    ],
)
def test_an_outline_whose_ground_is_not_plain_is_refused(tmp_path, shape):
    path = write_geojson(tmp_path / "a.geojson", [shape])
    with pytest.raises(
        LayerError, match=r"crosses itself \(.* near latitude 4[12]\.\d+, longitude -93"
    ):
        read_field(path)


@pytest.mark.parametrize(
    ("shapes", "words"),
    [
        ([], "holds no area: it has no features"),
        ([None], "holds no area: 1 empty"),
        ([LineString([(0, 0), (9, 9)]), Point(0, 0)], "holds no area: 1 LineString, 1 Point"),
        ([box(0, 0, 5, 5)], "0.0025 ha, which is no field"),
        ([box(0, 0, 20_000, 20_000)], r"4e\+04 ha, which is no field"),
    ],
)
def test_what_is_no_field_is_refused(tmp_path, shapes, words):
    with pytest.raises(LayerError, match=words):
        read_field(write_geojson(tmp_path / "a.geojson", shapes))


def test_what_else_the_file_holds_is_said(tmp_path):
    path = write_geojson(tmp_path / "a.geojson", [Point(0, 0), SQUARE])
    field = read_field(path)
    assert field.area_ha == pytest.approx(16, abs=1e-6)
    assert sentences(field.notes) == (
        "a.geojson also holds 1 Point; left out, for they are no areas.",
    )


def test_swapped_coordinates_are_told(tmp_path):
    corners = [(y, x) for x, y in in_degrees(SQUARE).exterior.coords]
    with pytest.raises(LayerError, match="Latitude and longitude look swapped"):
        read_field(write_raw(tmp_path / "a.geojson", corners))


def test_metres_that_say_degrees_are_told(tmp_path):
    with pytest.raises(LayerError, match="metres or feet in a file that says degrees"):
        read_field(write_raw(tmp_path / "a.geojson", list(SQUARE.exterior.coords)))


def test_ground_across_the_date_line_is_refused(tmp_path):
    corners = [(-179.99, 0), (179.99, 0), (179.99, 0.01), (-179.99, 0.01), (-179.99, 0)]
    with pytest.raises(LayerError, match="180th meridian"):
        read_field(write_raw(tmp_path / "a.geojson", corners))


def test_the_layer_crs_places_a_bare_shapefile(tmp_path):
    shp = write_shapefile(tmp_path / "a.shp")
    gpd.GeoDataFrame({"a": [1]}, geometry=[SQUARE], crs=LOCAL).to_file(shp)
    shp.with_suffix(".prj").unlink()
    assert read_field(shp, crs=LOCAL).area_ha == pytest.approx(16, abs=1e-6)
