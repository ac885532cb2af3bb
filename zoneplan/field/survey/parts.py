"""The parts of a soil survey: what says where a soil lies, and what says what it is.

They are found in whatever shape a survey comes, and its map is read.
"""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePath
from typing import Any, NamedTuple
from zipfile import ZipFile

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from zoneplan.errors import LayerError, named
from zoneplan.field.columns import names_of, written
from zoneplan.field.crs import Box, move
from zoneplan.field.files import read_areas
from zoneplan.field.survey.answer import (
    answer_map,
    has_shapes,
    has_tables,
    has_vintage,
    is_answer,
    read_answer,
)
from zoneplan.field.survey.columns import NEEDED
from zoneplan.field.survey.database import is_database, layers_in, read_database_map
from zoneplan.field.survey.tables import DICTIONARIES
from zoneplan.field.unpack import DAMAGED, unpacked
from zoneplan.notices import Notice, notice
from zoneplan.plain_file import files_in, is_file, is_folder

_MAP = re.compile(r"soilmu_a_.+|mupolygon", re.IGNORECASE)
_DICTIONARY = {name for pair in DICTIONARIES for name in pair}
MOST_NESTED = 3  # zips in zips: one may hold itself
_CUT = "soilmu_a_aoi"  # how downloads name a map that is cut down to an area of interest
_READ = (".zip", ".gpkg", ".gdb", ".json")


class Parts(NamedTuple):
    """What there is of a survey: files, folders and databases; one may hold both."""

    maps: list[Path]
    tables: list[Path]
    vintages: list[Path]  # answers that tell which edition it is


def is_survey(path: Path, deep: int = MOST_NESTED) -> bool:
    """Whether a file, folder or zip holds a soil survey, or a part of one.

    It looks into zips that lie so deep in each other.
    """
    if path.suffix.lower() not in _READ and not is_folder(path):
        return False
    try:
        if any(_is_part(name) for name in _packed(path)):
            return True  # no need to unpack it for this
        with unpacked(path) as home:
            if any(find_parts(home)):
                return True
            return deep > 0 and any(is_survey(inner, deep - 1) for inner in _zips_in(home))
    except LayerError:
        return False


@contextmanager
def opened(path: Path, deep: int = MOST_NESTED) -> Iterator[Path]:
    """Lend a survey as a folder or a file. A zip is unpacked, and one that lies within."""
    with unpacked(path) as home:
        packed = [] if not deep or any(find_parts(home)) else _zips_in(home)
        inner = the_one((archive for archive in packed if is_survey(archive, deep - 1)), path)
        if inner is None:
            yield home
        else:
            with opened(inner, deep - 1) as within:
                yield within


def find_parts(home: Path) -> Parts:
    """Find what holds the map of a survey, and what holds its tables."""
    files = _files(home)
    folders: set[Path] = set()
    for folder in {file.parent for file in files}:
        while folder != home and folder not in folders:
            folders.add(folder)
            folder = folder.parent  # noqa: PLW2901
    paths = [*sorted({*files, *folders}), home]
    return Parts(
        list(filter(_holds_map, paths)),
        list(filter(_holds_tables, paths)),
        list(filter(has_vintage, paths)),
    )


def map_layers(database: Path) -> list[str]:
    """Name the layers of a database that are maps of soils."""
    layers = layers_in(database, with_shapes=True)
    return [name for name in layers.values() if _MAP.fullmatch(name)]


def the_one(surveys: Iterable[Path], source: Path) -> Path | None:
    """Take the one that there is, if any; several are an error."""
    several = sorted(surveys)
    if len(several) > 1:
        raise LayerError(
            f"{source.name} holds more than one soil survey: "
            f"{', '.join(f'{one.parent.name}/{one.name}' for one in several)}.\n"
            "We won't guess which one is meant.\n"
            "Give each survey area by itself, one after the other."
        )
    return several[0] if several else None


class SurveyMap(NamedTuple):
    """Polygons side by side: of each its map unit and survey area, "" where nothing says it."""

    mukeys: list[str]
    symbols: list[str]
    shapes: NDArray[np.object_]
    crs: CRS

    def at(self, places: Sequence[int]) -> "SurveyMap":
        """Some of the polygons, by their places."""
        mukeys, symbols = ([cells[at] for at in places] for cells in (self.mukeys, self.symbols))
        return SurveyMap(mukeys, symbols, self.shapes[places], self.crs)

    def without(self, symbols: Collection[str]) -> "SurveyMap":
        """The polygons that are not of some survey areas."""
        if not symbols:
            return self
        return self.at([at for at, symbol in enumerate(self.symbols) if symbol not in symbols])


