"""What the soil service is asked and what it answers: its language, both ways.

A question is text made of numbers and checked keys, of nothing else, for the service takes no
bound parameters. So a key goes in only where it is one, an outline only as coordinates, and
nothing that a file or a person wrote comes near a query.

Of what it answers each fault is told for what it is. Its own come as XML with any status, its
time-out as one that looks like success, its maintenance as a web page, and ground that it does
not know as an empty answer.

Source
------
Tables and functions of the service as its public documentation and public clients have them;
none of these was sent to the live service when it was written.
"""

import html
import json
import re
from collections.abc import Callable, Iterable, Sequence

from shapely.geometry import MultiPolygon

from zoneplan.errors import ServiceError, quoted
from zoneplan.field.service.ground import DECIMALS
from zoneplan.field.service.manners import LATER, PROBE, Asking, Reply

Cell = str | None
PATH = "/Tabular/post.rest"
FORMAT = "JSON+COLUMNNAME"
_MUKEY = re.compile(r"[0-9]{1,12}")
_AREA = re.compile(r"[A-Z]{2}[0-9]{3}")
MAP_COLUMNS = ("areasymbol", "mukey", "musym", "muname", "mupolygonkey", "geom")
TABLE_COLUMNS = (
    *("areasymbol", "mukey", "musym", "muname", "cokey", "compname", "comppct_r", "compkind"),
    *("majcompflag", "drainagecl", "hydgrp", "taxorder", "slope_r", "chkey", "hzname", "hzdept_r"),
    *("hzdepb_r", "sandtotal_r", "silttotal_r", "claytotal_r", "om_r", "dbthirdbar_r"),
    *("dbovendry_r", "ll_r", "pi_r", "wtenthbar_r", "wthirdbar_r", "wfifteenbar_r", "lep_r"),
    *("fraggt10_r", "frag3to10_r", "chfragskey", "fragvol_r"),
)
SIZE_COLUMNS = ("polygons", "points")
AREAS_COLUMNS = ("areasymbol", "polygons")
_OWNERS = {
    **{"areasymbol": "l", "mukey": "mu", "musym": "mu", "muname": "mu"},
    **{"chkey": "h", "chfragskey": "f", "fragvol_r": "f"},
}
_OF_COMPONENT = (*TABLE_COLUMNS[4:13],)
MOST_ROWS = 100_000  # the service's own limit: an answer that reaches it may be cut there
_FAULT = re.compile(r"<ServiceException\b[^>]*>(.*?)</ServiceException>", re.S)
_TOO_MUCH = ("timed out", "maxjsonlength", "ran out of internal resources")
_MAINTENANCE = "maintenance"
_TAGS = re.compile(r"<(script|style)\b.*?</\1\s*>|<[^>]*>", re.S | re.I)
DOWNLOADS = (
    "Or download the survey area (https://websoilsurvey.sc.egov.usda.gov, by county) and give its "
    "zip, wss_SSA_....zip, as a soil layer as it comes."
)


class HalfAnswerError(ServiceError):
    """An answer that ends in its middle."""


class TooMuchError(ServiceError):
    """The service says that a question is too much for it: ask for less."""


def asking_of(base: str, query: str, form: str = FORMAT) -> Asking:
    """Put a query into a request to the service at a base address."""
    return Asking(
        base + PATH,
        json.dumps({"format": form, "query": query}).encode(),
        {"Content-Type": "application/json", "Accept": "application/json"},
    )


def is_mukey(text: object) -> bool:
    """Whether a text is the key of a map unit."""
    return isinstance(text, str) and _MUKEY.fullmatch(text) is not None


def is_area(text: object) -> bool:
    """Whether a text is the symbol of a survey area.

    >>> is_area("IA073"), is_area("IA073'; --")
    (True, False)
    """
    return isinstance(text, str) and _AREA.fullmatch(text) is not None


def size_query(outline: MultiPolygon) -> str:
    """Ask how many polygons reach into an outline, and how many corners they have."""
    return (
        "SELECT COUNT(*) AS polygons, SUM(p.mupolygongeo.STNumPoints()) AS points\n"
        "FROM mupolygon AS p\n"
        f"WHERE {_meets(outline)}"
    )


def areas_query(outline: MultiPolygon) -> str:
    """Ask which survey areas reach into an outline."""
    return (
        "SELECT p.areasymbol, COUNT(*) AS polygons\n"
        "FROM mupolygon AS p\n"
        f"WHERE {_meets(outline)}\n"
        "GROUP BY p.areasymbol\n"
        "ORDER BY p.areasymbol"
    )


