"""Points: where they lie, what was measured, and what cleaning takes out."""

import geopandas as gpd
import numpy as np
import pytest
from pyproj import Transformer
from shapely.geometry import LineString, Point

from tests.field.ground import LOCAL, SQUARE, field_of, in_degrees, write_geojson
from tests.telling import codes, sentences
from zoneplan.cli.tell import advised
from zoneplan.errors import LayerError
from zoneplan.field.points import read as reading
from zoneplan.field.points.read import outliers, read_points, unlike_all

FIELD = field_of(SQUARE)
HERE = ((50.0, 60.0), (200.0, 210.0), (350.0, 90.0))  # LOCAL metres
UTM = "EPSG:32615"
A_CENTIMETRE = 0.01


@pytest.fixture
def table(tmp_path):
    """Write rows of cells as a CSV, and read it."""

    def read(headings, *rows, mark=",", name="log.csv", **options):
        lines = [mark.join(map(str, row)) for row in (headings, *rows)]
        path = tmp_path / name
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return read_points(path, FIELD, **options)

    return read


@pytest.fixture
def refused(table):
    """Read a CSV that must not be taken, and give the words."""

    def read(*rows, **options):
        with pytest.raises(LayerError) as result:
            table(*rows, **options)
        return advised(result.value)

    return read


def degrees(x_m, y_m):
    place = in_degrees(Point(x_m, y_m))
    return place.x, place.y


def places_of(points):
    return np.column_stack((points.x_m, points.y_m))


# Where


@pytest.mark.parametrize(
    "headings",
    ["lon,lat,ec", "Longitude,LATITUDE,EC", "ec,long,lat", "x,lng,lat,EC_deep_mS", "Lat,Lon,ECa"],
)
def test_longitude_and_latitude_need_no_system(table, headings):
    names = headings.split(",")
    rows = []
    for place in HERE:
        longitude, latitude = degrees(*place)
        rows.append(
            [
                latitude if "lat" in name.lower() else longitude if name.lower()[0] == "l" else 7
                for name in names
            ]
        )
    points = table(names, *rows)
    assert places_of(points) == pytest.approx(np.array(HERE), abs=A_CENTIMETRE)
    assert list(points.values) == ["conductivity"]
    assert points.crs == LOCAL
    assert "Places are read in EPSG:4326." in sentences(points.notes)


@pytest.mark.parametrize("names", [("x_utm15", "y_utm15"), ("X-coordinate", "Y-coordinate")])
def test_projected_coordinates_by_suffixed_names(table, names):
    # Independent: pyproj by itself.
    utm = [Transformer.from_crs(LOCAL, UTM, always_xy=True).transform(*place) for place in HERE]
    points = table([*names, "ec_0_25cm_mS_m"], *([*place, 9] for place in utm), crs=UTM)
    assert places_of(points) == pytest.approx(np.array(HERE), abs=A_CENTIMETRE)


def test_projected_coordinates_without_a_system(refused):
    message = refused(["x_utm15", "y_utm15", "ec"], [456000, 4649000, 9])
    assert "log.csv has no coordinate system" in message
    assert "nothing says that x_utm15 and y_utm15 are degrees" in message
    assert "EPSG:32615 if they are metres in the UTM zone here." in message
    assert message.endswith("Say it with --layer-crs EPSG:32615")


def test_degrees_stay_degrees_when_another_file_is_in_metres(table):
    points = table(["lon", "lat", "ec"], *([*degrees(*place), 9] for place in HERE), crs=UTM)
    assert places_of(points) == pytest.approx(np.array(HERE), abs=A_CENTIMETRE)


def test_columns_named_by_the_user(table):
    rows = [[x, y, 7, 9] for x, y in HERE]
    points = table(
        ["oost", "noord", "ec", "meting"],
        *rows,
        columns={"conductivity": "Meting", "x": "oost", "y": "noord"},
        crs=LOCAL,
    )
    assert list(points.values["conductivity"]) == [9, 9, 9]
    assert "Conductivity is read from meting." in sentences(points.notes)


