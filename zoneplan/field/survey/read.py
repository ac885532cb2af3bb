"""Read a USDA soil survey in any shape that people get it: its map, its tables, one SoilLayer."""

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

import geopandas as gpd

from zoneplan.errors import LayerError, quoted
from zoneplan.field.shapes import SoilLayer
from zoneplan.field.survey.answer import SHAPES, answer_tables, is_answer, read_answer, vintages
from zoneplan.field.survey.columns import NEEDED, Tables, unsaid, vintage_notice
from zoneplan.field.survey.database import Box, is_database, read_database_tables
from zoneplan.field.survey.map import read_map
from zoneplan.field.survey.map_units import MapUnit, map_units
from zoneplan.field.survey.parts import find_parts, is_survey, opened, the_one
from zoneplan.field.survey.seed_zone import weigh
from zoneplan.field.survey.tables import read_tables
from zoneplan.notices import Notice, notice
from zoneplan.plain_file import files_in, head_of
from zoneplan.soil.texture import SoilFacts

_BOTH = "The map says where a soil lies and the tables say what it is; we need both."


def without_map(name: str, tables: Path, symbols: Sequence[str]) -> LayerError:
    """Say which map is missing.

    Parameters
    ----------
    name : str
        What the user gave.
    tables : Path
        The folder, database or answer with the tables.
    symbols : sequence of str
        The survey areas that they are of, where they say.
    """
    stems = [f"soilmu_a_{symbol.lower()}" for symbol in symbols] or ["soilmu_a_*"]
    what = ", ".join(f"spatial/{stem}.shp" for stem in stems)
    advice = (
        f"Download {_area(symbols)} again, and give the folder or zip that holds spatial and "
        "tabular."
    )
    if is_answer(tables):
        advice = (
            f"It is in the download of {_area(symbols)}. Put {stems[0]}.shp, .shx, .dbf and .prj "
            "into one folder with the answer, and give that folder; or ask the service for the "
            f"column {SHAPES[0]} as well."
        )
    elif is_database(tables):
        what = "the layer MUPOLYGON"
        advice = "Download it again, and keep its layers as they come."
    return LayerError(
        f"{name} has tables but no map. {what}, the polygons of the map units, is missing.\n"
        f"{_BOTH}\n{advice}"
    )


def without_tables(name: str, maps: Sequence[Path], symbols: Sequence[str]) -> LayerError:
    """Say which tables are missing.

    Parameters
    ----------
    name : str
        What the user gave.
    maps : sequence of Path
        The files with its map.
    symbols : sequence of str
        The survey areas that it is of, where it says.
    """
    what = (
        f"The folder tabular of {_area(symbols)}, with mapunit.txt, comp.txt, chorizon.txt, "
        "mstab.txt and mstabcol.txt, is missing"
    )
    if any(map(is_database, maps)):
        what = f"The tables {', '.join(NEEDED)} are missing from it"
    return LayerError(
        f"{name} has a map, {', '.join(part.name for part in maps)}, but no tables. {what}.\n"
        f"{_BOTH}\n"
        f"Download {_area(symbols)} again, and give all of it. If its polygons say a texture "
        "themselves, save them under a name of your own."
    )


def _area(symbols: Sequence[str]) -> str:
    if len(symbols) != 1:
        return "the survey area"
    return f"survey area {symbols[0]} (wss_SSA_{symbols[0]}_*.zip)"


MUCH_PCT = 50.0  # of a map unit: a soil with as much is the one that it is named for

__all__ = ["holds_database", "is_survey", "read_survey"]


def read_survey(
    path: Path | str,
    crs: str | None = None,
    *,
    bbox: Box | None = None,
    polygons: Path | str | None = None,
) -> SoilLayer:
    """Read a soil survey, and weigh each map unit into the facts of its seed zone.

    Parameters
    ----------
    path : Path or str
        The download of a survey area, with `spatial` and `tabular`; the GeoPackage or file
        geodatabase of an area or a state; the JSON answer of the data-access service. By
        itself, or in a folder or zip, however deep. A folder may hold the tables as one of
        these and the map as another, and an answer that says which edition it is.
    crs : str, optional
        Coordinate system of its map, if the map states none.
    bbox : tuple, optional
        West, south, east and north of the field, in WGS 84 degrees. Of a GeoPackage or
        geodatabase only what reaches into it is then read.
    polygons : Path or str, optional
        The map, where it is not with the tables: any polygons with a column MUKEY.

    Returns
    -------
    SoilLayer
        Without polygons, where the map has none in the box.

    Raises
    ------
    LayerError
        When the map or a table is missing or damaged, or they are of different areas.
    """
    path = Path(path)
    with opened(path) as home:
        parts = find_parts(home)
        if not (parts.maps or parts.tables):
            raise _no_survey(path)
        source = the_one(parts.tables, path)
        if polygons is not None:
            ground, notes = _paired(Path(polygons), crs, bbox)
        elif parts.maps:
            _check_one_folder(parts.maps, path)
            ground, notes = read_map(parts.maps, crs, bbox)
        elif source is not None:
            raise without_map(path.name, source, _areas(_tables(source, path.name, ())[0]))
        areas = sorted(set(ground["areasymbol"]) - {""})
        if source is None:
            raise without_tables(path.name, parts.maps, areas)
        keys = list(ground["mukey"])
        tables, table_notes = _tables(source, path.name, set(keys))
        edition = _edition(source)
        table_notes += _vintages(parts.vintages)

    units = map_units(tables, set(keys))
    if keys and not units:
        raise _strangers(path, areas, _areas(tables))
    _check_components(path.name, units)
    notes += _without_horizons(units)
    facts = {key: weigh(unit) for key, unit in units.items()}
    for key in set(keys) - set(units):
        facts[key] = _unknown(key)
    if not keys:
        notes.append(notice("survey-none-near"))
    return SoilLayer(
        name=", ".join(areas) or path.stem,
        kind="soil survey",
        ground=ground.assign(facts=[facts[key] for key in keys])[["facts", "geometry"]],
        notes=(
            notice("survey-lines", table_layout=edition),
            *notes,
            *table_notes,
            *unsaid(tables),
        ),
    )