def read_map(
    parts: Sequence[Path], crs: str | None = None, bbox: Box | None = None
) -> tuple[SurveyMap, list[Notice]]:
    """Read the layers of a map, and lay them side by side, in the system of the first.

    They are shapefiles, databases and answers with polygons. Where one layer holds a whole survey
    area and another a cut of it, the whole is taken, and a note says what was left out. Only the
    polygons that reach into a box are read; of an answer all.

    Raises
    ------
    LayerError
        When a layer cannot be trusted, has no column MUKEY, or maps the same survey area
        as another.
    """

    def is_cut(name: str) -> bool:
        return Path(name).stem.lower() == _CUT

    notes: list[Notice] = []
    owners: dict[str, str] = {}
    layers: list[SurveyMap] = []
    for name, layer in sorted(_layers(parts, crs, bbox), key=lambda one: is_cut(one[0])):
        symbols = set(layer.symbols)
        twice = sorted(symbols & owners.keys())
        if owners and ("" in symbols or (twice and not is_cut(name))):
            raise LayerError(
                f"{name} and {', '.join(sorted(set(owners.values())))} may map the same "
                f"ground ({', '.join(twice) or 'no AREASYMBOL'}): more than one soil survey.\n"
                "We won't guess which one is meant.\n"
                "Take all but one away, or give each by itself."
            )
        if twice:
            whole = owners[twice[0]]
            notes.append(notice("survey-map-left-out", map=name, other=whole, areas=tuple(twice)))
        layers.append(layer.without(twice))
        owners |= dict.fromkeys(symbols - owners.keys(), name)
    return _side_by_side(layers), notes


def _side_by_side(layers: Sequence[SurveyMap]) -> SurveyMap:
    crs = layers[0].crs
    return SurveyMap(
        [key for layer in layers for key in layer.mukeys],
        [symbol for layer in layers for symbol in layer.symbols],
        np.concatenate(
            [one.shapes if one.crs == crs else move(one.shapes, one.crs, crs) for one in layers]
        ),
        crs,
    )


def _layers(
    parts: Sequence[Path], crs: str | None, bbox: Box | None
) -> Iterator[tuple[str, SurveyMap]]:
    """Each layer with its name."""
    for part in parts:
        layers = map_layers(part)
        for layer in layers:
            read = read_database_map(part, layer, crs, bbox)
            yield layer, _tidied(*read, f"{part.name} {layer}")
        if not layers:
            frame = (
                answer_map(read_answer(part), part.name)
                if is_answer(part)
                else read_areas(part, crs, bbox=bbox)
            )
            columns = {name: frame[name].to_numpy() for name in names_of(frame)}
            shapes = frame.geometry.to_numpy()
            yield part.name, _tidied(columns, shapes, frame.crs, part.name)


def _tidied(
    columns: Mapping[str, Any], shapes: NDArray[np.object_], crs: CRS, source: str
) -> SurveyMap:
    """Keep the keys and the symbols, as text, whatever the case of their columns."""
    cells = {name.lower(): column for name, column in columns.items()}
    if "mukey" not in cells:
        raise LayerError(
            f"{source} has no column MUKEY, which ties its polygons to the tables.\n"
            f"Its columns are: {named(columns)}.\n"
            "Download the survey area again, and keep its files as they come."
        )
    blank = [""] * len(shapes)
    mukeys, symbols = (
        list(map(written, cells.get(name, blank))) for name in ("mukey", "areasymbol")
    )
    return SurveyMap(mukeys, symbols, shapes, crs)


def _holds_map(path: Path) -> bool:
    if path.suffix.lower() == ".shp":
        return bool(_MAP.fullmatch(path.stem))
    return bool(map_layers(path)) or has_shapes(path)


def _holds_tables(path: Path) -> bool:
    if is_database(path):
        return not NEEDED.keys().isdisjoint(layers_in(path, with_shapes=False))
    if is_folder(path):
        names = {file.name.lower() for file in path.iterdir()}
        if "chorizon.txt" in names and "mapunit.txt" in names:
            return True
        return path.name.lower() == "tabular" or not _DICTIONARY.isdisjoint(names)
    return has_tables(path)


def _packed(path: Path) -> list[PurePath]:
    """Name what a zip holds."""
    if not is_file(path):
        return []
    try:
        with ZipFile(path) as archive:
            return [PurePath(name) for name in archive.namelist()]
    except (*DAMAGED, OSError):
        return []


def _is_part(path: PurePath) -> bool:
    """Whether a file of a download is of a survey, by its name."""
    is_map = path.suffix.lower() == ".shp" and _MAP.fullmatch(path.stem)
    return bool(is_map) or path.name.lower() in _DICTIONARY or path.parent.name.lower() == "tabular"


def _zips_in(home: Path) -> list[Path]:
    return [path for path in _files(home) if path.suffix.lower() == ".zip"]


def _files(home: Path) -> list[Path]:
    return files_in(home) if is_folder(home) and not is_database(home) else []