def test_of_two_columns_that_differ_in_capitals_the_one_named_is_taken(table, refused):
    rows = [["x", "y", "ec", "EC"], *([x, y, 7, 9] for x, y in HERE)]
    points = table(*rows, columns={"conductivity": "EC"}, crs=LOCAL)
    assert list(points.values["conductivity"]) == [9, 9, 9]
    assert "2 columns that could be conductivity: ec, EC" in refused(*rows, crs=LOCAL)


@pytest.mark.parametrize(("mark", "name"), [(";", "log.csv"), ("\t", "log.txt"), ("|", "log.CSV")])
def test_other_marks_between_cells(table, mark, name):
    points = table(
        ["x", "y", "eca"], *([*place, 9.5] for place in HERE), mark=mark, name=name, crs=LOCAL
    )
    assert list(points.values["conductivity"]) == [9.5, 9.5, 9.5]


def test_decimal_commas_are_said(table):
    points = table(["x", "y", "eca"], ["50,5", "60", "9,25"], mark=";", crs=LOCAL)
    assert places_of(points) == pytest.approx(np.array([[50.5, 60]]))
    assert list(points.values["conductivity"]) == [9.25]
    assert codes(points.notes)[0] == "decimal-commas"


def test_swapped_degrees_are_told_and_not_swapped_back(refused):
    rows = [[*degrees(*place)[::-1], 9] for place in HERE]
    message = refused(["lon", "lat", "ec"], *rows)
    assert "with the two coordinates swapped 3 of its 3 points fall in it" in message
    assert "we won't swap them back unasked" in message


def test_swapped_metres_are_told(refused):
    utm = [Transformer.from_crs(LOCAL, UTM, always_xy=True).transform(*place) for place in HERE]
    message = refused(["x", "y", "ec"], *([north, east, 9] for east, north in utm), crs=UTM)
    assert "swapped 3 of its 3 points" in message


def test_points_of_another_field(refused):
    message = refused(["lon", "lat", "ec"], [-90.1, 41.5, 9], [-90.2, 41.6, 8])
    assert "none of its 2 points is in it or within 20 m" in message
    assert "Square: longitude -93.50" in message
    assert "log.csv: -90.2 to -90.1 east, 41.5 to 41.6 north, read as WGS 84" in message


def test_points_from_a_vector_file(tmp_path):
    path = write_geojson(
        tmp_path / "log.geojson", [Point(p) for p in HERE], [{"EC": n} for n in (5, 6, 7)]
    )
    points = read_points(path, FIELD)
    assert places_of(points) == pytest.approx(np.array(HERE), abs=A_CENTIMETRE)
    assert list(points.values["conductivity"]) == [5, 6, 7]


def test_points_from_a_shapefile_in_another_system(tmp_path):
    frame = gpd.GeoDataFrame(
        {"conductivi": [5.0, 6.0, None]}, geometry=[Point(p) for p in HERE], crs=LOCAL
    )
    frame.to_crs(UTM).to_file(tmp_path / "log.shp")
    points = read_points(tmp_path / "log.shp", FIELD)
    assert places_of(points) == pytest.approx(np.array(HERE[:2]), abs=A_CENTIMETRE)
    assert "1 of 3 points left out: without a place or a value." in sentences(points.notes)


@pytest.mark.parametrize("shape", [SQUARE, LineString(HERE)])
def test_other_shapes_are_no_points(tmp_path, shape):
    path = write_geojson(tmp_path / "log.geojson", [shape], [{"EC": 5}])
    with pytest.raises(LayerError, match="Only points say where a measurement was made"):
        read_points(path, FIELD)


def test_several_layers(tmp_path):
    for layer in ("a", "b"):
        frame = gpd.GeoDataFrame({"ec": [5]}, geometry=[Point(HERE[0])], crs=LOCAL)
        frame.to_file(tmp_path / "log.gpkg", layer=layer)
    with pytest.raises(LayerError, match="holds 2 layers: a, b"):
        read_points(tmp_path / "log.gpkg", FIELD)


# What


SAMPLE = ["x", "y", "sand", "silt", "clay"]


