"""The fields of a book, as they are listed and found."""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import shapely
import sqlalchemy as sa
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.book.database import Book
from zoneplan.book.inputs import Ground, supplies
from zoneplan.book.tables import boundaries, farms, growers, history, plans, states
from zoneplan.book.tables import fields as table
from zoneplan.errors import BookError, named, nearest, quoted
from zoneplan.units import HA_PER_ACRE


class State(StrEnum):
    """How far a field is in its season."""

    TO_PLAN = "to plan"
    PLANNED = "planned"
    REVIEWED = "reviewed"
    AGREED = "agreed"
    SENT = "sent"
    OUT_OF_DATE = "out of date"  # something that it was planned from has changed since


BY_HAND = (State.REVIEWED, State.AGREED, State.SENT)  # what a person says of a plan


@dataclass(frozen=True)
class BookField:
    """One field of a book in its season, as it is listed."""

    ground: Ground
    grower: str
    farm: str
    season: str
    area_ha: float
    state: State
    stood: State  # what was last said of it, though it may be out of date by now
    plan_id: int | None
    revision: int | None  # of its plan: it rises when a number changes
    who: str | None  # said so,
    at: str | None  # when,
    note: str | None  # and what besides
    fault: str | None  # why it could not be planned from what it is planned from now
    voided: Mapping[str, Any] | None  # an agreement that no longer holds, and what moved
    totals: Mapping[str, Any]  # of its plan; see `packed_plan.totals_of`
    inputs_sha256: str  # of what it is planned from now
    version: int  # rises with every change of its state

    @property
    def id(self) -> int:
        """Its number in the book."""
        return self.ground.field_id

    @property
    def name(self) -> str:
        """Its name, without grower and farm."""
        return self.ground.name

    @property
    def key(self) -> tuple[str, str, str]:
        """Grower, farm and name: by which the field is known outside the book."""
        return self.grower, self.farm, self.name

    @property
    def acres(self) -> float:
        """Its area. [acres]"""
        return self.area_ha / HA_PER_ACRE

    @property
    def path(self) -> str:
        """Grower, farm and field, as a person writes it."""
        return " / ".join(filter(None, (self.grower, self.farm, self.name)))


def fields(
    book: Book,
    *,
    grower: str | None = None,
    farm: str | None = None,
    field: str | None = None,
    state: Collection[State] = (),
) -> list[BookField]:
    """List the fields that are planted, by grower, farm and name.

    Parameters
    ----------
    grower, farm, field : str, optional
        Only theirs; names as the book has them.
    state : collection of State
        Only fields in one of these.

    Raises
    ------
    BookError
        When the book knows no such grower, farm or field.
    """
    with book.read() as connection:
        listed = listing(connection)
    listed = of_names(listed, grower=grower, farm=farm, name=field)
    return [one for one in listed if not state or one.state in state]


def mark_of(book: Book) -> tuple[int, int, int]:
    """Give three numbers, one of which rises with every change: of boundaries, events, states.

    Whoever remembers what a book holds asks for them first.
    """
    asked = (sa.func.max(boundaries.c.id), sa.func.max(history.c.id), sa.func.sum(states.c.version))
    with book.read() as connection:
        ground, events, standing = (connection.scalar(sa.select(one)) or 0 for one in asked)
    return int(ground), int(events), int(standing)


def find_field(book: Book, text: str) -> BookField:
    """Find one field: "#12", its number; "North 40", "Home / North 40", "Ann / Home / North 40".

    Raises
    ------
    BookError
        When there is none, or several are called so.
    """
    listed = fields(book)
    wanted = _plain(text)
    matching = [one for one in listed if wanted in (f"#{one.id}", *_names(one))]
    if len(matching) == 1:
        return matching[0]
    if not matching:
        near = nearest(text, [*{name for one in listed for name in (one.name, one.path)}])
        raise BookError(
            f"{book.address} has no field {quoted(text)}. {near}".rstrip() + "\nSee what there is.",
            code="book-no-field",
        )
    raise BookError(
        f"{book.address} has {len(matching)} fields {quoted(text)}: "
        f"{named(f'#{one.id} {one.path}' for one in matching)}.\n"
        "Say which: with its grower and farm, or by its number."
    )


def boundaries_of(book: Book, field_ids: Collection[int]) -> dict[int, Polygon | MultiPolygon]:
    """Give the boundaries that hold of several fields, in WGS 84 degrees, by field."""
    wanted = {*field_ids}
    with book.read() as connection:
        there = boundaries_in(connection)
    return {field_id: shape for field_id, (_, shape) in there.items() if field_id in wanted}


