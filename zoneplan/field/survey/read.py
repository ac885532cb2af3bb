"""Read a USDA soil survey in any shape that people get it: its map, its tables, one SoilLayer."""

from collections.abc import Mapping, Sequence
from contextlib import ExitStack, suppress
from functools import cached_property
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from zoneplan.errors import LayerError, quoted
from zoneplan.field.crs import Box, box_in
from zoneplan.field.shapes import SoilLayer
from zoneplan.field.survey.answer import SHAPES, answer_tables, is_answer, read_answer, vintages
from zoneplan.field.survey.columns import (
    NEEDED,
    Grouped,
    Tables,
    grouped,
    rows_of,
    unsaid,
    vintage_notice,
)
from zoneplan.field.survey.database import is_database, read_database_tables
from zoneplan.field.survey.map_units import MapUnit, map_units, weigh
from zoneplan.field.survey.parts import SurveyMap, find_parts, opened, read_map, the_one
from zoneplan.field.survey.tables import check_numbers, read_tables
from zoneplan.notices import Notice, notice
from zoneplan.plain_file import MB, files_in, head_of
from zoneplan.soil.texture import SoilFacts

_BOTH = "The map says where a soil lies and the tables say what it is; we need both."


MOST_HELD_MB = 50  # of a map's file: a county's has 5 to 20
MUCH_PCT = 50.0  # of a map unit: a soil with as much is the one that it is named for


