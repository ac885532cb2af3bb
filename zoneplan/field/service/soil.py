"""The client of the public soil data service: from outlines to answers that every door reads.

One question after the other: how much it is, the map cut to the outline, which edition, and the
tables of the map units found. Many outlines share these: neighbours are asked about together,
tables and editions once for all, and a whole survey area comes as its download where many
fields lie in one.
"""

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

import shapely
from shapely.geometry import MultiPolygon

from zoneplan.errors import ServiceError, ZoneplanError
from zoneplan.field.service.answer import (
    Piece,
    Row,
    SurveyAnswer,
    area_pieces,
    area_rows,
    joined,
    opened_download,
    within,
    wkt_of,
)
from zoneplan.field.service.cache import Client
from zoneplan.field.service.ground import areas_of, asked_outline, groups_of, together
from zoneplan.field.service.protocol import DOWNLOADS, TABLE_COLUMNS, is_mukey
from zoneplan.field.service.questions import Questions, by_mukey
from zoneplan.field.shapes import Field
from zoneplan.field.survey.columns import Vintage
from zoneplan.progress import step

MANY_FIELDS = 50  # of one survey area: its download is then the smaller burden
VINTAGE_LASTS = timedelta(days=1)  # an edition is asked for again after


@dataclass(frozen=True)
class _Mapped:
    """The map of one outline, and when it was asked for."""

    pieces: tuple[Piece, ...]
    asked: datetime
    refreshed: Mapping[str, str]  # by area: the edition that it is of


_Tabled = tuple[list[Row], datetime] | ServiceError  # rows and when they were asked for


