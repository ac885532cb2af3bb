"""What a file is to a plan: its content says which of the sources it can be."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from zipfile import ZipFile

import geopandas as gpd
import numpy as np

from zoneplan.errors import LayerError, ZoneplanError
from zoneplan.field.columns import KNOWN, TABLES, names_of
from zoneplan.field.crs import WGS_84, Box
from zoneplan.field.file_type import is_tiff
from zoneplan.field.files import read_shapes
from zoneplan.field.survey.parts import is_survey
from zoneplan.field.unpack import DAMAGED
from zoneplan.plain_file import head_of, read_plain

_SAVED = "work.json"  # in a saved plan, and in nothing else that anybody sends
_ANYWHERE = "EPSG:3857"  # to look at shapes that state no system: nothing is placed by it
_SOIL = frozenset(KNOWN["texture"] + KNOWN["sand"] + KNOWN["clay"])
_CONDUCTS = frozenset(("ec", "eca", "ec_sh", "ec_dp", "conductivity", "shallow", "deep"))


class FileKind(StrEnum):
    """What a file holds."""

    SAVED = "saved plan"
    MACHINE = "planter"
    RULES = "rules"
    CHECKS = "hand checks"
    SURVEY = "soil survey"
    TEXTURE = "texture raster"
    HEIGHTS = "heights"
    POINTS = "points"
    SOIL_AREAS = "soil areas"
    OUTLINES = "outlines"
    LINES = "lines"
    UNKNOWN = "unknown"


ROLE_OF = {  # a field of Sources
    FileKind.MACHINE: "machine",
    FileKind.RULES: "rules",
    FileKind.CHECKS: "checks",
    FileKind.SURVEY: "soils",
    FileKind.TEXTURE: "soils",
    FileKind.HEIGHTS: "elevation",
    FileKind.POINTS: "soils",
    FileKind.SOIL_AREAS: "soils",
    FileKind.OUTLINES: "boundary",
    FileKind.LINES: "tracks",
}


@dataclass(frozen=True)
class Recognised:
    """What was seen in one file."""

    kind: FileKind
    count: int = 0  # of shapes, where it holds any
    bounds: Box | None = None  # degrees, where it says where it lies
    fault: str = ""  # why nobody knows what it is

    @property
    def role(self) -> str | None:
        """The source that it can be; None for a saved plan and for what nobody knows."""
        return ROLE_OF.get(self.kind)


def recognise(path: Path) -> Recognised:
    """Tell what a file is by what it holds, whatever its name; an unknown one carries its fault."""
    try:
        kind = _kind(path)
        return _shapes(path) if kind is None else Recognised(kind)
    except (ZoneplanError, OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        return Recognised(FileKind.UNKNOWN, fault=str(error))


def _kind(path: Path) -> FileKind | None:
    """What it is without a look at its shapes; None where they say."""
    ending = path.suffix.lower()
    if ending == ".toml":
        return _table_of(read_plain(path))
    if ending in TABLES:
        return FileKind.POINTS
    if _is_saved(path):
        return FileKind.SAVED
    if is_survey(path):
        return FileKind.SURVEY
    return _raster(path) if is_tiff(path) else None


def _table_of(content: bytes) -> FileKind:
    keys = tomllib.loads(content.decode("utf-8-sig")).keys()
    if keys & {"decides", "rule", "factor", "drop"}:
        return FileKind.RULES
    if keys & {"check", "answers"} or {"zone", "moisture"} <= keys:
        return FileKind.CHECKS
    return FileKind.MACHINE


def _is_saved(path: Path) -> bool:
    if not head_of(path, 4).startswith(b"PK"):
        return False
    try:
        with ZipFile(path) as archive:
            return _SAVED in archive.namelist()
    except DAMAGED:  # who reads it says so
        return False


def _raster(path: Path) -> FileKind:
    from zoneplan.field.points.conductivity import is_conductivity
    from zoneplan.field.raster.texture import names_a_part

    texture = is_conductivity(path) or names_a_part(path)
    return FileKind.TEXTURE if texture else FileKind.HEIGHTS


def _shapes(path: Path) -> Recognised:
    try:
        frames = [*read_shapes(path).values()]
    except LayerError as error:
        if "crs" not in error.parameters:
            raise
        return _seen([*read_shapes(path, _ANYWHERE).values()], placed=False)
    return _seen(frames, placed=True)


def _seen(frames: Sequence[gpd.GeoDataFrame], *, placed: bool) -> Recognised:
    shapes = {kind.removeprefix("Multi") for frame in frames for kind in frame.geom_type.dropna()}
    columns = {name.lower() for frame in frames for name in names_of(frame)}
    if shapes and shapes <= {"Point"}:
        kind = FileKind.POINTS
    elif shapes and shapes <= {"LineString"}:
        kind = FileKind.LINES
    elif columns & (_SOIL | _CONDUCTS):
        kind = FileKind.SOIL_AREAS
    else:
        kind = FileKind.OUTLINES
    bounds = None
    if placed and shapes:
        every = [frame.to_crs(WGS_84).total_bounds for frame in frames]  # NaN of one without shapes
        west, south = np.nanmin(every, axis=0)[:2].tolist()
        east, north = np.nanmax(every, axis=0)[2:].tolist()
        bounds = (west, south, east, north)
    return Recognised(kind, sum(map(len, frames)), bounds)