def holds_database(path: Path) -> bool:
    """Whether a survey, or the map of it, lies in a database."""
    with opened(path) as home:
        parts = find_parts(home)
        return any(is_database(part) for part in (*parts.maps, *parts.tables))


def _check_components(name: str, units: Mapping[str, MapUnit]) -> None:
    bare = sorted(unit.symbol for unit in units.values() if not unit.components)
    if bare:
        raise LayerError(
            f"{name} tells of no component for the map units {', '.join(bare)}.\n"
            "Every map unit has at least one: the table of components is cut off.\n"
            "Download the survey area again, and keep its files as they come."
        )


def _without_horizons(units: Mapping[str, MapUnit]) -> list[Notice]:
    """Note which soils that make up much of a map unit have no horizons: a cut table is so."""
    bare = sorted(
        f"{part.name} of {unit.symbol}"
        for unit in units.values()
        for part in unit.components
        if part.kind == "Series" and (part.percent or 0) >= MUCH_PCT and not part.horizons
    )
    if not bare:
        return []
    return [notice("survey-without-horizons", soils=tuple(bare))]


def _no_survey(path: Path) -> LayerError:
    return LayerError(
        f"{path.name} holds no soil survey.\n"
        "We looked for the download of a survey area, a GeoPackage or geodatabase with its "
        "tables, and an answer of the data-access service.\n"
        "Give one of these."
    )


def _tables(source: Path, name: str, keys: Collection[str]) -> tuple[Tables, list[Notice]]:
    """Read the tables, of a database only what they say of some map units."""
    if is_answer(source):
        return answer_tables(read_answer(source), source.name), []
    if is_database(source):
        return read_database_tables(source, keys), []
    return read_tables(source, name)


def _paired(
    polygons: Path, crs: str | None, bbox: Box | None
) -> tuple[gpd.GeoDataFrame, list[Notice]]:
    """Read a map that comes by itself."""
    with opened(polygons) as home:
        return read_map(find_parts(home).maps or [home], crs, bbox)


def _check_one_folder(maps: Sequence[Path], source: Path) -> None:
    if len({part.parent for part in maps}) > 1:
        the_one(maps, source)


def _areas(tables: Tables) -> list[str]:
    return sorted({row["areasymbol"] for row in tables.get("legend", [])} - {""})


def _vintages(answers: Sequence[Path]) -> list[Notice]:
    """Note which edition each survey area is, where an answer says it."""
    editions = {edition for path in answers for edition in vintages(read_answer(path))}
    in_order = sorted(editions, key=lambda edition: (edition.area, edition.refreshed or ""))
    return [vintage_notice(edition) for edition in in_order]


def _edition(tables: Path) -> str | None:
    """Which edition of the table layout a download has; None where it is no download."""
    if not tables.is_dir() or is_database(tables):
        return None
    files = {path.name.lower(): path for path in files_in(tables)}
    version = files.get("version.txt")
    if version is None:
        return "not stated"
    return quoted(head_of(version, 80).decode("utf-8", errors="replace").strip())


def _strangers(path: Path, mapped: Sequence[str], tabled: Sequence[str]) -> LayerError:
    return LayerError(
        f"The map and the tables of {path.name} are of different areas: the tables have none of "
        f"its map units. The map is of {', '.join(mapped) or 'an area that it does not say'}, "
        f"the tables of {', '.join(tabled) or 'one that they do not say'}.\n"
        "No soil would be known.\n"
        "Give the map and the tables of the same survey area."
    )


def _unknown(key: str) -> SoilFacts:
    named = f"map unit {key}" if key else "map unit without a key"
    return SoilFacts(
        ground="no data", named=named, notes=(notice("survey-unit-unknown", unit=named),)
    )
