"""One survey in every shape that people get it: the same facts each time."""

import json
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import box

from tests.field.ground import LOCAL
from tests.field.nrcs import (
    COLUMNS,
    STEMS,
    answer,
    soil_map,
    write_answer,
    write_database,
    write_survey,
)
from tests.telling import sentences
from zoneplan.errors import LayerError
from zoneplan.field.layer import read_layer
from zoneplan.field.survey.parts import is_survey
from zoneplan.soil.texture import SoilFacts

MILLIMETRE = 1e-3
SQUARE = {box(0, 0, 400, 400): "1"}


def packed(folder: Path, name: str) -> Path:
    """Pack a folder, and take it away."""
    path = Path(shutil.make_archive(str(folder.parent / name), "zip", folder))
    shutil.rmtree(folder)
    return path


def in_a_zip(home: Path) -> Path:
    return packed(write_survey(home / "survey"), "wss_SSA_ZZ001_soildb_2025")


def in_a_zip_in_a_folder(home: Path) -> Path:
    in_a_zip(home)
    (home / "readme.txt").write_text("Soils of Nowhere County")
    return home


def in_a_zip_in_a_zip(home: Path) -> Path:
    (home / "in").mkdir()
    in_a_zip(home / "in")
    return packed(home / "in", "all")


def deep_down(home: Path) -> Path:
    write_survey(home / "Downloads" / "wss_SSA_ZZ001" / "ZZ001")
    return home / "Downloads"


def in_capitals(home: Path) -> Path:
    survey = write_survey(home / "survey")
    for path in sorted(survey.rglob("*"), reverse=True):
        path.rename(path.with_name(path.name.upper()))
    return survey


def with_headings(home: Path) -> Path:
    survey = write_survey(home / "survey")
    for table, names in COLUMNS.items():
        path = survey / "tabular" / f"{STEMS.get(table, table)}.txt"
        path.write_bytes("|".join(names).encode() + b"\r\n" + path.read_bytes())
    return survey


def geopackage(home: Path) -> Path:
    return write_database(home / "soils.gpkg", layer="mupolygon")


def geopackage_of_an_area(home: Path) -> Path:
    return write_database(home / "soils.gpkg", layer="soilmu_a_zz001")


def geodatabase(home: Path) -> Path:
    return write_database(home / "gSSURGO_ZZ.gdb", crs="EPSG:5070")


def geodatabase_in_a_zip(home: Path) -> Path:
    (home / "in" / "gSSURGO_ZZ").mkdir(parents=True)
    write_database(home / "in" / "gSSURGO_ZZ" / "gSSURGO_ZZ.gdb")
    return packed(home / "in", "gSSURGO_ZZ")


def answer_with_polygons(home: Path) -> Path:
    shape = soil_map(SQUARE).geometry[0].wkt
    return write_answer(home / "answer.json", answer(mupolygongeo=shape))


def answer_with_metadata(home: Path) -> Path:
    names, *rows = answer(WKT=soil_map(SQUARE).geometry[0].wkt)
    metadata = [f"ColumnOrdinal={n},ColumnSize=20,DataTypeName=varchar" for n in range(len(names))]
    return write_answer(home / "answer.json", [names, metadata, *rows])


def answer_beside_a_map(home: Path) -> Path:
    write_answer(home / "answer.json")
    soil_map(SQUARE).to_file(home / "soilmu_a_zz001.shp")
    return home


def tables_beside_a_map_in_a_database(home: Path) -> Path:
    shutil.rmtree(write_survey(home / "survey") / "spatial")
    write_database(home / "survey" / "map.gpkg", tables=())
    return home / "survey"


SHAPES = (
    in_a_zip, in_a_zip_in_a_folder, in_a_zip_in_a_zip, deep_down, in_capitals, with_headings,
    geopackage, geopackage_of_an_area, geodatabase, geodatabase_in_a_zip, answer_with_polygons,
    answer_with_metadata, answer_beside_a_map, tables_beside_a_map_in_a_database,
)  # fmt: skip


@pytest.fixture(scope="module")
def facts(tmp_path_factory) -> SoilFacts:
    """What the download says, which test_survey checks by hand."""
    return read_layer(write_survey(tmp_path_factory.mktemp("in") / "survey")).ground["facts"][0]


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_says_the_same(tmp_path, shape, facts):
    path = shape(tmp_path)
    assert is_survey(path)
    layer = read_layer(path)
    assert (layer.name, layer.kind) == ("ZZ001", "soil survey")
    assert list(layer.ground["facts"]) == [facts]
    (square,) = SQUARE
    assert layer.ground.to_crs(LOCAL).geometry.hausdorff_distance(square)[0] < MILLIMETRE


def test_polygons_without_keys_are_no_map(tmp_path):
    survey = write_survey(tmp_path / "survey")
    gpd.GeoDataFrame(geometry=soil_map(SQUARE).geometry).to_file(
        survey / "spatial" / "soilmu_a_zz001.shp"
    )
    with pytest.raises(LayerError, match=r"soilmu_a_zz001\.shp has no column MUKEY"):
        read_layer(survey)


def test_a_cut_of_the_map_beside_the_whole(tmp_path, facts):
    survey = write_survey(tmp_path / "survey")
    cut = survey / "spatial" / "soilmu_a_aoi.shp"
    soil_map({box(0, 0, 200, 200): "1"}).to_file(cut)
    layer = read_layer(survey)
    assert list(layer.ground["facts"]) == [facts]
    assert "soilmu_a_aoi.shp is left out: soilmu_a_zz001.shp has all of ZZ001." in sentences(
        layer.notes
    )
    # Of another area it is no cut of this one.
    soil_map({box(400, 0, 800, 400): "1"}).assign(AREASYMBOL="ZZ002").to_file(cut)
    layer = read_layer(survey)
    assert (layer.name, list(layer.ground["facts"])) == ("ZZ001, ZZ002", [facts, facts])


def test_two_maps_of_one_area(tmp_path):
    survey = write_survey(tmp_path / "survey")
    soil_map(SQUARE).to_file(survey / "spatial" / "soilmu_a_zz001_old.shp")
    with pytest.raises(LayerError, match=r"soilmu_a_zz001_old\.shp and .* the same ground"):
        read_layer(survey)


def test_two_zips_in_one_folder(tmp_path):
    write_survey(tmp_path / "in" / "survey")
    for name in ("one", "two"):
        shutil.make_archive(str(tmp_path / "zips" / name), "zip", tmp_path / "in")
    assert is_survey(tmp_path / "zips")
    with pytest.raises(
        LayerError, match=r"more than one soil survey: zips/one\.zip, zips/two\.zip"
    ):
        read_layer(tmp_path / "zips")


def test_a_download_beside_a_database(tmp_path):
    write_survey(tmp_path / "survey")
    write_database(tmp_path / "survey" / "soils.gpkg")
    with pytest.raises(LayerError, match="more than one soil survey"):
        read_layer(tmp_path / "survey")


def test_what_is_no_survey(tmp_path):
    soil_map(SQUARE).to_file(tmp_path / "soils.gpkg", layer="mapunit")
    (tmp_path / "soils.json").write_text(json.dumps({"type": "FeatureCollection", "features": []}))
    (tmp_path / "damaged.zip").write_bytes(b"PK\x03\x04")
    (tmp_path / "damaged.gdb").mkdir()
    for path in [*tmp_path.iterdir(), tmp_path / "nowhere", tmp_path]:
        assert not is_survey(path)
