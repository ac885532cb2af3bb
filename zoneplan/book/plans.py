"""The plans of a book: kept as they come, with their revisions; said of by people; read again.

What people say of a plan (reviewed, agreed, sent) holds for the numbers that they saw.
"""

import json
import zlib
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import shapely
import sqlalchemy as sa

from zoneplan import release
from zoneplan.book.database import Book, now
from zoneplan.book.fields import BY_HAND, BookField, State, field_in, find_field
from zoneplan.book.history import record
from zoneplan.book.inputs import Ground, season_of
from zoneplan.book.packed_plan import PackedPlan
from zoneplan.book.tables import plans as table
from zoneplan.book.tables import states, zones
from zoneplan.errors import MOST_TOLD, BookError, SavedError
from zoneplan.export.document import read_document
from zoneplan.export.load_plan import load_plan, restored
from zoneplan.export.schema import UnknownFormError
from zoneplan.plan.model import Plan
from zoneplan.request import Request
from zoneplan.store.changed_since_saved import changed_between
from zoneplan.store.request_json import request_document


@dataclass(frozen=True)
class Revision:
    """What became of a plan that was put into a book."""

    revision: int
    moved: tuple[str, ...]  # numbers that are other than they were, in words
    voided: State | None  # what was said of the former numbers, and holds no more


def keep_plan(
    connection: sa.Connection,
    ground: Ground,
    season_id: int,
    inputs_sha256: str,
    result: PackedPlan,
    *,
    request: Request,
    who: str,
) -> Revision:
    """Put a plan into the book, in a transaction that writes.

    With the numbers that it had it keeps its revision, and all that was said of it. With others it
    gets the next, and an agreement is void: what moved is told beside it.
    """
    place = (states.c.field_id == ground.field_id) & (states.c.season_id == season_id)
    stood = connection.execute(sa.select(states).where(place)).first()
    before = (
        stood and connection.execute(sa.select(table).where(table.c.id == stood.plan_id)).first()
    )
    values = {
        "field_id": ground.field_id,
        "season_id": season_id,
        "boundary_id": ground.boundary_id,
        "inputs_sha256": inputs_sha256,
        "numbers_sha256": result.numbers_sha256,
        "request": json.dumps(request_document(request), ensure_ascii=False),
        "document": result.document,
        "whole": result.whole,
        "totals": json.dumps(result.totals),
        "made_with": release(),
        "at": now(),
    }
    moved: list[str] = []
    voided = None
    changes: dict[str, Any] = {"fault": None, "fault_sha256": None}
    if before and before.numbers_sha256 == result.numbers_sha256:
        plan_id, revision = before.id, before.revision
        connection.execute(sa.update(table).where(table.c.id == plan_id).values(values))
        connection.execute(sa.delete(zones).where(zones.c.plan_id == plan_id))
    else:
        revision = _last_revision(connection, ground.field_id, season_id) + 1
        added = connection.execute(sa.insert(table).values({**values, "revision": revision}))
        (plan_id,) = added.inserted_primary_key or (None,)
        if before:
            moved = _moved(before.document, result.document)
            connection.execute(sa.update(table).where(table.c.id == before.id).values(whole=None))
            if stood and stood.state in BY_HAND:
                voided = State(stood.state)
                changes["voided"] = json.dumps(
                    {
                        "state": voided,
                        "who": stood.who,
                        "at": stood.at,
                        "revision": before.revision,
                        "moved": moved,
                    },
                    ensure_ascii=False,
                )
        changes |= {"state": State.PLANNED, "who": who, "at": now(), "note": None}
        changes |= {"numbers_sha256": result.numbers_sha256}
    connection.execute(
        sa.insert(zones),
        [dict(zip(zones.c.keys(), (plan_id, *cell), strict=True)) for cell in result.zones],
    )
    put_state(connection, ground.field_id, season_id, plan_id=plan_id, **changes)
    about = {"revision": revision, "moved": moved[:MOST_TOLD], "voided": voided}
    record(
        connection,
        "planned",
        who=who,
        field_id=ground.field_id,
        season_id=season_id,
        **{name: value for name, value in about.items() if value},
    )
    return Revision(revision, tuple(moved), voided)


def put_state(connection: sa.Connection, field_id: int, season_id: int, **changes: Any) -> None:
    """Change what is known of a field in a season, in a transaction that writes."""
    place = (states.c.field_id == field_id) & (states.c.season_id == season_id)
    known = sa.update(states).where(place).values({**changes, "version": states.c.version + 1})
    if connection.execute(known).rowcount == 0:
        first = {"state": State.TO_PLAN, **changes, "version": 1}
        first |= {"field_id": field_id, "season_id": season_id}
        connection.execute(sa.insert(states).values(first))


