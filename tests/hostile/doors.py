"""Every door that a file comes in by, as a function of a path."""

from collections.abc import Callable
from pathlib import Path

from shapely.geometry import box

from zoneplan.demo import demo_field
from zoneplan.export.check import check_bundle
from zoneplan.field.crs import WGS_84, local_crs, move
from zoneplan.field.drawn import read_drawn, read_tracks
from zoneplan.field.layer import ReadOptions, read_layer
from zoneplan.field.outline import read_field
from zoneplan.field.raster.terrain import read_terrain
from zoneplan.field.shapes import Field
from zoneplan.pages.drawing.table import boundary_read, reach_of
from zoneplan.request import Request
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rowunit.observation import read_observations
from zoneplan.rules.read import read_rules
from zoneplan.run import run
from zoneplan.sources import Sources, Upload
from zoneplan.store.archive import opened
from zoneplan.store.request_json import read_request

_PLACE = box(-93.5005, 41.9995, -93.4995, 42.0005)
_CRS = local_crs(_PLACE)
FIELD = Field("Square", move(_PLACE, WGS_84, _CRS), _CRS, 0.9)
_LOG = "longitude,latitude,eca\n-93.5,42,10\n-93.4999,42,11\n"


def _soil(path: Path) -> object:
    return read_layer(path, FIELD)


def _samples(path: Path) -> object:
    log = path.parent / "zz log.csv"
    log.write_text(_LOG)
    try:
        return read_layer(log, FIELD, ReadOptions(samples=path))
    finally:
        log.unlink()


def _raster_folder(path: Path) -> object:
    return read_layer(path.parent, FIELD)


def _upload(path: Path) -> Upload:
    return Upload(path.name, path.read_bytes())


def _asked(**parts: Upload) -> object:
    """As the app asks, and as a saved plan does."""
    demo = demo_field("creek")
    boundary = parts.pop("boundary", None) or _upload(demo.boundary)
    soil = parts.pop("soil", None)
    soils = (soil,) if soil else ()
    sources = Sources("springs", boundary=boundary, soils=soils, **parts)  # type: ignore[arg-type]
    return run(Request(residue_frac=0.3), sources)


VECTORS: dict[str, Callable[[Path], object]] = {
    "boundary": read_field,
    "soil": _soil,
    "samples": _samples,
    "drawn": lambda path: read_drawn(path, FIELD),
    "tracks": lambda path: read_tracks(path, FIELD, 10.0),
    "boundary of the app": lambda path: _asked(boundary=_upload(path)),
    "soil of the app": lambda path: _asked(soil=_upload(path)),
    "first look of the app": lambda path: (
        reach_of([_upload(path)]),
        boundary_read(_upload(path), None, None),
    ),
}
RASTERS: dict[str, Callable[[Path], object]] = {
    "elevation": lambda path: read_terrain(path, FIELD),
    "soil": _soil,
    "folder of rasters": _raster_folder,
    "soil of the app": lambda path: _asked(soil=_upload(path)),
    "first look of the app": lambda path: reach_of([_upload(path)]),
}
TEXTS: dict[str, Callable[[Path], object]] = {
    "machine": read_machine,
    "rules": lambda path: read_rules([path]),
    "observation": lambda path: read_observations(path, read_machine("springs")),
    "request": lambda path: read_request(path.read_bytes(), path.name),
}
BUNDLES: dict[str, Callable[[Path], object]] = {
    "saved plan": lambda path: opened(path.read_bytes(), path.name),
    "check": check_bundle,
}