@pytest.mark.parametrize(
    ("amounts", "unit"),
    [((40, 40, 20), "percent"), ((0.4, 0.4, 0.2), "fractions of 1"), ((400, 400, 200), "g/kg")],
)
def test_units_are_told_by_what_the_parts_make(table, amounts, unit):
    points = table(SAMPLE, [50, 60, *amounts], crs=LOCAL)
    assert [points.values[f"{part}_frac"][0] for part in SAMPLE[2:]] == pytest.approx(
        [0.4, 0.4, 0.2]
    )
    assert f"Sand, silt and clay are read as {unit}." in sentences(points.notes)


def test_sand_in_two_parts_is_added_and_said(table):
    # One of the sands would be a column of sand by itself; only the sum makes 100.
    points = table(
        ["x", "y", "clay", "silt", "sand_f", "sand_c", "humus"],
        [50, 60, 15, 16, 45, 24, 3.5],
        crs=LOCAL,
    )
    assert points.values["sand_frac"][0] == pytest.approx(0.69)
    assert points.values["organic_pct"][0] == 3.5
    (text,) = (sentence for sentence in sentences(points.notes) if "sand_f + sand_c" in sentence)
    assert "make 100 with the others" in text
    assert "too sandy" in text


def test_two_depths_of_sand_are_not_added(refused):
    message = refused(
        ["x", "y", "clay", "silt", "sand_20", "sand_40"], [50, 60, 20, 40, 40, 42], crs=LOCAL
    )
    assert "2 columns that could be sand: sand_20, sand_40" in message
    assert "--sand-column sand_20" in message


def test_two_conductivities_are_unclear(refused):
    message = refused(["x", "y", "EC_shallow", "EC_deep"], [50, 60, 9, 12], crs=LOCAL)
    assert "2 columns that could be conductivity: EC_shallow, EC_deep" in message


def test_a_clay_alone_says_no_texture(table, refused):
    points = table(["x", "y", "ec", "clay"], [50, 60, 9, 20], crs=LOCAL)
    assert list(points.values) == ["conductivity"]
    left_out = "Clay left out: only sand, silt and clay together say a texture."
    assert left_out in sentences(points.notes)
    assert "not all of sand, silt and clay" in refused(["x", "y", "clay"], [50, 60, 20], crs=LOCAL)


def test_a_missing_part_leaves_the_row_out(table):
    points = table(SAMPLE, [50, 60, 40, "", 20], [200, 210, 40, 40, 20], crs=LOCAL)
    assert list(points.values["clay_frac"]) == [0.2]
    assert "1 of 2 points left out: without a place or a value." in sentences(points.notes)


def test_a_small_misfit_is_scaled_and_said(table):
    points = table(SAMPLE, [50, 60, 41, 41, 20], [200, 210, 40, 40, 20], crs=LOCAL)
    assert points.values["clay_frac"] == pytest.approx([20 / 102, 0.2])
    assert (
        "Sand, silt and clay of 1 of 2 rows miss the whole by up to 2 %; scaled to it."
        in sentences(points.notes)
    )


def test_a_yield_map_is_no_soil(refused):
    message = refused(["Longitude", "Latitude", "Flow", "Moisture"], [*degrees(50, 60), 16.5, 18.5])
    assert "log.csv has no column of conductivity, and not all of sand, silt and clay" in message
    assert "Its columns are: Longitude, Latitude, Flow, Moisture" in message


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (([50, 60, 650, 20, 15],), "row 2: sand 650, silt 20 and clay 15 add up to 685."),
        (([50, 60, 650, 40, 20], [1, 1, 40, 40, 20], [2, 2, 40, 40, 20]), "row 2: sand 650"),
        (([50, 60, -9999, 40, 20],), "row 2: sand is -9999."),
        (([50, 60, 40, 40, 20], [1, 2, "40 %", 40, 20]), 'row 3: sand is "40 %".'),
        (([50, 60, 40, 40, "inf"],), 'row 2: clay is "inf".'),
        (([50, "north", 40, 40, 20],), 'row 2: y is "north".'),
    ],
)
def test_amounts_that_cannot_be(refused, rows, words):
    assert words in refused(SAMPLE, *rows, crs=LOCAL)


