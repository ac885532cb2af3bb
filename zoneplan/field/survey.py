"""Read a USDA soil survey as it is downloaded: its map, its tables, one SoilLayer."""

import re
from collections.abc import Iterable
from pathlib import Path, PurePath
from zipfile import BadZipFile, ZipFile

from zoneplan.errors import LayerError
from zoneplan.field.files import read_areas
from zoneplan.field.pick import written
from zoneplan.field.seedzone import weigh
from zoneplan.field.shapes import SoilLayer
from zoneplan.field.survey_tables import DICTIONARIES, read_tables
from zoneplan.field.survey_units import map_units
from zoneplan.field.unpack import unpacked
from zoneplan.soil.texture import SoilFacts

_MAP = re.compile(r"soilmu_a_.*\.shp", re.IGNORECASE)
_DICTIONARY = {name for pair in DICTIONARIES for name in pair}


def is_survey(path: Path) -> bool:
    """Whether a folder or zip holds a soil survey, or a part of one."""
    if path.is_dir():
        return any(map(_is_part, path.rglob("*")))
    try:
        with ZipFile(path) as archive:
            return any(_is_part(PurePath(name)) for name in archive.namelist())
    except (BadZipFile, OSError):
        return False


def read_survey(path: Path | str, crs: str | None = None) -> SoilLayer:
    """Read a soil-survey download, and weigh each map unit into the facts of its seed zone.

    Parameters
    ----------
    path : Path or str
        The download, as a folder or a zip: `spatial` and `tabular`, on top or one down.
    crs : str, optional
        Coordinate system of its map, if the map states none.

    Raises
    ------
    LayerError
        When the map or a table is missing or damaged.
    """
    path = Path(path)
    with unpacked(path) as home:
        found = sorted(home.rglob("*"))
        mapped = _only([file for file in found if _MAP.fullmatch(file.name)], path)
        dictionaries = {file.parent for file in found if file.name.lower() in _DICTIONARY}
        folders = {file for file in found if file.is_dir() and file.name.lower() == "tabular"}
        tabular = _only(dictionaries | folders, path)
        if mapped is None or tabular is None:
            raise _half(path, mapped)
        ground = read_areas(mapped, crs)
        tables = read_tables(tabular, path.name)
        version = next(iter(tabular.glob("version.txt")), None)
        edition = version.read_text("utf-8", errors="replace").strip() if version else "not stated"
    columns = {str(name).lower(): name for name in ground.columns}
    if "mukey" not in columns:
        raise LayerError(
            f"{mapped.name} has no column MUKEY, which ties its polygons to the tables.\n"
            f"Its columns are: {', '.join(map(str, ground.columns))}.\n"
            "Download the survey area again, and keep its files as they come."
        )
    keys = [written(key) for key in ground[columns["mukey"]]]
    units = map_units(tables, set(keys))
    facts = {key: weigh(unit) for key, unit in units.items()}
    for key in set(keys) - set(units):
        facts[key] = _unknown(key)
    symbols = ground[columns["areasymbol"]] if "areasymbol" in columns else []
    name = ", ".join(sorted({written(symbol) for symbol in symbols})) or path.stem
    return SoilLayer(
        name=name,
        kind="soil survey",
        ground=ground.assign(facts=[facts[key] for key in keys])[["facts", "geometry"]],
        notes=(
            f"soil survey, table layout {edition}. Its lines are drawn for maps of about "
            "1:12,000 to 1:24,000, and other soils lie within them: they are no surveyed edges",
        ),
    )


def _is_part(path: PurePath) -> bool:
    return (
        bool(_MAP.fullmatch(path.name))
        or path.name.lower() in _DICTIONARY
        or path.parent.name.lower() == "tabular"
    )


def _only(found: Iterable[Path], source: Path) -> Path | None:
    """Take the one that there is, if any."""
    several = sorted(found)
    if len(several) > 1:
        raise LayerError(
            f"{source.name} holds more than one soil survey: "
            f"{', '.join(f'{one.parent.name}/{one.name}' for one in several)}.\n"
            "We won't guess which one is meant.\n"
            "Give each survey area by itself, one after the other."
        )
    return several[0] if several else None


def _half(path: Path, mapped: Path | None) -> LayerError:
    if mapped is None:
        said = (
            "has tables but no map. spatial/soilmu_a_*.shp, the polygons of the map units, "
            "is missing"
        )
    else:
        said = (
            f"has a map, {mapped.name}, but no tables. The folder tabular, with mapunit.txt, "
            "comp.txt, chorizon.txt, mstab.txt and mstabcol.txt, is missing"
        )
    return LayerError(
        f"{path.name} {said}.\n"
        "The map says where a soil lies and the tables say what it is; we need both.\n"
        "Download the survey area again, and give the folder or zip that holds spatial and "
        "tabular."
    )


def _unknown(key: str) -> SoilFacts:
    named = f"map unit {key}" if key else "map unit without a key"
    note = f"The survey's map shows {named}, but its tables do not have it"
    return SoilFacts(ground="no data", named=named, notes=(note,))
