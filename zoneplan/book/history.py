"""The history of a book: what was done, when and by whom. It is only ever added to."""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from zoneplan.book.database import Book, now
from zoneplan.book.tables import farms, fields, growers, seasons
from zoneplan.book.tables import history as table


@dataclass(frozen=True)
class Event:
    """One thing that was done."""

    number: int
    at: str  # UTC, ISO 8601
    who: str
    did: str  # "planned", "agreed", "soil added"
    grower: str | None
    farm: str | None
    field: str | None
    season: str | None
    what: Mapping[str, Any]  # by what it was


def record(
    connection: sa.Connection,
    did: str,
    *,
    who: str,
    grower_id: int | None = None,
    field_id: int | None = None,
    season_id: int | None = None,
    **what: Any,
) -> None:
    """Add one thing to the history, in the transaction that does it."""
    connection.execute(
        sa.insert(table).values(
            at=now(),
            who=who,
            grower_id=grower_id,
            field_id=field_id,
            season_id=season_id,
            did=did,
            what=json.dumps(what, ensure_ascii=False),
        )
    )


def history(book: Book, field_id: int | None = None, latest: int | None = None) -> list[Event]:
    """Tell what was done, the oldest first: in the whole book, or to one field.

    `latest` bounds it to so many that came last.
    """
    asked = (
        sa.select(
            table.c.id,
            table.c.at,
            table.c.who,
            table.c.did,
            growers.c.name,
            farms.c.name,
            fields.c.name,
            seasons.c.name,
            table.c.what,
        )
        .select_from(table)
        .outerjoin(fields, table.c.field_id == fields.c.id)
        .outerjoin(farms, fields.c.farm_id == farms.c.id)
        .outerjoin(growers, growers.c.id == sa.func.coalesce(farms.c.grower_id, table.c.grower_id))
        .outerjoin(seasons, table.c.season_id == seasons.c.id)
        .order_by(table.c.id.desc())
        .limit(latest)
    )
    if field_id is not None:
        asked = asked.where(table.c.field_id == field_id)
    with book.read() as connection:
        rows = connection.execute(asked).all()
    return [_event(*row) for row in reversed(rows)]


def last_set(
    connection: sa.Connection, season_id: int, scope: str, names: Collection[str]
) -> dict[str, tuple[str, str]]:
    """Tell of values that are set for a scope who set each of them last, and when."""
    asked = (
        sa.select(table.c.who, table.c.at, table.c.what)
        .where((table.c.did == "set") & (table.c.season_id == season_id))
        .order_by(table.c.id.desc())
    )
    last: dict[str, tuple[str, str]] = {}
    for row in connection.execute(asked) if names else ():
        what = json.loads(row.what)
        if what["scope"] == scope:
            for name in {*names} & {*what["changes"]} - {*last}:
                last[name] = row.who, row.at
        if len(last) == len(names):
            break
    return last


def _event(number: int, at: str, who: str, did: str, *named: str | None) -> Event:
    grower, farm, field, season, what = named
    return Event(number, at, who, did, grower, farm, field, season, json.loads(what or "{}"))
