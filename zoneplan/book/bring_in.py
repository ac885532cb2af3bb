"""Bring the fields of a file into a book: what was looked over, and what of it holds.

A file is brought again next year: what is new, moved, renamed or gone is told, and nothing that was
planned or agreed is lost.
"""

from typing import Any

import shapely
import sqlalchemy as sa

from zoneplan.book.database import Book, now
from zoneplan.book.fields import listing
from zoneplan.book.history import record
from zoneplan.book.look_over import Delivery
from zoneplan.book.outlines import Outline
from zoneplan.book.tables import boundaries, farms, growers
from zoneplan.book.tables import fields as table
from zoneplan.errors import BookError, named


def bring_in(
    book: Book, delivery: Delivery, *, who: str, leave_out: bool = False, gone: bool = False
) -> int:
    """Keep what was looked over. Give how many fields are new or other than they were.

    Parameters
    ----------
    leave_out : bool
        Keep the rest where some outlines have problems; else nothing is kept then.
    gone : bool
        Whether fields that the file does not hold are planted no more.

    Raises
    ------
    BookError
        When there are problems, or another has changed the fields meanwhile.
    """
    if delivery.problems and not leave_out:
        count = len({remark.outline.number for remark in delivery.problems})
        raise BookError(
            f"{delivery.source}: {count} of {len(delivery.fields)} outlines cannot be kept as they "
            "are.\nNothing was kept: whose ground it is, or where, is not clear.\n"
            "Put them right in the file, or leave them out."
        )
    with book.write() as connection:
        _refuse_stale(connection, delivery)
        people = _People(connection)
        source, at = delivery.source, now()
        for outline in delivery.new:
            field_id = people.field_id(outline)
            _add_boundary(connection, field_id, outline, source, at)
            record(connection, "field added", who=who, field_id=field_id, source=source)
        for field, outline, off_ha in delivery.moved:
            _add_boundary(connection, field.id, outline, source, at)
            record(
                connection,
                "field moved",
                who=who,
                field_id=field.id,
                source=source,
                off_ha=round(off_ha, 3),
            )
        for field, outline in delivery.renamed:
            farm_id = people.free_farm_id(outline)
            changed = sa.update(table).where(table.c.id == field.id)
            connection.execute(changed.values(farm_id=farm_id, name=outline.name))
            record(connection, "field renamed", who=who, field_id=field.id, before=field.path)
        leaves = delivery.gone if gone else ()
        for field in leaves:
            left = sa.update(table).where(table.c.id == field.id).values(gone_at=at)
            connection.execute(left)
            record(connection, "field gone", who=who, field_id=field.id, source=source)
    return len(delivery.new) + len(delivery.moved) + len(delivery.renamed) + len(leaves)


class _People:
    """Growers, farms and fields by their names; those that are not there yet are added."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection
        self._growers: dict[str, int] = {
            row.name: row.id for row in connection.execute(sa.select(growers))
        }
        self._farms: dict[tuple[int, str], int] = {
            (row.grower_id, row.name): row.id for row in connection.execute(sa.select(farms))
        }

    def farm_id(self, outline: Outline) -> int:
        grower_id = self._growers.get(outline.grower)
        if grower_id is None:
            grower_id = self._growers[outline.grower] = self._insert(growers, name=outline.grower)
        key = (grower_id, outline.farm)
        if key not in self._farms:
            self._farms[key] = self._insert(farms, grower_id=grower_id, name=outline.farm)
        return self._farms[key]

    def free_farm_id(self, outline: Outline) -> int:
        """The farm, where no field of this name is: one that was planted once steps aside."""
        farm_id = self.farm_id(outline)
        before = (table.c.farm_id == farm_id) & (table.c.name == outline.name)
        until = sa.func.substr(table.c.gone_at, 1, 19)
        aside = sa.update(table).where(before & table.c.gone_at.is_not(None))
        self._connection.execute(aside.values(name=table.c.name + " (until " + until + ")"))
        return farm_id

    def field_id(self, outline: Outline) -> int:
        """A new field, or one that comes back."""
        farm_id = self.farm_id(outline)
        place = (table.c.farm_id == farm_id) & (table.c.name == outline.name)
        field_id = self._connection.execute(sa.select(table.c.id).where(place)).scalar()
        if field_id is None:
            return self._insert(table, farm_id=farm_id, name=outline.name, version=0)
        back = sa.update(table).where(table.c.id == field_id).values(gone_at=None)
        self._connection.execute(back)
        return int(field_id)

    def _insert(self, into: sa.Table, **values: Any) -> int:
        (number,) = self._connection.execute(
            sa.insert(into).values(values).returning(into.c.id)
        ).one()
        return int(number)


def _add_boundary(
    connection: sa.Connection, field_id: int, outline: Outline, source: str, at: str
) -> None:
    version = connection.execute(
        sa.select(sa.func.max(boundaries.c.version)).where(boundaries.c.field_id == field_id)
    ).scalar()
    west, south, east, north = outline.shape.bounds
    connection.execute(
        sa.insert(boundaries).values(
            field_id=field_id,
            version=(version or 0) + 1,
            shape=shapely.to_wkb(outline.shape),
            sha256=outline.sha256,
            area_ha=outline.area_ha,
            west=west,
            south=south,
            east=east,
            north=north,
            source=source,
            at=at,
        )
    )
    holds = sa.update(table).where(table.c.id == field_id).values(version=(version or 0) + 1)
    connection.execute(holds)


def _refuse_stale(connection: sa.Connection, delivery: Delivery) -> None:
    """What was looked over must still be what is there."""
    there = {field.key: field for field in listing(connection)}
    seen = [field for field, _, _ in delivery.moved] + [field for field, _ in delivery.renamed]
    seen += delivery.gone
    stale = [outline.path for outline in delivery.new if outline.key in there]
    now_there = {field.id: field.ground for field in there.values()}
    stale += [field.path for field in seen if now_there.get(field.id) != field.ground]
    if stale:
        raise BookError(
            f"Another has changed fields of the book meanwhile: {named(stale)}.\n"
            "Nothing was kept, and nothing of his was written over. Bring the file in again."
        )
