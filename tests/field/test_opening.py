"""A file can only be what it was sent as: whatever it points at stays unasked and unread."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.field.drivers import drivers
from tests.hostile.doors import FIELD, RASTERS, VECTORS
from tests.hostile.listener import listening
from tests.hostile.pointers import WAYS, dem
from zoneplan.errors import ZoneplanError
from zoneplan.field.child import run
from zoneplan.field.opening import POINTERS, VECTOR
from zoneplan.field.raster.terrain import read_terrain

PACKAGE = Path(__file__).parents[2] / "zoneplan"
MARKER = "the other grower's own business 5150"
# What opens a file, or what stands for one, in the libraries that we have. SQLite may hold what
# we made ourselves, in memory.
OPENERS = {
    "rasterio": {"open", "MemoryFile", "WarpedVRT", "BufferedDatasetWriter", "DatasetReader"},
    "pyogrio": {"read_dataframe", "read_arrow", "read_info", "read_bounds", "list_layers", "raw"},
    "geopandas": {"read_file", "read_parquet", "read_feather", "read_postgis", "list_layers"},
    "shapefile": {"Reader"},
    "sqlite3": {"connect"},
    "fiona": {"open"},
}
# Asked with the bare libraries, these do what must not be done: so a test can see it.
BITE = {
    "kml_is_a_vrt_of_a_file",
    "kml_is_a_vrt_of_a_server",
    "geojson_is_a_pipeline_of_a_file",
    "geojson_is_a_pipeline_of_a_server",
    "tif_is_a_vrt_of_a_server",
    "tif_is_a_map_service",
    "tif_is_a_capabilities_address",
    "tif_is_a_coverage_service",
    "tif_takes_its_overview_from_a_server",
}
BARE = """
import sys, pyogrio, rasterio
path = sys.argv[1]
try:
    if path.endswith(".tif"):
        with rasterio.open(path) as source:
            source.overviews(1), source.read(1, out_shape=(4, 4))
    else:
        for layer, _ in pyogrio.list_layers(path):
            print(pyogrio.read_dataframe(path, layer=layer))
except Exception as error:
    print(error)
"""


def _secret(folder: Path) -> Path:
    """A file that nobody should read. Whoever does moves the time of its last reading."""
    path = folder / "secret" / "secret.csv"
    path.parent.mkdir()
    path.write_text(f"secret,x\n{MARKER},1\n")
    os.utime(path, (10**9, 10**9))
    return path


def _read_since(path: Path) -> bool:
    return path.stat().st_atime > 10**9


def _times_are_kept(folder: Path) -> bool:
    probe = folder / "probe"
    probe.write_text("x")
    os.utime(probe, (10**9, 10**9))
    probe.read_text()
    return _read_since(probe)


def _lies(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


@pytest.mark.parametrize("way", WAYS)
def test_what_a_file_points_at_is_left_alone(tmp_path, way):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    secret = _secret(tmp_path)
    with listening() as server:
        path = WAYS[way](inbox, server.address, secret)
        os.utime(secret, (10**9, 10**9))  # a maker may have looked
        before = _lies(tmp_path)
        doors = RASTERS if path.suffix == ".tif" else VECTORS
        for name, door in doors.items():
            try:
                text = repr(door(path))
            except ZoneplanError as error:
                text = str(error)
            assert MARKER not in text, name
            assert server.heard == [], name
            assert _lies(tmp_path) == before, name
    assert not (_times_are_kept(tmp_path) and _read_since(secret))


@pytest.mark.parametrize("way", sorted(BITE))
def test_the_bare_libraries_would_have_done_it(tmp_path, way):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    secret = _secret(tmp_path)
    with listening() as server:
        path = WAYS[way](inbox, server.address, secret)
        os.utime(secret, (10**9, 10**9))
        result = subprocess.run(
            [sys.executable, "-c", BARE, path], capture_output=True, text=True, check=True
        )
        assert server.heard or MARKER in result.stdout or _read_since(secret), result.stdout


def test_only_the_wanted_drivers_stand_where_files_are_opened(tmp_path):
    """Also once heights were read, for which a library may bring drivers back."""
    dem(tmp_path / "heights.tif")
    read_terrain(tmp_path / "heights.tif", FIELD)
    vector, raster = run(30, drivers)
    assert vector == VECTOR
    assert "GTiff" in raster
    assert not raster & POINTERS


def test_what_points_elsewhere_is_off_in_every_process():
    """In one of its own: here another test may have had a driver before."""
    code = (
        "from zoneplan.field.opening import POINTERS; import zoneplan.field.files\n"
        "from tests.field.drivers import drivers\n"
        "vector, raster = drivers()\n"
        "print(sorted((vector | raster) & POINTERS), 'GPKG' in vector, 'GTiff' in raster)"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert result.stdout == "[] True True\n"
    assert result.stderr == ""


def test_only_two_modules_open_anything():
    values = {
        f"{path.relative_to(PACKAGE)}: {call}"
        for path in PACKAGE.rglob("*.py")
        for call in _opens(ast.parse(path.read_text()))
    }
    assert {Path(part.partition(": ")[0]) for part in values} == {
        Path("field", "opening.py"),
        Path("field", "raster", "opening.py"),
    }
    # and this test can see it
    calls = {part.partition(": ")[2] for part in values}
    assert calls >= {"rasterio.open", "pyogrio.list_layers", "sqlite3.connect", "shapefile.Reader"}


def test_rasterio_is_taken_from_where_its_pointing_drivers_are_out():
    bare = {
        str(path.relative_to(PACKAGE))
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if (isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rasterio"))
        or (
            isinstance(node, ast.Import)
            and any(name.name.startswith("rasterio") for name in node.names)
        )
    }
    assert bare == {str(Path("field", "raster", "opening.py"))}


def _opens(tree: ast.Module) -> set[str]:
    """Name what a module calls or imports of OPENERS, whatever it calls the library."""
    names: dict[str, str] = {}
    values: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for each in node.names:
                names[each.asname or each.name.partition(".")[0]] = each.name.partition(".")[0]
        elif isinstance(node, ast.ImportFrom) and node.module:
            home = node.module.partition(".")[0]
            values |= {
                f"{home}.{name.name}" for name in node.names if name.name in OPENERS.get(home, ())
            }
            names |= {
                name.asname or name.name: name.name for name in node.names if name.name in OPENERS
            }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and [
            argument.value for argument in node.args if isinstance(argument, ast.Constant)
        ] == [":memory:"]:
            node.func = ast.Name("memory")
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            home = names.get(node.value.id, "")
            if node.attr in OPENERS.get(home, ()):
                values.add(f"{home}.{node.attr}")
    return values