def test_organic_matter_beyond_all_of_the_soil(refused):
    assert "row 2: om is 101." in refused([*SAMPLE, "om"], [50, 60, 40, 40, 20, 101], crs=LOCAL)


def test_much_text_is_told_by_its_first_rows(refused):
    message = refused(["x", "y", "ec"], *([50, 60, "low"] for _ in range(25)), crs=LOCAL)
    assert message.startswith('log.csv has 25 faults:\n  row 2: ec is "low".\n')
    assert 'row 21: ec is "low".\n  and 5 more\nIn ec we want numbers.' in message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,2,3\n4,5,6\n", "no headings, or nothing below them: it starts with '1,2,3'"),
        ("x,y,ec\n", "no headings, or nothing below them"),
        ("", "no headings, or nothing below them"),
        ("x,y,ec\n1,2,3\n1,2\n", "row 3 has 2 cells, and there are 3 headings."),
        ("x,y,ec,ec\n1,2,3,4\n", '"ec" heads 2 columns.'),
        ("where,ec\n1,2\n", "no columns that say where its points lie"),
        ("x,x_utm,y,ec\n1,2,3,4\n", "2 columns that could be x: x, x_utm"),
        ("x,y,ec\n,,\n1,,3\n", "log.csv has no point with a value"),
        ("%PDF-1.7\n", "its content is something else"),
        ("x,y\x00", "its content is something else"),
    ],
)
def test_tables_that_are_none(tmp_path, text, words):
    (tmp_path / "log.csv").write_text(text)
    with pytest.raises(LayerError) as result:
        read_points(tmp_path / "log.csv", FIELD, crs=LOCAL)
    assert words in str(result.value)


def test_no_such_file(tmp_path):
    with pytest.raises(LayerError, match="There is no file"):
        read_points(tmp_path / "log.csv", FIELD)


def test_letters_of_an_old_code_page(tmp_path):
    (tmp_path / "log.csv").write_bytes("x;y;ec;opmærkning\n50;60;9;våd\n".encode("latin-1"))
    assert len(read_points(tmp_path / "log.csv", FIELD, crs=LOCAL).x_m) == 1


# Cleaning


def test_each_planted_fault_is_taken_out_and_counted(table):
    # WORKED: 400 points every 20 m, conductivity rising by 0.01 a metre to the east. Planted
    # on them: 60 in place of some 12; 2 more readings in one place, 3 above and 3 below its
    # own; 1 below nought; 1 without a value and 1 without a place; 2 at 30 m outside the
    # field and 1 at 10 m.
    rows = [[x, y, 10 + x / 100] for x in range(10, 400, 20) for y in range(10, 400, 20)]
    rows[210][2] = 60
    planted = [
        [30, 30, 13.3],
        [30, 30, 7.3],
        [115, 115, -1],
        [95, 95, ""],
        ["", 75, 10],
        [-30, 200, 10],
        [430, 200, 14],
        [-10, 200, 9.9],
    ]
    points = table(["x", "y", "ec"], *rows, *planted, crs=LOCAL)
    assert sentences(points.notes)[2:] == (
        "2 of 408 points left out: without a place or a value.",
        "2 of 406 points left out: more than 20 m outside the field.",
        "1 of 404 points left out: with a conductivity below zero.",
        "2 of 403 points lie where another does: the mean of each place is taken.",
        "1 of 401 points left out: outliers, over 3.5 scaled MAD from the median of the 16 "
        "points about them (Iglewicz & Hoaglin 1993).",
    )
    places = zip(points.x_m.round(), points.y_m.round(), strict=True)
    by_name = dict(zip(places, points.values["conductivity"], strict=True))
    assert len(by_name) == 400
    assert by_name[30, 30] == pytest.approx(10.3)  # (10.3 + 13.3 + 7.3) / 3
    assert by_name[-10, 200] == 9.9
    assert tuple(rows[210][:2]) not in by_name
    assert max(by_name.values()) == pytest.approx(13.9)


