"""A soil survey of a county or a state, read for one field."""

import shutil
from pathlib import Path

import pyogrio

from tests.bench import data
from tests.bench.measure import Case
from tests.bench.row import Row
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.layer import read_layer

POLYGONS = (10_000, 100_000)


def _case(survey: Path, map_path: Path, layer: str | None = None) -> Case:
    field = data.field()
    box = move(field.shape, field.crs, WGS_84).bounds
    return Case(
        lambda: read_layer(survey, field),
        lambda: pyogrio.read_dataframe(map_path, layer=layer, bbox=box),
    )


def _download(_polygons: int, folder: Path) -> Case:
    return _case(folder / "area", folder / "area" / "spatial" / "soilmu_a_zz001.shp")


def _database(_polygons: int, folder: Path) -> Case:
    return _case(folder / "area.gpkg", folder / "area.gpkg", "MUPOLYGON")


def _zip(_polygons: int, folder: Path) -> Case:
    # Against the map that lies unpacked beside it: nobody needs to unpack it twice.
    return _case(folder / "area.zip", folder / "area" / "spatial" / "soilmu_a_zz001.shp")


def _write_download(polygons: int, folder: Path) -> None:
    data.write_download(folder / "area", polygons)


def _write_zip(polygons: int, folder: Path) -> None:
    data.write_download(folder / "area", polygons)
    shutil.make_archive(str(folder / "area"), "zip", folder, "area")


def _write_database(polygons: int, folder: Path) -> None:
    data.write_database(folder / "area.gpkg", polygons)


def _row(shape: str, today: str, case: object, files: object) -> Row:
    return Row(
        name=f"survey as {shape}, for one field",
        against="pyogrio by box",
        today=today,
        goal=3,
        sizes=POLYGONS,
        unit="polygons",
        case=case,
        files=files,
        goal_mb=20,
        most_times=3,
    )


ROWS = (
    _row("shapefile", "32 / 41", _download, _write_download),
    _row("GeoPackage", "–", _database, _write_database),
    _row("zip", "–", _zip, _write_zip),
)
