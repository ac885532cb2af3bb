"""The questions that the soil service is asked, one after the other, and what comes of each."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import shapely
from shapely.geometry import MultiPolygon

from zoneplan.errors import ServiceError, ZoneplanError, quoted
from zoneplan.field.service.answer import Piece, Row, download_path
from zoneplan.field.service.ground import areas_of, halves_of
from zoneplan.field.service.manners import DOWN, PROBE, SOIL_SERVICE, Asking, Caller, Reply, host_of
from zoneplan.field.service.protocol import (
    AREAS_COLUMNS,
    DOWNLOADS,
    MAP_COLUMNS,
    SIZE_COLUMNS,
    TABLE_COLUMNS,
    Cell,
    HalfAnswerError,
    TooMuchError,
    areas_query,
    asking_of,
    is_area,
    is_last_word,
    is_mukey,
    map_query,
    rows_of,
    size_query,
    tables_query,
    vintage_query,
)
from zoneplan.field.survey.columns import VINTAGE_COLUMNS, Vintage
from zoneplan.progress import step

DOWNLOAD_SERVICE = "https://websoilsurvey.sc.egov.usda.gov"
MOST_KEYS = 500  # map units, or survey areas, of one question
MOST_POINTS = 25_000  # corners of the polygons of one question: more comes too slowly
MOST_HALVINGS = 4  # of an outline that is too much
MOST_DOWNLOAD_MB = 400.0


class Questions:
    """Asks the soil service, and presses it no further once it was found to be down.

    The base is its address; else what ZONEPLAN_SOIL_SERVICE names, else the service's own. One that
    is no address is a ServiceError.
    """

    def __init__(self, caller: Caller, base: str = "") -> None:
        self.base = base or SOIL_SERVICE.base()
        self.download_base = DOWNLOAD_SERVICE if self.base == SOIL_SERVICE.own else self.base
        self._caller = caller
        self._down: ServiceError | None = None

    @property
    def host(self) -> str:
        """Whom it asks."""
        return host_of(self.base)

    def areas_in(self, outline: MultiPolygon) -> frozenset[str]:
        """Ask which survey areas reach into an outline.

        Raises
        ------
        ServiceError
            When the service gives no answer.
        """
        rows = self._rows(areas_query(outline), AREAS_COLUMNS)
        return frozenset(str(area) for area, _ in rows if is_area(area))

    def editions(self, areas: Sequence[str]) -> dict[str, Vintage]:
        """Ask for the editions of survey areas; of one that it does not know, nothing but its name.

        Raises
        ------
        ServiceError
            When the service gives no answer.
        """
        editions = {area: Vintage(area) for area in areas}
        for some in _lists(areas):
            step(f"Asking {self.host} for the edition of", ", ".join(some[:5]))
            rows = self._rows(vintage_query(some), VINTAGE_COLUMNS)
            editions |= {str(row[0]): Vintage(str(row[0]), *row[1:]) for row in rows}
        return editions

    def tables(self, mukeys: Sequence[str]) -> dict[str, list[Row] | ServiceError]:
        """Ask for the rows of map units; for each, these or why there are none."""
        tables: dict[str, list[Row] | ServiceError] = {}
        for some in _lists(mukeys):
            step(f"Asking {self.host} for the tables of {len(some)} map units")
            try:
                rows = by_mukey(self._table_rows(some))
            except ServiceError as error:
                tables |= dict.fromkeys(some, error)
            else:
                tables |= {mukey: rows.get(mukey) or self._unit_lost(mukey) for mukey in some}
        return tables

    def download(self, area: str, day: str) -> bytes:
        """Fetch the download of a survey area, a zip.

        Raises
        ------
        ZoneplanError
            When there is none of that day.
        """
        step("Downloading survey area", area)
        url = self.download_base + download_path(area, day)
        reply = self._caller.ask(Asking(url, most_mb=MOST_DOWNLOAD_MB))
        if reply.status != 200 or not reply.body.startswith(b"PK"):
            raise ServiceError(
                f"{reply.host} gives no download of {area} of {day} (status {reply.status}).\n"
                "Its fields are asked for one by one instead.",
                code="service-down",
            )
        return reply.body

    def with_download(self, error: ServiceError, area: str, day: str) -> ServiceError:
        """Add to an error where the download of an area lies."""
        try:
            address = self.download_base + download_path(area, day)
        except ZoneplanError:
            return error
        return ServiceError(f"{error}\nIts download: {address}", code=error.code)

    def _rows(self, query: str, columns: Sequence[str]) -> list[Row]:
        """Send one query and give its rows; a cut answer is asked for once more."""
        asking = asking_of(self.base, query)
        if self._down is not None:
            raise self._down
        try:
            try:
                return rows_of(self._reply(asking), columns)
            except HalfAnswerError:
                return rows_of(self._reply(asking), columns)
        except ServiceError as error:
            if error.code in DOWN:
                self._down = error
            raise

    def _reply(self, asking: Asking) -> Reply:
        try:
            return self._caller.ask(asking, is_last_word)
        except ServiceError as error:
            if error.code in ("service-hangs", "service-slow", "service-busy"):
                raise ServiceError(f"{error}\n{DOWNLOADS}", code=error.code) from error
            raise

    def map_of(self, outline: MultiPolygon, halvings: int = 0) -> list[Piece]:
        """Ask for the map of an outline; in halves, where that is too much at once.

        Raises
        ------
        ServiceError
            When the service gives none that can be trusted.
        """
        try:
            sizes = self._rows(size_query(outline), SIZE_COLUMNS)
            count, corners = map(self._whole, sizes[0]) if sizes else (0, 0)
            if not count:
                return []
            slow = corners > MOST_POINTS and halvings < MOST_HALVINGS
            rows = [] if slow else self._rows(map_query(outline), MAP_COLUMNS)
        except TooMuchError:
            if halvings == MOST_HALVINGS:
                raise
            slow = True
        if slow:
            halves = halves_of(outline)
            return [piece for half in halves for piece in self.map_of(half, halvings + 1)]
        if len(rows) < count:
            raise ServiceError(
                f"{self.host} has {count:,} polygons there and gives {len(rows):,}.\n"
                "Half a map would leave ground without soil, so nothing of it was taken.\n"
                f"Try again in 15 minutes. {DOWNLOADS}",
                code="service-cut-off",
            )
        return [piece for row in rows if (piece := self._piece(row)) is not None]

    def _whole(self, cell: Cell) -> int:
        if cell is None:
            return 0
        if not cell.isdecimal():
            raise ServiceError(
                f"{self.host} counts {quoted(cell)} polygons or corners.\n"
                "That is no number, and nothing more was asked.\n" + PROBE,
                code="service-strange",
            )
        return int(cell)

    def _piece(self, row: Row) -> Piece | None:
        """Read one polygon; None where its cut left no ground."""
        area, mukey, *_, text = row
        if not is_area(area) or not is_mukey(mukey):
            raise ServiceError(
                f"{self.host} gives keys of another kind than it is known to: {quoted(area)}, "
                f"{quoted(mukey)}.\n"
                "Nothing more was asked, for a question is made of keys that are known.\n" + PROBE,
                code="service-strange",
            )
        try:
            shape = areas_of(shapely.from_wkt(str(text)))
        except shapely.GEOSException as error:
            raise ServiceError(
                f"{self.host} gives a polygon of map unit {mukey} that cannot be read.\n"
                f"Nothing of the map was taken. Try again in 15 minutes. {DOWNLOADS}",
                code="service-strange",
            ) from error
        return Piece(str(area), str(mukey), shape) if shape.area else None

    def _table_rows(self, mukeys: Sequence[str]) -> list[Row]:
        """Ask for the rows of some map units; in halves, where they are too much at once."""
        try:
            return self._rows(tables_query(mukeys), TABLE_COLUMNS)
        except TooMuchError:
            if len(mukeys) == 1:
                raise
        half = len(mukeys) // 2
        return [*self._table_rows(mukeys[:half]), *self._table_rows(mukeys[half:])]

    def _unit_lost(self, mukey: str) -> ServiceError:
        return ServiceError(
            f"{self.host} gives no tables of map unit {mukey}, which its own map shows.\n"
            "A survey with holes would put wrong soils into zones.\n"
            f"Try again in 15 minutes. {DOWNLOADS}",
            code="service-cut-off",
        )


def by_mukey(rows: Iterable[Row]) -> dict[str, list[Row]]:
    """Part rows of tables by their map unit."""
    place = TABLE_COLUMNS.index("mukey")
    tables: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        tables[str(row[place])].append(row)
    return tables


def _lists(keys: Sequence[Any]) -> list[list[Any]]:
    return [list(keys[first : first + MOST_KEYS]) for first in range(0, len(keys), MOST_KEYS)]