@pytest.mark.parametrize(
    ("last", "odd"), [(31.8, False), (31.9, True), (-14.8, False), (-14.9, True)]
)
def test_an_outlier_is_told_by_its_modified_z(last, odd):
    # WORKED. The other 16 values are 1 to 16: their median is 8.5 and their MAD 4. What the
    # 17 points differ by from the median about them is, in order, 0, 1.5, 1.5, 2.5, 2.5,
    # 3.5, 3.5, 4.5, 4.5 ...: 4.5 in the middle, which is more. So the last is out beyond
    # 8.5 +- 3.5 * 4.5 / 0.6745, which is 31.85 and -14.85.
    values = np.array([*range(1, 17), last], dtype=float)
    result = outliers(np.arange(17.0), np.zeros(17), values)
    assert list(np.flatnonzero(result)) == ([16] if odd else [])


@pytest.mark.parametrize("tells", [outliers, unlike_all])
def test_few_points_have_no_outliers(tells):
    assert not tells(np.arange(16.0), np.zeros(16), np.array([1.0] * 15 + [99])).any()


@pytest.mark.parametrize(("last", "unlike"), [(39.3, False), (39.4, True)])
def test_a_gross_error_is_like_none_of_its_neighbours(last, unlike):
    # WORKED. As above, 3.5 * 4.5 / 0.6745 is 23.35; the nearest of the others is 16.
    values = np.array([*range(1, 17), last], dtype=float)
    result = unlike_all(np.arange(17.0), np.zeros(17), values)
    assert list(np.flatnonzero(result)) == ([16] if unlike else [])


def test_the_edge_of_a_soil_is_no_gross_error():
    # Two of sand among clay: outliers among the 16 about them, and yet like each other.
    values = np.full(40, 30.0) + 0.01 * np.arange(40)
    values[[20, 21]] = 5.0
    assert list(np.flatnonzero(outliers(np.arange(40.0), np.zeros(40), values))) == [20, 21]
    assert not unlike_all(np.arange(40.0), np.zeros(40), values).any()


def test_laboratory_samples_are_flagged_and_kept(table):
    # One of 100 is far off, and one has a conductivity that cannot be: a log would lose both.
    grid = [(x, y) for x in range(5, 400, 40) for y in range(5, 400, 40)]
    rows = [[x, y, 40, 40, 20 + 0.001 * (x % 7), 10] for x, y in grid]
    rows[33][2:5] = [5, 10, 85]
    rows[44][5] = -3
    points = table(["x", "y", "sand", "silt", "clay", "ec"], *rows, crs=LOCAL)
    assert len(points.x_m) == 100
    assert points.values["clay_frac"].max() == pytest.approx(0.85)
    [result] = [note for note in points.notes if note.code == "samples-unlike"]
    assert (result["flagged"], result["samples"]) == (1, 100)
    [place] = result["places"]
    north, east = map(float, place.split(", "))
    assert (east, north) == pytest.approx(degrees(*grid[33]), abs=1e-5)


def test_one_odd_value_among_equals():
    # More than half differ by nothing: their mean difference stands in for the median.
    values = np.full(40, 5.0)
    values[7] = 6.0
    assert list(np.flatnonzero(outliers(np.arange(40.0), np.zeros(40), values))) == [7]


def test_a_log_denser_than_anybody_drives_is_thinned_and_it_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "MOST_MEASURED", 50)
    rows = [f"{x},{y},{10 + x / 100}" for x in range(20, 380, 20) for y in range(20, 380, 20)]
    path = tmp_path / "log.csv"
    path.write_text("x,y,ECa\n" + "\n".join(rows) + "\n")
    points = read_points(path, field_of(SQUARE), crs=LOCAL)
    (thinned,) = [note for note in points.notes if note.code == "points-thinned"]
    assert thinned["points"] == len(rows)
    assert thinned["blocks"] == len(points.x_m) <= 50
    assert points.values["conductivity"].mean() == pytest.approx(12.0, abs=0.1)