def boundaries_in(connection: sa.Connection) -> dict[int, tuple[str, Polygon | MultiPolygon]]:
    """Give all boundaries that hold, with their digests, by field."""
    asked = sa.select(table.c.id, boundaries.c.sha256, boundaries.c.shape)
    rows = connection.execute(asked.join(boundaries, _HOLDS)).all()
    shapes = shapely.from_wkb([row.shape for row in rows])
    return {row.id: (row.sha256, shape) for row, shape in zip(rows, shapes, strict=True)}


_OF_STATE = ("state", "plan_id", "who", "at", "note", "voided", "fault", "fault_sha256", "version")
_HOLDS = (boundaries.c.field_id == table.c.id) & (boundaries.c.version == table.c.version)


def listing(connection: sa.Connection, field_id: int | None = None) -> list[BookField]:
    """List all fields that are planted, or one of them; the doors use `fields`."""
    supply = supplies(connection)
    asked = (
        sa.select(
            table.c.id.label("field_id"),
            table.c.name,
            farms.c.id.label("farm_id"),
            farms.c.name.label("farm"),
            growers.c.id.label("grower_id"),
            growers.c.name.label("grower"),
            boundaries.c.id.label("boundary_id"),
            boundaries.c.sha256,
            boundaries.c.area_ha,
            boundaries.c.west,
            boundaries.c.south,
            boundaries.c.east,
            boundaries.c.north,
            *(states.c[name] for name in _OF_STATE),
            plans.c.revision,
            plans.c.inputs_sha256,
            plans.c.totals,
        )
        .join(farms, table.c.farm_id == farms.c.id)
        .join(growers, farms.c.grower_id == growers.c.id)
        .join(boundaries, _HOLDS)
        .outerjoin(
            states, (states.c.field_id == table.c.id) & (states.c.season_id == supply.season_id)
        )
        .outerjoin(plans, plans.c.id == states.c.plan_id)
        .where(table.c.gone_at.is_(None))
        .order_by(growers.c.name, farms.c.name, table.c.name)
    )
    if field_id is not None:
        asked = asked.where(table.c.id == field_id)
    listed = []
    for row in connection.execute(asked):
        place = Ground(
            row.field_id,
            row.farm_id,
            row.grower_id,
            row.name,
            row.boundary_id,
            row.sha256,
            (row.west, row.south, row.east, row.north),
        )
        digest = supply.inputs_of(place).sha256
        stood = State(row.state or State.TO_PLAN)
        late = row.plan_id is not None and row.inputs_sha256 != digest
        listed.append(
            BookField(
                ground=place,
                grower=row.grower,
                farm=row.farm,
                season=supply.season,
                area_ha=row.area_ha,
                state=State.OUT_OF_DATE if late else stood,
                stood=stood,
                plan_id=row.plan_id,
                revision=row.revision,
                who=row.who,
                at=row.at,
                note=row.note,
                fault=row.fault if row.fault_sha256 == digest else None,
                voided=json.loads(row.voided) if row.voided else None,
                totals=json.loads(row.totals) if row.totals else {},
                inputs_sha256=digest,
                version=row.version or 0,
            )
        )
    return listed


def field_in(connection: sa.Connection, field_id: int) -> BookField | None:
    """List one field; None where it is planted no more."""
    return next(iter(listing(connection, field_id=field_id)), None)


def of_names(listed: list[BookField], **wanted: str | None) -> list[BookField]:
    """Of these, the ones of a `grower`, `farm` or `name`.

    Raises
    ------
    BookError
        When there is none of that name.
    """
    for part, name in wanted.items():
        if name is None:
            continue
        there = {getattr(one, part) for one in listed}
        chosen = (
            name if name in there else {_plain(known): known for known in there}.get(_plain(name))
        )
        if chosen is None:
            what = "field" if part == "name" else part
            raise BookError(
                f"The book has no {what} {quoted(name)}. {nearest(name, there)}".rstrip()
                + f"\nThere is: {named(sorted(there)) or 'none'}."
            )
        listed = [one for one in listed if getattr(one, part) == chosen]
    return listed


def _plain(name: str) -> str:
    """A name as it is compared: in any case, with any spaces about its slashes."""
    return " / ".join(" ".join(part.split()) for part in name.casefold().split("/"))


def _names(field: BookField) -> tuple[str, ...]:
    parts = (field.name, field.farm, field.grower)
    ways = (parts[:1], parts[1::-1], (field.grower, field.name), parts[::-1])
    return tuple({_plain(" / ".join(filter(None, way))) for way in ways})