def map_query(outline: MultiPolygon) -> str:
    """Ask for the map units within an outline, cut to it, each polygon a row."""
    return (
        "SELECT p.areasymbol, p.mukey, mu.musym, mu.muname, p.mupolygonkey,\n"
        f"  p.mupolygongeo.STIntersection({_geometry(outline)}).STAsText() AS geom\n"
        "FROM mupolygon AS p\n"
        "INNER JOIN mapunit AS mu ON mu.mukey = p.mukey\n"
        f"WHERE {_meets(outline)}\n"
        "ORDER BY p.mupolygonkey"
    )


def tables_query(mukeys: Sequence[str]) -> str:
    """Ask for map units with their components, horizons and kinds of fragments, joined."""
    columns = ", ".join(f"{_owner(name)}.{name}" for name in TABLE_COLUMNS)
    return (
        f"SELECT {columns}\n"
        "FROM legend AS l\n"
        "INNER JOIN mapunit AS mu ON mu.lkey = l.lkey\n"
        "LEFT JOIN component AS c ON c.mukey = mu.mukey\n"
        "LEFT JOIN chorizon AS h ON h.cokey = c.cokey\n"
        "LEFT JOIN chfrags AS f ON f.chkey = h.chkey\n"
        f"WHERE mu.mukey IN ({_keys(mukeys, is_mukey)})\n"
        "ORDER BY mu.mukey, c.cokey, h.hzdept_r, h.chkey, f.chfragskey"
    )


def vintage_query(areas: Sequence[str]) -> str:
    """Ask for the version of survey areas, and the day each was refreshed."""
    return (
        "SELECT s.areasymbol, s.areaname, s.saversion,\n"
        "  CONVERT(char(10), s.saverest, 23) AS saverest, l.projectscale\n"
        "FROM sacatalog AS s\n"
        "LEFT JOIN legend AS l ON l.areasymbol = s.areasymbol\n"
        f"WHERE s.areasymbol IN ({_keys(areas, is_area)})\n"
        "ORDER BY s.areasymbol"
    )


def wkt(outline: MultiPolygon) -> str:
    """Write an outline as the service reads it: longitude first, in digits alone.

    >>> from shapely.geometry import box
    >>> wkt(MultiPolygon([box(-93.5, 42, -93.4, 42.1)]))
    'POLYGON ((-93.4 42, -93.4 42.1, -93.5 42.1, -93.5 42, -93.4 42))'
    """
    parts = [
        ", ".join(_ring(ring.coords) for ring in (part.exterior, *part.interiors))
        for part in outline.geoms
    ]
    if len(parts) == 1:
        return f"POLYGON ({parts[0]})"
    return f"MULTIPOLYGON ({', '.join(f'({part})' for part in parts)})"


def _ring(corners: Iterable[Sequence[float]]) -> str:
    return f"({', '.join(f'{_digits(x)} {_digits(y)}' for x, y, *_ in corners)})"


def _digits(degrees: float) -> str:
    """A number without an exponent, which some readers of such text do not know."""
    text = f"{degrees:.{DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _meets(outline: MultiPolygon) -> str:
    return f"p.mupolygongeo.STIntersects({_geometry(outline)}) = 1"


def _geometry(outline: MultiPolygon) -> str:
    """The outline, written out each time: the service refuses DECLARE."""
    return f"geometry::STGeomFromText('{wkt(outline)}', 4326).MakeValid()"


def _owner(name: str) -> str:
    return _OWNERS.get(name, "c" if name in _OF_COMPONENT else "h")


def _keys(keys: Sequence[str], check: Callable[[object], bool]) -> str:
    if not keys or not all(map(check, keys)):
        raise ValueError("only checked keys go into a query")
    return ", ".join(f"'{key}'" for key in keys)


def is_last_word(reply: Reply) -> bool:
    """Whether a status that says "busy" stands over an answer that asking again won't change."""
    text = _text(reply)
    return _FAULT.search(text) is not None or (_is_page(text) and _MAINTENANCE in text.lower())


