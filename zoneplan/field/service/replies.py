"""Read what the soil service answers, and tell each fault of it for what it is.

Its own faults come as XML with any status, its time-out as one that looks like success, its
maintenance as a web page, and ground that it does not know as an empty answer.
"""

import html
import json
import re
from collections.abc import Sequence

from zoneplan.errors import ServiceError, quoted
from zoneplan.field.service.manners import LATER, PROBE, Reply

MOST_ROWS = 100_000  # the service's own limit: an answer that reaches it may be cut there
Cell = str | None
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
