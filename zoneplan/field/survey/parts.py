"""Find the parts of a soil survey: what says where a soil lies, and what says what it is."""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path, PurePath
from typing import NamedTuple
from zipfile import ZipFile

from zoneplan.errors import LayerError
from zoneplan.field.survey.answer import has_shapes, has_tables, has_vintage
from zoneplan.field.survey.columns import NEEDED
from zoneplan.field.survey.database import is_database, layers_in
from zoneplan.field.survey.tables import DICTIONARIES
from zoneplan.field.unpack import DAMAGED, unpacked
from zoneplan.plain_file import files_in, is_file, is_folder

_MAP = re.compile(r"soilmu_a_.+|mupolygon", re.IGNORECASE)
_DICTIONARY = {name for pair in DICTIONARIES for name in pair}
MOST_NESTED = 3  # zips in zips: one may hold itself
_READ = (".zip", ".gpkg", ".gdb", ".json")


class Parts(NamedTuple):
    """What there is of a survey: files, folders and databases; one may hold both."""

    maps: list[Path]
    tables: list[Path]
    vintages: list[Path]  # answers that tell which edition it is


def is_survey(path: Path) -> bool:
    """Whether a file, folder or zip holds a soil survey, or a part of one."""
    return _is_survey(path, MOST_NESTED)


def _is_survey(path: Path, deep: int) -> bool:
    """The same, looking into zips that lie so deep in each other."""
    if path.suffix.lower() not in _READ and not is_folder(path):
        return False
    try:
        if any(_is_part(name) for name in _packed(path)):
            return True  # no need to unpack it for this
        with unpacked(path) as home:
            if any(find_parts(home)):
                return True
            return deep > 0 and any(_is_survey(inner, deep - 1) for inner in _zips_in(home))
    except LayerError:
        return False


@contextmanager
def opened(path: Path) -> Iterator[Path]:
    """Lend a survey as a folder or a file. A zip is unpacked, and one that lies within."""
    with _opened(path, MOST_NESTED) as home:
        yield home


@contextmanager
def _opened(path: Path, deep: int) -> Iterator[Path]:
    with unpacked(path) as home:
        packed = [] if not deep or any(find_parts(home)) else _zips_in(home)
        inner = the_one((archive for archive in packed if _is_survey(archive, deep - 1)), path)
        if inner is None:
            yield home
        else:
            with _opened(inner, deep - 1) as within:
                yield within


def find_parts(home: Path) -> Parts:
    """Find what holds the map of a survey, and what holds its tables."""
    files = files_in(home) if is_folder(home) and not is_database(home) else []
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
    """Take the one that there is, if any.

    Raises
    ------
    LayerError
        When there are several.
    """
    several = sorted(surveys)
    if len(several) > 1:
        raise LayerError(
            f"{source.name} holds more than one soil survey: "
            f"{', '.join(f'{one.parent.name}/{one.name}' for one in several)}.\n"
            "We won't guess which one is meant.\n"
            "Give each survey area by itself, one after the other."
        )
    return several[0] if several else None


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
    if not is_folder(home) or is_database(home):
        return []
    return [path for path in files_in(home) if path.suffix.lower() == ".zip"]
