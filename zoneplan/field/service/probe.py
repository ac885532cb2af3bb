"""Try the real services, and report what was seen so that it can be sent to whoever maintains this.

It asks about one invented square of farmland, never about a person's field.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from urllib.parse import urlencode

from shapely.geometry import MultiPolygon, box

from zoneplan.errors import ServiceError, quoted
from zoneplan.field.crs import WGS_84, geodesic_area_ha, local_crs, move
from zoneplan.field.service.elevation import HeightService, is_tiff
from zoneplan.field.service.ground import tiles_of
from zoneplan.field.service.manners import Asking, Caller, Reply
from zoneplan.field.service.protocol import (
    AREAS_COLUMNS,
    FORMAT,
    MAP_COLUMNS,
    PATH,
    SIZE_COLUMNS,
    TABLE_COLUMNS,
    areas_query,
    asking_of,
    is_area,
    is_mukey,
    map_query,
    rows_of,
    size_query,
    tables_query,
    vintage_query,
)
from zoneplan.field.service.questions import Questions
from zoneplan.field.shapes import Field
from zoneplan.field.survey.columns import VINTAGE_COLUMNS

SQUARE = MultiPolygon([box(-93.602, 42.0, -93.598, 42.003)])  # Story County, Iowa
OCEAN = MultiPolygon([box(-60.002, 35.0, -60.0, 35.002)])
_SHOWN = 160  # letters of an answer
_HEIGHTS_M = 100.0  # of the square that heights are asked of


@dataclass(frozen=True)
class Trial:
    """One thing to try: what is asked, and what should come."""

    name: str
    asking: Asking
    expected: str
    sound: Callable[[Reply], str]  # what is wrong with an answer; nothing where nothing is


def probe(
    soil: Questions, heights: HeightService, caller: Caller, clock: Callable[[], float]
) -> Iterator[str]:
    """Try each question of ours once, and give a report line by line."""
    areas: list[str] = []
    mukeys: list[str] = []
    for trial in _first(soil):
        reply, lines = _tried(trial, caller, clock)
        yield from lines
        if reply is None:
            yield "more of soils: not tried"
            break
        if trial.name == "map":
            areas, mukeys = _keys(reply)
    if areas and mukeys:
        for trial in _second(soil, areas, mukeys):
            yield from _tried(trial, caller, clock)[1]
    else:
        yield "edition, tables: not tried, for no map named a survey area and map units"
    for trial in _heights(heights):
        reply, lines = _tried(trial, caller, clock)
        yield from lines
        if reply is None:
            yield "more of heights: not tried"
            return


def _first(soil: Questions) -> list[Trial]:
    asked, size = partial(asking_of, soil.base), size_query(SQUARE)
    form = Asking(
        soil.base + PATH,
        urlencode({"query": size, "format": FORMAT}).encode(),
        {"Content-Type": "application/x-www-form-urlencoded"},
    )
    bare = "SELECT nosuchcolumn FROM mapunit AS mu WHERE mu.mukey IN ('1')"
    return [
        Trial("size", asked(size), "one row", _counts),
        Trial("size, as a form", form, "one row", _rows(SIZE_COLUMNS, 1)),
        Trial("areas", asked(areas_query(SQUARE)), "rows", _rows(AREAS_COLUMNS)),
        Trial("map", asked(map_query(SQUARE)), "rows", _rows(MAP_COLUMNS)),
        Trial("open sea", asked(map_query(OCEAN)), "{}", _is("{}")),
        Trial("a wrong column", asked(bare), "ServiceException", _is("<ServiceException")),
        Trial("metadata", asked(size, f"{FORMAT}+METADATA"), "one row", _rows(SIZE_COLUMNS, 1)),
    ]


def _second(soil: Questions, areas: Sequence[str], mukeys: Sequence[str]) -> list[Trial]:
    asked = partial(asking_of, soil.base)
    edition, tables = vintage_query(areas[:1]), tables_query(mukeys)
    return [
        Trial("edition", asked(edition), "one row", _rows(VINTAGE_COLUMNS, 1)),
        Trial("tables", asked(tables), "rows", _rows(TABLE_COLUMNS)),
    ]


def _heights(heights: HeightService) -> list[Trial]:
    square = move(SQUARE, WGS_84, local_crs(SQUARE))
    field = Field("square", square, local_crs(SQUARE), geodesic_area_ha(square, local_crs(SQUARE)))
    first = tiles_of(field, 0)[0]

    def asked(side_m: float) -> Asking:
        square = replace(first, east=first.west + side_m, north=first.south + side_m)
        return Asking(heights.url(square))

    too_many = asked(9000 * first.cell_m)
    return [
        Trial("heights", asked(_HEIGHTS_M), "a GeoTIFF", _is_tiff),
        Trial("heights, too many", too_many, "a fault in JSON", _is('{"error"')),
    ]


def _tried(
    trial: Trial, caller: Caller, clock: Callable[[], float]
) -> tuple[Reply | None, list[str]]:
    start_s = clock()
    try:
        reply = caller.ask(trial.asking, lambda _: True)
    except ServiceError as error:
        return None, [f"{trial.name}: NOT ANSWERED: {error}".replace("\n", " ")]
    fault = trial.sound(reply)
    verdict = f"as expected: {trial.expected}"
    if fault:
        verdict = f"NOT AS EXPECTED ({trial.expected}): {fault}"
    return reply, [
        f"{trial.name}: {verdict}",
        f"    status {reply.status}, {quoted(reply.content_type)}, {len(reply.body):,} bytes, "
        f"{clock() - start_s:.1f} s",
        f"    {quoted(reply.body[:_SHOWN].decode('utf-8', errors='replace'), _SHOWN)}",
    ]


def _rows(columns: Sequence[str], count: int | None = None) -> Callable[[Reply], str]:
    def sound(reply: Reply) -> str:
        try:
            rows = rows_of(reply, columns)
        except ServiceError as error:
            return str(error).partition("\n")[0]
        if not rows:
            return "no rows"
        return "" if count in (None, len(rows)) else f"{len(rows)} rows"

    return sound


def _counts(reply: Reply) -> str:
    """What is wrong with a size: one of no polygons would mean that outlines are not understood."""
    wrong = _rows(SIZE_COLUMNS, 1)(reply)
    return wrong or ("no polygons" if rows_of(reply, SIZE_COLUMNS)[0][0] == "0" else "")


def _is(start: str) -> Callable[[Reply], str]:
    def sound(reply: Reply) -> str:
        text = reply.body.decode("utf-8", errors="replace")
        there = text.strip() == start if start == "{}" else start in text.replace(" ", "")
        return "" if there else "something else"

    return sound


def _is_tiff(reply: Reply) -> str:
    return "" if is_tiff(reply) else "no GeoTIFF"


def _keys(reply: Reply) -> tuple[list[str], list[str]]:
    """The survey areas and map units of a map, those that are keys: others go into no query."""
    try:
        rows = rows_of(reply, MAP_COLUMNS)
    except ServiceError:
        return [], []
    areas, mukeys = ({str(row[at]) for row in rows} for at in (0, 1))
    return sorted(filter(is_area, areas)), sorted(filter(is_mukey, mukeys))
