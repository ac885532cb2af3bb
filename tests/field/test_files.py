"""Vector files as people send them, and each way in which they cannot be trusted."""

import errno
import math
import os
import shutil
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from tests.field.ground import SQUARE, in_degrees, write_geojson, write_shapefile
from zoneplan.cli.tell import advised
from zoneplan.errors import LayerError
from zoneplan.field import unpack
from zoneplan.field.files import read_areas, read_shapes


def pack(path: Path, files: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def parts(shp: Path, folder: str = "", *, upper: bool = False) -> dict[str, bytes]:
    """The files of a shapefile, as they might lie in a zip."""
    return {
        folder + (path.name.upper() if upper else path.name): path.read_bytes()
        for path in shp.parent.glob(f"{shp.stem}.*")
    }


def write_all_kinds(folder: Path) -> list[Path]:
    frame = gpd.GeoDataFrame({"Name": ["Home"]}, geometry=[in_degrees(SQUARE)], crs="EPSG:4326")
    frame.to_file(folder / "a.gpkg")
    frame.to_file(folder / "a.kml", driver="KML")
    write_geojson(folder / "a.geojson", [SQUARE])
    shutil.copy(folder / "a.geojson", folder / "a.json")
    (folder / "alone").mkdir()
    shp = write_shapefile(folder / "alone" / "a.shp")
    pack(folder / "a.zip", parts(shp, "deep/er/"))
    pack(folder / "loud.zip", parts(shp, upper=True))
    pack(folder / "a.kmz", {"doc.kml": (folder / "a.kml").read_bytes()})
    names = ["a.gpkg", "a.kml", "a.geojson", "a.json", "a.zip", "loud.zip", "a.kmz", "alone"]
    return [shp, *(folder / name for name in names)]


def test_every_kind_reads_alike(tmp_path):
    for path in write_all_kinds(tmp_path):
        (shape,) = read_areas(path).geometry
        assert shape.symmetric_difference(in_degrees(SQUARE)).area < 1e-12, path.name


def test_several_layers_of_a_zip(tmp_path):
    one, two = write_shapefile(tmp_path / "one.shp"), write_shapefile(tmp_path / "two.shp")
    path = pack(tmp_path / "both.zip", parts(one) | parts(two) | {"__MACOSX/._one.shp": b"?"})
    assert list(read_shapes(path)) == ["one", "two"]
    with pytest.raises(LayerError, match=r"both\.zip holds 2 layers: one, two"):
        read_areas(path)


def test_several_layers_of_one_file(tmp_path):
    frame = gpd.GeoDataFrame(geometry=[in_degrees(SQUARE)], crs="EPSG:4326")
    for layer in ("north", "south"):
        frame.to_file(tmp_path / "a.gpkg", layer=layer)
    assert list(read_shapes(tmp_path / "a.gpkg")) == ["north", "south"]


WRONG = {  # name: (content, words that the message must contain)
    "a.shp": (b"<!DOCTYPE html><html>", "named as a shapefile file, but its content is a web page"),
    "b.zip": (b"%PDF-1.7", "content is PDF"),
    "c.gpkg": (b'{"type": "FeatureCollection"}', "content is GeoJSON"),
    "d.geojson": (b"PK\x03\x04", "content is zip"),
    "e.kml": (b"", "content is empty"),
    "f.geojson": (b"x,y\n1,2\n", "content is something else"),
    "g.csv": (b"x,y\n1,2\n", "an ending we do not read"),
    "h.geojson": (b'{"a": 1}', "cannot be read as GeoJSON"),
    "i.geojson": (b'{"type": "FeatureCollection", "features": [{"ty', "cannot be read as GeoJSON"),
    "j.zip": (b"PK\x03\x04 and then nothing", "cannot be unpacked"),
    "k.gpkg": (b"SQLite format 3\x00" + b"\x00" * 100, "cannot be read as GeoPackage"),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_a_file_that_is_not_what_it_says(tmp_path, name):
    content, words = WRONG[name]
    (tmp_path / name).write_bytes(content)
    with pytest.raises(LayerError, match=words) as fault:
        read_shapes(tmp_path / name)
    assert name in str(fault.value)


def test_no_file_and_no_layer(tmp_path):
    with pytest.raises(LayerError, match="There is no file"):
        read_shapes(tmp_path / "a.shp")
    with pytest.raises(LayerError, match="holds no map layer"):
        read_shapes(pack(tmp_path / "a.zip", {"readme.txt": b"hello"}))


def test_a_zip_that_writes_outside_itself(tmp_path):
    path = pack(tmp_path / "a.zip", {"../evil.shp": b"x"})
    with pytest.raises(LayerError, match=r"names a file outside itself: \.\./evil\.shp"):
        read_shapes(path)
    assert not (tmp_path / "evil.shp").exists()


def test_a_zip_that_is_damaged_inside(tmp_path):
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("a.shp", b"no shape at all, but long enough to be packed" * 9)
    content = bytearray(path.read_bytes())
    content[35:50] = b"\xff" * 15  # what follows the name: the packed bytes begin with it
    path.write_bytes(content)
    with pytest.raises(LayerError, match=r"a\.zip cannot be unpacked"):
        read_shapes(path)


@pytest.mark.parametrize(("limit", "value"), [("MOST_FILES", 2), ("MOST_BYTES", 500)])
def test_a_zip_that_is_too_big(tmp_path, monkeypatch, limit, value):
    path = pack(tmp_path / "a.zip", parts(write_shapefile(tmp_path / "a.shp")))
    monkeypatch.setattr(unpack, limit, value)
    with pytest.raises(LayerError, match=r"a\.zip holds \d files of .* GB together"):
        read_shapes(path)


@pytest.mark.parametrize("what", ["field.unpack.mkdtemp", "field.unpack.copyfileobj"])
def test_a_full_disk_is_told(tmp_path, monkeypatch, what):
    path = pack(tmp_path / "a.zip", parts(write_shapefile(tmp_path / "a.shp")))

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(f"zoneplan.{what}", full)
    with pytest.raises(LayerError, match=r"No space left on device\.\n.*\nMake room there"):
        read_shapes(path)


def test_no_coordinate_system(tmp_path):
    shp = write_shapefile(tmp_path / "soil.shp")
    shp.with_suffix(".prj").unlink()
    with pytest.raises(LayerError) as fault:
        read_shapes(shp)
    assert advised(fault.value).splitlines() == [
        "soil.shp has no coordinate system: there is no soil.prj beside it.",
        "We won't guess one, because a wrong guess can put the zones in another field.",
        "Export the layer again with its coordinate system, or say what it is.",
        "Say it with --layer-crs EPSG:4326",
    ]
    assert read_areas(shp, crs="EPSG:4326").crs.to_epsg() == 4326
    with pytest.raises(LayerError, match="EPSG:1 is not a coordinate system we know"):
        read_shapes(shp, crs="EPSG:1")


@pytest.mark.parametrize(
    ("prj", "words"),
    [
        ("nonsense", "soil.prj beside it cannot be understood"),
        ('LOCAL_CS["barn door",UNIT["metre",1]]', "not tied to the earth: barn door"),
    ],
)
def test_a_coordinate_system_that_is_none(tmp_path, prj, words):
    shp = write_shapefile(tmp_path / "soil.shp")
    shp.with_suffix(".prj").write_text(prj)
    with pytest.raises(LayerError, match=words):
        read_shapes(shp)


def test_the_coordinate_system_that_a_file_states_wins(tmp_path):
    shp = write_shapefile(tmp_path / "soil.shp")
    assert read_areas(shp, crs="EPSG:5070").crs.to_epsg() == 4326


def test_an_old_geojson_that_names_its_coordinate_system(tmp_path):
    frame = gpd.GeoDataFrame({"a": [1]}, geometry=[in_degrees(SQUARE)], crs="EPSG:4326")
    frame.to_crs("EPSG:26915").to_file(tmp_path / "a.geojson")
    assert read_areas(tmp_path / "a.geojson").crs.to_epsg() == 26915
    text = (tmp_path / "a.geojson").read_text()
    (tmp_path / "a.geojson").write_text(text.replace("26915", "99999"))
    with pytest.raises(LayerError, match=r"system we do not know: urn.*99999"):
        read_shapes(tmp_path / "a.geojson")


@pytest.mark.parametrize("ending", [".shx", ".dbf"])
def test_a_part_of_a_shapefile_is_missing(tmp_path, ending):
    shp = write_shapefile(tmp_path / "soil.shp")
    shp.with_suffix(ending).unlink()
    with pytest.raises(LayerError, match=f"soil{ending} is missing"):
        read_shapes(shp)


def test_every_missing_part_is_told(tmp_path):
    shp = write_shapefile(tmp_path / "soil.shp")
    for ending in (".shx", ".dbf", ".prj"):
        shp.with_suffix(ending).unlink()
    with pytest.raises(LayerError, match=r"3 faults:\n  soil.shx.*\n  soil.dbf.*\n  soil.prj"):
        read_shapes(shp)


@pytest.mark.parametrize("ending", [".shp", ".dbf"])
def test_a_part_of_a_shapefile_is_cut_off(tmp_path, ending):
    path = write_shapefile(tmp_path / "soil.shp", name="x" * 80).with_suffix(ending)
    path.write_bytes(path.read_bytes()[:-30])
    with pytest.raises(LayerError, match=rf"soil{ending} is cut off at \d+ of \d+ bytes"):
        read_shapes(tmp_path / "soil.shp")


def test_a_coordinate_that_is_no_number(tmp_path):
    with np.errstate(invalid="ignore"):
        broken = Polygon([(0, 0), (1, 0), (math.nan, 1)])
    frame = gpd.GeoDataFrame(geometry=[in_degrees(SQUARE), broken], crs="EPSG:4326")
    frame.to_file(tmp_path / "a.gpkg")
    with pytest.raises(LayerError, match="feature 2: a coordinate is not a number"):
        read_shapes(tmp_path / "a.gpkg")


def test_lines_are_no_soil(tmp_path):
    with pytest.raises(LayerError, match="holds LineString and Polygon"):
        read_areas(
            write_geojson(tmp_path / "a.geojson", [SQUARE, LineString(SQUARE.exterior.coords)])
        )
    with pytest.raises(LayerError, match="no shapes at all"):
        read_areas(write_geojson(tmp_path / "a.geojson", [None]))