class Survey:
    """A soil survey that is opened once, and asked for the ground about one field after another.

    A zip is unpacked once, tables are taken apart once, and a map unit is weighed when the first
    field has it. Of the map only what lies about a field is read, so it stays on the disk, unless
    it is to be held: that is worth it from some dozen fields on.

    >>> with Survey("wss_SSA_IA015.zip") as survey:  # doctest: +SKIP
    ...     layers = [survey.around(field.box) for field in fields]

    Parameters
    ----------
    path : Path
        The download of a survey area, with `spatial` and `tabular`; the GeoPackage or file
        geodatabase of an area or a state; the JSON answer of the data-access service. By
        itself, or in a folder or zip, however deep. A folder may hold the tables as one of
        these and the map as another, and an answer that says which edition it is.
    crs : str, optional
        Coordinate system of its map, if the map states none.
    hold : bool
        Hold the map in memory, where it is one file of no more than MOST_HELD_MB.

    Raises
    ------
    LayerError
        When the map or the tables are missing, or there are several.
    """

    def __init__(self, path: Path, crs: str | None = None, *, hold: bool = False) -> None:
        self.path, self.crs = path, crs
        self._hold = hold
        self._facts: dict[str, SoilFacts] = {}  # by map unit
        self._bare: dict[str, tuple[str, ...]] = {}  # its soils without horizons
        self._open = ExitStack()
        with ExitStack() as opening:  # closed again where anything is wrong
            home = opening.enter_context(opened(self.path))
            parts = find_parts(home)
            if not (parts.maps or parts.tables):
                raise _no_survey(self.path)
            self._source = the_one(parts.tables, self.path)
            self._maps = parts.maps
            if len({part.parent for part in parts.maps}) > 1:
                the_one(parts.maps, self.path)
            if not parts.maps and self._source is not None:
                areas = _areas(_whole_tables(self._source, self.path.name)[0])
                raise _without_map(self.path.name, self._source, areas)
            self._vintages = _vintages(parts.vintages)
            self._open = opening.pop_all()

    def __enter__(self) -> "Survey":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give back what it was unpacked to."""
        self._open.close()

    def around(self, bbox: Box | None = None) -> SoilLayer:
        """Read the ground about a field, and weigh its map units into facts of the seed zone.

        Without a box all is read. Where nothing reaches into the box, all of a map in files is,
        so that it can be told how far away it lies; a database gives no polygons then.

        Raises
        ------
        LayerError
            When the map or a table is damaged, or they are of different areas.
        """
        ground, notes = self._map_about(bbox)
        if not ground.mukeys and not any(map(is_database, self._maps)):
            ground, notes = read_map(self._maps, self.crs)
        areas = sorted(set(ground.symbols) - {""})
        if self._source is None:
            raise _without_tables(self.path.name, self._maps, areas)
        keys = ground.mukeys
        tables, table_notes = self._weigh(list(dict.fromkeys(keys)), areas)
        bare = sorted({soil for key in set(keys) for soil in self._bare.get(key, ())})
        if bare:
            notes.append(notice("survey-without-horizons", soils=tuple(bare)))
        if not keys:
            notes.append(notice("survey-none-near"))
        return SoilLayer(
            name=", ".join(areas) or self.path.stem,
            kind="soil survey",
            ground=gpd.GeoDataFrame(
                {"facts": [self._facts[key] for key in keys]},
                geometry=ground.shapes,
                crs=ground.crs,
            ),
            notes=(self._layout, *notes, *table_notes, *self._vintages, *unsaid(tables)),
        )

    def _map_about(self, bbox: Box | None) -> tuple[SurveyMap, list[Notice]]:
        """The polygons of the map that reach into a box, as they lie in it."""
        if bbox is not None and self._whole_map is not None:
            whole, tree = self._whole_map
            if window := box_in(whole.crs, bbox):
                near = tree.query(shapely.box(*window), predicate="intersects")
                return whole.at(np.sort(near).tolist()), []
        return read_map(self._maps, self.crs, bbox)

    @cached_property
    def _whole_map(self) -> tuple[SurveyMap, shapely.STRtree] | None:
        """All of the map, where it may be held and is sound throughout; and what looks it up."""
        if not self._hold or len(self._maps) != 1:
            return None
        (file,) = self._maps
        if is_database(file) or is_answer(file) or file.stat().st_size > MOST_HELD_MB * MB:
            return None
        with suppress(LayerError):  # what is wrong far away is no fault of a field
            whole, _ = read_map(self._maps, self.crs)
            return whole, shapely.STRtree(whole.shapes)
        return None

    @cached_property
    def _whole(self) -> tuple[Tables, list[Notice]] | None:
        """All tables; None of a database, which is asked for some map units."""
        assert self._source is not None
        if is_database(self._source):
            return None
        return _whole_tables(self._source, self.path.name)

    @cached_property
    def _layout(self) -> Notice:
        """Which layout its tables have."""
        assert self._source is not None
        return notice("survey-lines", table_layout=_edition(self._source))

    @cached_property
    def _rows(self) -> Grouped:
        """The rows of all tables by the keys that lead to them."""
        assert self._whole is not None
        return grouped(self._whole[0])

    def _weigh(self, keys: Sequence[str], areas: Sequence[str]) -> tuple[Tables, list[Notice]]:
        """Weigh the map units that no field had before; give the tables, and notes on them."""
        assert self._source is not None
        fresh = [key for key in keys if key not in self._facts]
        if self._whole is None:
            tables, notes = read_database_tables(self._source, set(keys)), list[Notice]()
            part = rows_of(grouped(tables), fresh)
        else:
            tables, notes = self._whole
            part = rows_of(self._rows, fresh)
            check_numbers(part, self.path.name)
        units = map_units(part)
        if keys and not units and not any(key in self._bare for key in keys):
            raise _strangers(self.path, areas, _areas(tables))
        _check_components(self.path.name, units)
        for key, unit in units.items():
            self._facts[key], self._bare[key] = weigh(unit), tuple(_without_horizons(unit))
        for key in fresh:
            if key not in units:
                self._facts[key] = _unknown(key)
        return tables, list(notes)


def read_survey(path: Path, crs: str | None = None, *, bbox: Box | None = None) -> SoilLayer:
    """Read a soil survey for one field, or all of it; see `Survey`."""
    with Survey(path, crs) as survey:
        return survey.around(bbox)


def _check_components(name: str, units: Mapping[str, MapUnit]) -> None:
    bare = sorted(unit.symbol for unit in units.values() if not unit.components)
    if bare:
        raise LayerError(
            f"{name} tells of no component for the map units {', '.join(bare)}.\n"
            "Every map unit has at least one: the table of components is cut off.\n"
            "Download the survey area again, and keep its files as they come."
        )


def _without_horizons(unit: MapUnit) -> list[str]:
    """Which soils that make up much of a map unit have no horizons: a cut table is so."""
    return [
        f"{part.name} of {unit.symbol}"
        for part in unit.components
        if part.kind == "Series" and (part.percent or 0) >= MUCH_PCT and not part.horizons
    ]


def _without_map(name: str, tables: Path, symbols: Sequence[str]) -> LayerError:
    """Say which map is missing to tables, of the survey areas that they are of, where they say."""
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


def _without_tables(name: str, maps: Sequence[Path], symbols: Sequence[str]) -> LayerError:
    """Say which tables are missing to maps, of the survey areas that they are of."""
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


def _no_survey(path: Path) -> LayerError:
    return LayerError(
        f"{path.name} holds no soil survey.\n"
        "We looked for the download of a survey area, a GeoPackage or geodatabase with its "
        "tables, and an answer of the data-access service.\n"
        "Give one of these."
    )


def _whole_tables(source: Path, name: str) -> tuple[Tables, list[Notice]]:
    """Read all tables of a download, an answer or a database."""
    if is_answer(source):
        return answer_tables(read_answer(source), source.name), []
    if is_database(source):
        return read_database_tables(source, ()), []
    return read_tables(source, name)


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
