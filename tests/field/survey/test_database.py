"""A soil survey in a database: what is read of it, and each way to break it."""

import pandas as pd
import pyogrio
import pytest
from shapely.geometry import box

from tests.field.ground import in_degrees
from tests.field.nrcs import COLUMNS, soil_map, write_database
from zoneplan.errors import LayerError
from zoneplan.field.layer import ReadOptions, read_layer
from zoneplan.field.survey import database
from zoneplan.field.survey.database import read_database_map, read_database_tables
from zoneplan.field.survey.read import read_survey

TWO = {box(0, 0, 400, 400): "1", box(4000, 0, 4400, 400): "99"}
DATABASES = ("soils.gpkg", "soils.gdb")


def add(path, table, rows):
    driver = {".gpkg": "GPKG", ".gdb": "OpenFileGDB"}[path.suffix]
    pyogrio.write_dataframe(pd.DataFrame(rows), path, layer=table, driver=driver)


@pytest.mark.parametrize("name", DATABASES)
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:5070"])
def test_only_what_lies_about_the_field_is_read(tmp_path, name, crs):
    path = write_database(tmp_path / name, polygons=TWO, crs=crs)
    field = in_degrees(box(100, 100, 300, 300)).bounds
    columns, shapes, _ = read_database_map(path, "MUPOLYGON", None, field)
    assert (list(columns["MUKEY"]), len(shapes)) == (["1"], 1)
    assert len(read_database_map(path, "MUPOLYGON", None, None)[1]) == 2
    assert [facts.ground for facts in read_survey(path, bbox=field).ground["facts"]] == ["soil"]
    assert len(read_survey(path).ground) == 2


@pytest.mark.parametrize("name", DATABASES)
def test_only_what_the_map_units_lead_to_is_read(tmp_path, name):
    path = write_database(tmp_path / name)
    counts = {table: len(rows) for table, rows in read_database_tables(path, ["1"]).items()}
    assert counts == {"mapunit": 1, "component": 3, "chorizon": 4, "chfrags": 3}
    assert not any(read_database_tables(path, ["99"]).values())
    assert not any(read_database_tables(path, ["it's"]).values())


def test_a_geopackage_is_opened_once_for_its_map_and_once_for_all_tables(tmp_path, monkeypatch):
    path = write_database(tmp_path / "soils.gpkg", polygons=TWO)
    asked = []

    def apart(kind, again, work, *args, **kwargs):
        asked.append(work.__name__)
        return as_ever(kind, again, work, *args, **kwargs)

    as_ever = database.apart
    monkeypatch.setattr(database, "apart", apart)
    for left in (100, 150):
        read_survey(path, bbox=in_degrees(box(left, 100, left + 200, 300)).bounds)
    known = ["layers_of", "layer_info"]  # what it holds and where it lies, asked for the first
    assert asked == [*known, *["read_vectors", "read_linked"] * 2]


def test_a_survey_that_does_not_reach_the_field(tmp_path):
    path = write_database(tmp_path / "soils.gpkg")
    layer = read_survey(path, bbox=(-80.0, 40.0, -79.9, 40.1))
    assert (len(layer.ground), layer.name) == (0, "soils")
    assert "survey-none-near" in [notice.code for notice in layer.notes]


@pytest.mark.parametrize("name", DATABASES)
def test_keys_that_are_numbers(tmp_path, name):
    path = write_database(tmp_path / name, tables=("component", "chorizon"))
    add(path, "mapunit", [{"MUKEY": 1.0, "MUSYM": "7A", "MUNAME": "Alpha loam"}])
    (facts,) = read_layer(path).ground["facts"]
    assert (facts.named, facts.texture) == ("7A Alpha loam", "loam")
    assert facts.fragments_frac is None  # there is no table of them


@pytest.mark.parametrize("name", DATABASES)
def test_numbers_of_single_precision(tmp_path, name):
    path = write_database(tmp_path / name, tables=("mapunit", "component"))
    numbers = {"hzdept_r": 0, "hzdepb_r": 20.5, "sandtotal_r": 39.9, "silttotal_r": 39.8}
    row = pd.DataFrame([numbers | {"claytotal_r": 20.3, "om_r": None}], dtype="float32")
    add(path, "chorizon", row.assign(chkey="201", cokey="20"))
    (layer_row,) = read_database_tables(path, ["1"])["chorizon"]
    read = [layer_row[name] for name in ("hzdepb_r", "sandtotal_r", "claytotal_r", "om_r")]
    assert read == ["20.5", "39.9", "20.3", ""]


def test_a_database_without_coordinate_system(tmp_path):
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        path = write_database(tmp_path / "soils.gpkg", crs=None)
    with pytest.raises(LayerError, match=r"soils\.gpkg has no coordinate system.*MUPOLYGON"):
        read_layer(path)
    assert read_layer(path, options=ReadOptions(crs="EPSG:4326")).ground.crs.to_epsg() == 4326


BREAKS = {  # what to write: words that the message must contain
    "no map": ({"layer": None}, ["has tables but no map", "the layer MUPOLYGON"]),
    "no tables": (
        {"tables": ()},
        ["has a map", "no tables", "mapunit, component, chorizon are missing", "ZZ001"],
    ),
    "one table missing": (
        {"tables": ("mapunit", "component")},
        ["soils.gpkg has 1 fault", "The table chorizon is missing"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BREAKS)
def test_what_is_missing_is_named(tmp_path, case):
    written, words = BREAKS[case]
    with pytest.raises(LayerError) as fault:
        read_layer(write_database(tmp_path / "soils.gpkg", **written))
    for word in words:
        assert word in str(fault.value)


def test_tables_that_cannot_be_trusted(tmp_path):
    path = write_database(tmp_path / "soils.gpkg", tables=("mapunit", "chfrags"))
    add(path, "component", {name: [] for name in COLUMNS["component"]})
    add(path, "chorizon", {"chkey": ["1"], "cokey": ["20"], "hzdept_r": [0]})
    words = r"2 faults:\n.*component is empty\.\n.*chorizon has no column hzdepb_r, sandtotal_r"
    with pytest.raises(LayerError, match=words):
        read_layer(path)


def test_a_number_that_is_none(tmp_path):
    path = write_database(tmp_path / "soils.gpkg", tables=("mapunit", "chorizon"))
    row = {"mukey": "1", "cokey": "20", "compname": "Alpha", "comppct_r": "most"}
    add(path, "component", [row])
    with pytest.raises(LayerError, match="component, cokey 20: comppct_r is most"):
        read_layer(path)


def test_lines_are_no_map(tmp_path):
    path = write_database(tmp_path / "soils.gpkg", layer=None)
    lines = soil_map({box(0, 0, 400, 400): "1"})
    lines.geometry = lines.boundary
    pyogrio.write_dataframe(lines, path, layer="mupolygon", driver="GPKG")
    with pytest.raises(LayerError, match="holds LineString in its layer mupolygon"):
        read_layer(path)


def test_a_damaged_database(tmp_path):
    path = write_database(tmp_path / "soils.gpkg")
    path.write_bytes(path.read_bytes()[:20_000])
    with pytest.raises(LayerError, match=r"soils\.gpkg cannot be read"):
        read_layer(path)