def rows_of(reply: Reply, columns: Sequence[str]) -> list[tuple[Cell, ...]]:
    """Give the rows of an answer in `JSON+COLUMNNAME`, each with the columns that were asked for.

    No rows where the service knows no ground there.

    Raises
    ------
    TooMuchError
        When it says that less should be asked.
    HalfAnswerError
        When it ends in its middle.
    ServiceError
        When the service is down, refuses the question or answers another one.
    """
    text = _text(reply)
    if fault := _FAULT.search(text):
        raise _of_service(reply.host, html.unescape(fault[1]).strip())
    if _is_page(text) or text.startswith("<"):
        raise _down(reply.host, text)
    if reply.status >= 400:
        raise ServiceError(
            f"{reply.host} answers with status {reply.status}: {quoted(text.strip()) or 'nothing'}."
            f"\nThat is none of the answers that it is known to give.\n{LATER} {DOWNLOADS}",
            code="service-down",
        )
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        if text.lstrip().startswith("{"):
            raise HalfAnswerError(
                f"The answer of {reply.host} is cut off or damaged: {quoted(error)}.\n"
                "Half an answer would put wrong soils into zones, so nothing of it was taken.\n"
                f"{LATER} {DOWNLOADS}",
                code="service-cut-off",
            ) from error
        raise _down(reply.host, text) from error
    if document == {}:
        return []
    rows = document.get("Table") if isinstance(document, dict) else None
    if not isinstance(rows, list) or len(document) != 1 or not rows:
        raise _strange(reply.host, "it has no Table of rows")
    return _checked(rows, columns, reply.host)


def _checked(rows: list[object], columns: Sequence[str], host: str) -> list[tuple[Cell, ...]]:
    """Rows without their heads, once they are what was asked for."""
    head = rows[0] if isinstance(rows[0], list) else []
    names = [str(name).lower() for name in head]
    if sorted(names) != sorted(columns):
        raise _strange(host, f"its columns are {quoted(', '.join(names)) or 'not named'}")
    places = [names.index(name) for name in columns]
    second = rows[1] if len(rows) > 1 else None
    first = 2 if isinstance(second, list) and second and all(map(_describes, second)) else 1
    cells: list[tuple[Cell, ...]] = []
    for row in rows[first:]:
        if not isinstance(row, list) or len(row) != len(names):
            raise _strange(host, f"a row has not the {len(names)} values of its columns")
        cells.append(tuple(_cell(row[place]) for place in places))
    if len(cells) >= MOST_ROWS:
        raise TooMuchError(
            f"{host} gives {len(cells):,} rows, its limit: the rest may be missing.\n"
            "Ask for less ground.",
            code="service-too-much",
        )
    return cells


def _describes(cell: object) -> bool:
    """Whether a cell describes its column, as a second row of heads has it."""
    return isinstance(cell, str) and "ColumnOrdinal=" in cell


def _cell(value: object) -> Cell:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return str(value)
    return str(value).strip()


def _of_service(host: str, words: str) -> ServiceError:
    """Tell a fault that the service tells itself."""
    if any(part in words.lower() for part in _TOO_MUCH):
        return TooMuchError(
            f"{host} says that the question is too much for it: {quoted(words, 200)}\n"
            f"It was cut and halved, and still was too much. {LATER} {DOWNLOADS}",
            code="service-too-much",
        )
    return ServiceError(
        f"{host} refuses the question: {quoted(words, 200)}\n"
        "It may have changed since this zoneplan was written: asking again will not help.\n"
        f"{PROBE} {DOWNLOADS}",
        code="service-refuses",
    )


def _down(host: str, text: str) -> ServiceError:
    """Tell that a page came where an answer should."""
    words = " ".join(_TAGS.sub(" ", text).split())
    maintained = _MAINTENANCE in words.lower()
    why = (
        "It is under maintenance, as it is for a while each night after midnight, US Central time"
        if maintained
        else "It is down, or a network that wants a log-in stands between"
    )
    return ServiceError(
        f"{host} answers with a page in place of soils: {quoted(html.unescape(words), 200)}\n"
        f"{why}.\n{LATER} {DOWNLOADS}",
        code="service-maintenance" if maintained else "service-down",
    )


def _strange(host: str, why: str) -> ServiceError:
    return ServiceError(
        f"{host} does not answer what was asked: {why}.\n"
        "It may have changed since this zoneplan was written, and nothing of it was taken.\n"
        f"{PROBE} {DOWNLOADS}",
        code="service-strange",
    )


def _is_page(text: str) -> bool:
    start = text[:2000].lstrip().lower()
    return start.startswith("<!doctype html") or "<html" in start


def _text(reply: Reply) -> str:
    return reply.body.decode("utf-8-sig", errors="replace")