def record_state(
    book: Book,
    field: BookField | str,
    state: State,
    *,
    who: str,
    note: str = "",
    revision: int | None = None,
) -> BookField:
    """Say that a field's plan was reviewed, agreed to, or sent.

    Parameters
    ----------
    field : BookField or str
        The field, as it was listed when someone looked at it: nothing that another has said
        meanwhile is written over. Or its name, where nobody looked.
    state : State
        One of `BY_HAND`.
    who, note : str
        Who says so, and what he says besides.
    revision : int, optional
        Of the plan that he saw, as it is printed on his sheets.

    Returns
    -------
    BookField
        As it is listed now.

    Raises
    ------
    BookError
        When there is no plan, it is out of date or another than the one he saw, or someone has
        changed its state meanwhile.
    """
    if state not in BY_HAND:
        raise BookError(f"A plan is said to be {', '.join(BY_HAND)}, and not: {state}.")
    seen = find_field(book, field) if isinstance(field, str) else field
    with book.write() as connection:
        season_id, _ = season_of(connection)
        there = field_in(connection, seen.id)
        if there is None:
            raise BookError(f"{seen.path} is planted no more.\nIts history stays as it is.")
        _refuse_to_say(there, seen, state, revision, looked=not isinstance(field, str))
        put_state(
            connection,
            there.id,
            season_id,
            state=state,
            who=who,
            at=now(),
            note=note or None,
            voided=None,
        )
        record(
            connection,
            state,
            who=who,
            field_id=there.id,
            season_id=season_id,
            revision=there.revision,
            note=note,
            before=there.stood,
        )
        return field_in(connection, there.id) or there


def _refuse_to_say(
    there: BookField, seen: BookField, state: State, revision: int | None, *, looked: bool
) -> None:
    if there.revision is None:
        raise BookError(f"{there.path} has no plan yet.\nPlan it first.", code="book-to-plan")
    if revision is not None and revision != there.revision:
        raise BookError(
            f"{there.path}: revision {revision} was looked at, and {there.revision} holds now.\n"
            f"What was said of other numbers does not hold for these.\n"
            f"Look at revision {there.revision}, and say it of that."
        )
    if there.state is State.OUT_OF_DATE:
        raise BookError(
            f"{there.path} is out of date: what it is planned from has changed since.\n"
            f"Nobody should call such a plan {state}.\nPlan it again first.",
            code="book-to-plan",
        )
    if looked and there.version != seen.version:
        raise BookError(
            f"{there.path} has changed since you looked: it is {there.state}"
            + (f", by {there.who} at {there.at}" if there.who else "")
            + f", and was {seen.state}.\nNothing of that was written over. Look again, then say it."
        )


def plan_document(book: Book, plan_id: int) -> dict[str, Any]:
    """Give a plan as plan.json has it, whichever zoneplan made it.

    Raises
    ------
    BookError
        When the book has no such plan, or it is damaged.
    """
    row = _row(book, plan_id)
    try:
        return read_document(zlib.decompress(row.document))
    except (zlib.error, ValueError) as error:
        raise _unreadable(book, plan_id, error) from error


def plan_of(book: Book, plan_id: int) -> Plan:
    """Give a plan as it was made; where another release made it, its rules by their digest alone.

    Raises
    ------
    BookError
        When the book has no such plan, or it is damaged.
    """
    row = _row(book, plan_id)
    if row.whole is not None and row.made_with == release():
        with suppress(zlib.error, SavedError):  # plan.json says the same
            return load_plan(zlib.decompress(row.whole)).plan
    try:
        asked = sa.select(zones.c.number, zones.c.shape).where(zones.c.plan_id == plan_id)
        with book.read() as connection:
            shapes = {row.number: shapely.from_wkb(row.shape) for row in connection.execute(asked)}
        return restored(read_document(zlib.decompress(row.document)), shapes)
    except (zlib.error, ValueError, LookupError, TypeError) as error:
        raise _unreadable(book, plan_id, error) from error


def _moved(before: bytes, after: bytes) -> list[str]:
    try:
        documents = [read_document(zlib.decompress(packed)) for packed in (before, after)]
    except (zlib.error, ValueError):
        return ["The plan before it cannot be read: check every number."]
    return changed_between(*documents) or ["The outlines of its zones are others."]


def _last_revision(connection: sa.Connection, field_id: int, season_id: int) -> int:
    asked = sa.select(sa.func.max(table.c.revision)).where(
        (table.c.field_id == field_id) & (table.c.season_id == season_id)
    )
    return connection.execute(asked).scalar() or 0


def _row(book: Book, plan_id: int) -> sa.Row[Any]:
    with book.read() as connection:
        row = connection.execute(sa.select(table).where(table.c.id == plan_id)).first()
    if row is None:
        raise BookError(
            f"{book.address} has no plan {plan_id}.\nPlan the field.", code="book-to-plan"
        )
    return row


def _unreadable(book: Book, plan_id: int, error: Exception) -> BookError:
    if isinstance(error, UnknownFormError):
        return BookError(
            f"Plan {plan_id} of {book.address} cannot be read: {error}.\n"
            "Nothing was changed. Open it with the newer zoneplan, or plan the field again.",
            code="book-to-plan-again",
        )
    return BookError(
        f"Plan {plan_id} of {book.address} is damaged: it cannot be read.\nPlan the field again.",
        code="book-to-plan-again",
    )