@dataclass
class SoilService(Client):
    """Asks the soil service; see `Client`, whose base is that of ZONEPLAN_SOIL_SERVICE."""

    def __post_init__(self) -> None:
        self._questions = Questions(self.caller, self.base)
        self._fresh: set[str] = set()  # keys that this run asked for itself
        self._vintages: dict[str, Vintage] = {}

    @property
    def host(self) -> str:
        """Whom it asks."""
        return self._questions.host

    def survey(self, field: Field) -> SurveyAnswer:
        """Ask about one field.

        Raises
        ------
        ServiceError
            When the outline cannot be asked about, the service gives no answer, or knows no
            ground there.
        """
        (answer,) = self.surveys([field])
        if isinstance(answer, ZoneplanError):
            raise answer
        return answer

    def surveys(self, fields: Sequence[Field]) -> list[SurveyAnswer | ZoneplanError]:
        """Ask about many fields, once for what they share.

        Call it only where a person asked for it by name: the fields' places leave the machine. For
        jobs `zoneplan.public.with_services` is the door to it.

        Returns
        -------
        list
            For each field, in order, its answer or the error that keeps it from one. An answer's
            `name` and `content` make an `Upload` that goes into `Sources.soils`.
        """
        answers: dict[int, SurveyAnswer | ZoneplanError] = {}
        outlines: dict[int, MultiPolygon] = {}
        maps: dict[int, _Mapped] = {}
        for number, field in enumerate(fields):
            try:
                outlines[number] = asked_outline(field)
                if (mapped := self._cached_map(outlines[number])) is not None:
                    maps[number] = mapped
            except ZoneplanError as error:
                answers[number] = error
        missing = {
            number: outline
            for number, outline in outlines.items()
            if number not in maps and number not in answers
        }
        if self.offline:
            answers |= {number: self._not_cached(fields[number].name) for number in missing}
        else:
            for numbers, mapped_or_not in self._maps(missing):
                if isinstance(mapped_or_not, ZoneplanError):
                    answers |= dict.fromkeys(numbers, mapped_or_not)
                else:
                    maps |= mapped_or_not
        tables = self._tables(maps.values())
        for number, mapped in maps.items():
            answers[number] = self._answer(fields[number], mapped, tables)
        return [answers[number] for number in range(len(fields))]

    # ---- the map -------------------------------------------------------------------------------

    def _maps(
        self, outlines: Mapping[int, MultiPolygon]
    ) -> Iterable[tuple[Sequence[int], dict[int, _Mapped] | ZoneplanError]]:
        """Ask for the maps of outlines, neighbours together."""
        groups = groups_of(outlines)
        downloads = self._downloads(groups, outlines) if len(outlines) >= MANY_FIELDS else {}
        for numbers in groups:
            ground = together(outlines[number] for number in numbers)
            step(f"Asking {self.host} for the soil map of {_counted(len(numbers))}")
            try:
                pieces = downloads.get(numbers)
                if pieces is None:
                    pieces = self._questions.map_of(ground)
                refreshed = self._refreshes({piece.area for piece in pieces})
            except ZoneplanError as error:
                yield numbers, error
                continue
            mapped = {}
            for number in numbers:
                own = within(pieces, outlines[number])
                areas = {piece.area for piece in own}
                dates = {area: day for area, day in refreshed.items() if area in areas}
                mapped[number] = _Mapped(tuple(own), self.now(), dates)
                if own:
                    self._keep_map(outlines[number], mapped[number])
            yield numbers, mapped

    # ---- editions ------------------------------------------------------------------------------

    def _refreshes(self, areas: Iterable[str]) -> dict[str, str]:
        """Tell when each area was refreshed."""
        wanted = sorted(areas)
        for area in wanted:
            entry = self._get(self._vintage_key(area), VINTAGE_LASTS)
            if entry and area not in self._vintages:
                self._vintages[area] = Vintage(**json.loads(entry[0]))
        missing = [area for area in wanted if area not in self._vintages]
        if missing and not self.offline:
            self._vintages |= self._questions.editions(missing)
            for area in missing:
                content = json.dumps(asdict(self._vintages[area])).encode()
                self._put(self._vintage_key(area), f"edition of {area}", content)
        return {area: self._edition(area).refreshed or "" for area in wanted}

    def _vintage_key(self, area: str) -> str:
        return f"vintage|{self._questions.base}|{area}"

    def _edition(self, area: str) -> Vintage:
        return self._vintages.get(area, Vintage(area))

    # ---- tables --------------------------------------------------------------------------------

    def _tables(self, maps: Iterable[_Mapped]) -> dict[str, _Tabled]:
        """Give the rows of all map units, those that are not kept from one question for all."""
        editions: dict[str, str] = {}
        for mapped in maps:
            for piece in mapped.pieces:
                editions[piece.mukey] = f"{piece.area} {mapped.refreshed.get(piece.area, '')}"
        tables: dict[str, _Tabled] = {}
        for mukey, edition in editions.items():
            if entry := self._get(self._table_key(mukey, edition)):
                tables[mukey] = [tuple(row) for row in json.loads(entry[0])], entry[1]
        missing = sorted(set(editions) - set(tables), key=int)
        if self.offline:
            return tables | {mukey: self._not_cached(f"map unit {mukey}") for mukey in missing}
        for mukey, rows in self._questions.tables(missing).items():
            if isinstance(rows, ServiceError):
                area, day = editions[mukey].split(" ")
                tables[mukey] = self._questions.with_download(rows, area, day)
            else:
                tables[mukey] = rows, self.now()
                self._keep_table(mukey, editions[mukey], rows)
        return tables

    # ---- whole areas ---------------------------------------------------------------------------

    def _downloads(
        self, groups: Sequence[tuple[int, ...]], outlines: Mapping[int, MultiPolygon]
    ) -> dict[tuple[int, ...], list[Piece]]:
        """Fetch the areas that many fields lie in, and give the map of each group within them.

        What cannot be fetched so is asked for like any other.
        """
        areas: dict[tuple[int, ...], frozenset[str]] = {}
        for numbers in groups:
            ground = together(outlines[number] for number in numbers)
            try:
                areas[numbers] = self._questions.areas_in(ground)
            except ZoneplanError:
                return {}
        counts: Counter[str] = Counter()
        for numbers, some in areas.items():
            counts.update(dict.fromkeys(some, len(numbers)))
        many = {area for area, count in counts.items() if count >= MANY_FIELDS}
        fetched = {area: pieces for area in sorted(many) if (pieces := self._area_pieces(area))}
        return {
            numbers: [piece for area in sorted(some) for piece in fetched[area]]
            for numbers, some in areas.items()
            if some and some <= fetched.keys()
        }

    def _area_pieces(self, area: str) -> list[Piece] | None:
        """Fetch a whole area, keep the tables of all its map units, and give its map."""
        try:
            day = self._refreshes([area])[area]
            content = self._download(area, day)
            with opened_download(content, f"{area}.zip") as home:
                pieces = area_pieces(home)
                rows = area_rows(home)
        except ZoneplanError:
            return None
        for mukey, some in by_mukey(rows).items():
            if is_mukey(mukey):
                self._keep_table(mukey, f"{area} {day}", some)
        return [piece for piece in pieces if piece.area == area and is_mukey(piece.mukey)]

    def _download(self, area: str, day: str) -> bytes:
        key = f"download|{self._questions.base}|{area}|{day}"
        if entry := self._get(key):
            return entry[0]
        content = self._questions.download(area, day)
        self._put(key, f"download of survey area {area}", content)
        return content

    # ---- the cache -----------------------------------------------------------------------------

    def _cached_map(self, outline: MultiPolygon) -> _Mapped | None:
        """The map of an outline from the cache, while its editions are still the newest."""
        entry = self._get(_map_key(self._questions.base, outline))
        if entry is None:
            return None
        document: dict[str, Any] = json.loads(entry[0])
        if self._refreshes(document["refreshed"]) != document["refreshed"] and not self.offline:
            return None
        pieces = (
            Piece(area, key, areas_of(shapely.from_wkt(wkt))) for area, key, wkt in document["map"]
        )
        return _Mapped(tuple(pieces), entry[1], document["refreshed"])

    def _keep_map(self, outline: MultiPolygon, mapped: _Mapped) -> None:
        document = {
            "refreshed": dict(mapped.refreshed),
            "map": [(piece.area, piece.mukey, wkt_of(piece.shape)) for piece in mapped.pieces],
        }
        what = f"soil map, {len(mapped.pieces)} polygons in {', '.join(sorted(mapped.refreshed))}"
        self._put(_map_key(self._questions.base, outline), what, json.dumps(document).encode())

    def _table_key(self, mukey: str, edition: str) -> str:
        return f"tables|{self._questions.base}|{','.join(TABLE_COLUMNS)}|{mukey}|{edition}"

    def _keep_table(self, mukey: str, edition: str, rows: Sequence[Row]) -> None:
        content = json.dumps(rows).encode()
        self._put(self._table_key(mukey, edition), f"tables of map unit {mukey}", content)

    def _get(self, key: str, lasts: timedelta | None = None) -> tuple[bytes, datetime] | None:
        if self.refresh and key not in self._fresh:
            return None
        entry = self.cache.get(key)
        old = entry and lasts and not self.offline and self.now() - entry.asked > lasts
        return None if entry is None or old else (entry.content, entry.asked)

    def _put(self, key: str, what: str, content: bytes) -> None:
        self._fresh.add(key)
        self.cache.put(key, what, content, self.now())

    def _not_cached(self, what: str) -> ServiceError:
        return ServiceError(
            f"The soils of {what} are not in the cache ({self.cache.folder}).\n"
            "Offline, nothing is asked.\n"
            f"Ask once while online. {DOWNLOADS}",
            code="service-offline",
        )

    # ---- the answer ----------------------------------------------------------------------------

    def _answer(
        self,
        field: Field,
        mapped: _Mapped,
        tables: Mapping[str, _Tabled],
    ) -> SurveyAnswer | ServiceError:
        if not mapped.pieces:
            return ServiceError(
                f"{self.host} knows no soil on {field.name}: it answers nothing at all.\n"
                "It is open water, or ground that no survey of the service maps.\n"
                "Check the boundary; else give a soil layer of your own.",
                code="service-no-ground",
            )
        rows: dict[str, list[Row]] = {}
        asked = mapped.asked
        for piece in mapped.pieces:
            table = tables[piece.mukey]
            if isinstance(table, ServiceError):
                return table
            rows[piece.mukey], asked = table[0], min(asked, table[1])
        editions = {piece.area: self._edition(piece.area) for piece in mapped.pieces}
        return joined(mapped.pieces, rows, editions, asked, self.host)


def _map_key(base: str, outline: MultiPolygon) -> str:
    return f"map|{base}|{shapely.to_wkb(outline, hex=True)}"


def _counted(fields: int) -> str:
    return "1 field" if fields == 1 else f"{fields} fields"
