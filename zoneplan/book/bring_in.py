"""Bring the fields of a file into a book: look them over first, then keep what holds of them.

A file is brought again next year: what is new, moved, renamed or gone is told, and nothing that was
planned or agreed is lost.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely
import sqlalchemy as sa
from shapely.geometry import MultiPolygon

from zoneplan.book.database import Book, now
from zoneplan.book.fields import BookField, boundaries_in, listing
from zoneplan.book.history import record
from zoneplan.book.outlines import (
    ONE_GROWER,
    Area,
    Columns,
    Outline,
    Remark,
    of_several,
    outlines_of,
    sound,
)
from zoneplan.book.tables import boundaries, farms, growers
from zoneplan.book.tables import fields as table
from zoneplan.errors import BookError, named
from zoneplan.field.crs import WGS_84, geodesic_area_ha
from zoneplan.field.shapes import polygons_in


@dataclass(frozen=True)
class Delivery:
    """What a file holds, held against a book; nothing of it is kept yet."""

    source: str
    fields: tuple[Outline, ...]
    remarks: tuple[Remark, ...]
    new: tuple[Outline, ...]
    moved: tuple[tuple[BookField, Outline, float], ...]  # and how many hectares are others
    renamed: tuple[tuple[BookField, Outline], ...]
    same: tuple[Outline, ...]
    gone: tuple[BookField, ...]  # in the book, and not in the file that could hold them

    @property
    def problems(self) -> tuple[Remark, ...]:
        """What keeps outlines from being kept."""
        return tuple(remark for remark in self.remarks if remark.problem)


# ---- looking over --------------------------------------------------------------------------------


def look_over(
    book: Book,
    path: Path,
    columns: Columns,
    *,
    one_grower: str | None = None,
    crs: str | None = None,
    gone: bool = False,
) -> Delivery:
    """Read a file of many fields, and hold it against the book.

    Parameters
    ----------
    path : Path
        Shapefile, GeoJSON, GeoPackage, KML or file geodatabase; a zip or a folder of these.
    columns : Columns
        Which say whose a field is; in any case.
    one_grower : str, optional
        Whose all of them are, where no column says so.
    crs : str, optional
        Coordinate system of a file that states none.
    gone : bool
        Whether what the file does not hold is planted no more: then its ground is free.

    Raises
    ------
    LayerError, BookError
        When the file cannot be trusted, or no column says what is needed: what there is is told.
    """
    with book.read() as connection:
        there = listing(connection)
        ground = boundaries_in(connection)
    growers_there = [*dict.fromkeys(field.grower for field in there)]
    usual_grower = growers_there[0] if len(growers_there) == 1 else ONE_GROWER
    outlines, remarks = outlines_of(path, columns, one_grower, usual_grower, crs)
    known = {field.key: field for field in there}
    brought = {outline.key for outline in outlines}
    whose = {outline.grower for outline in outlines}
    absent = [field for field in there if field.key not in brought]
    missing = absent  # but a file of one grower says nothing of others
    if len(whose) == 1:
        missing = [field for field in absent if field.grower in whose]
    by_ground = {(field.grower, ground[field.id][0]): field for field in missing}
    renamed = {
        outline.number: by_ground[outline.grower, outline.sha256]
        for outline in outlines
        if outline.key not in known and (outline.grower, outline.sha256) in by_ground
    }
    going_on = {field.id for field in renamed.values()}
    left = [field for field in missing if field.id not in going_on]
    free = going_on | ({field.id for field in left} if gone else set())
    stays = [(one.grower, one.path, ground[one.id][1]) for one in absent if one.id not in free]
    remarks += of_several(outlines, stays, growers_there)
    remarks.sort(key=lambda remark: (remark.problem is None, remark.outline.number))
    bad = {remark.outline.number for remark in remarks if remark.problem}
    new, moved, again, same = [], [], [], []
    for outline in outlines:
        if outline.number in bad:
            continue
        if outline.number in renamed:
            again.append((renamed[outline.number], outline))
        elif outline.key not in known:
            new.append(outline)
        else:
            field = known[outline.key]
            digest, before = ground[field.id]
            if digest == outline.sha256:
                same.append(outline)
            else:
                moved.append((field, outline, _off_ha(before, outline.shape)))
    return Delivery(
        path.name,
        tuple(outlines),
        tuple(remarks),
        tuple(new),
        tuple(moved),
        tuple(again),
        tuple(same),
        tuple(left),
    )


def _off_ha(before: Area, after: Area) -> float:
    """Hectares that only one of two outlines holds."""
    off = shapely.symmetric_difference(sound(before), sound(after))
    parts = polygons_in(off)
    return geodesic_area_ha(MultiPolygon(parts), WGS_84) if parts else 0.0


# ---- keeping -------------------------------------------------------------------------------------


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
    leaves = delivery.gone if gone else ()
    source, at = delivery.source, now()
    with book.write() as connection:
        _refuse_stale(connection, delivery)
        people = _People(connection)

        def remember(did: str, field_id: int, **what: Any) -> None:
            record(connection, did, who=who, field_id=field_id, **what)

        def change(field: BookField, **values: Any) -> None:
            connection.execute(sa.update(table).where(table.c.id == field.id).values(values))

        for outline in delivery.new:
            field_id = people.field_id(outline)
            _add_boundary(connection, field_id, outline, source, at)
            remember("field added", field_id, source=source)
        for field, outline, off_ha in delivery.moved:
            _add_boundary(connection, field.id, outline, source, at)
            remember("field moved", field.id, source=source, off_ha=round(off_ha, 3))
        for field, outline in delivery.renamed:
            change(field, farm_id=people.free_farm_id(outline), name=outline.name)
            remember("field renamed", field.id, before=field.path)
        for field in leaves:
            change(field, gone_at=at)
            remember("field gone", field.id, source=source)
    return len(delivery.new) + len(delivery.moved) + len(delivery.renamed) + len(leaves)


class _People:
    """Growers, farms and fields by their names; those that are not there yet are added."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection
        self._numbers: dict[tuple[Any, ...], int] = {}  # of growers and farms that were asked for

    def field_id(self, outline: Outline) -> int:
        """A new field, or one that comes back."""
        farm_id = self._farm_id(outline)
        place = (table.c.farm_id == farm_id) & (table.c.name == outline.name)
        back = sa.update(table).where(place).values(gone_at=None).returning(table.c.id)
        field_id = self._connection.execute(back).scalar()
        if field_id is None:
            return self._added(table, farm_id=farm_id, name=outline.name, version=0)
        return int(field_id)

    def free_farm_id(self, outline: Outline) -> int:
        """The farm, where no field of this name is: one that was planted once steps aside."""
        farm_id = self._farm_id(outline)
        before = (table.c.farm_id == farm_id) & (table.c.name == outline.name)
        until = sa.func.substr(table.c.gone_at, 1, 19)
        aside = sa.update(table).where(before & table.c.gone_at.is_not(None))
        self._connection.execute(aside.values(name=table.c.name + " (until " + until + ")"))
        return farm_id

    def _farm_id(self, outline: Outline) -> int:
        grower_id = self._number_of(growers, name=outline.grower)
        return self._number_of(farms, grower_id=grower_id, name=outline.farm)

    def _number_of(self, of: sa.Table, **names: Any) -> int:
        key = (of.name, *names.values())
        if key not in self._numbers:
            asked = sa.select(of.c.id).filter_by(**names)
            number = self._connection.execute(asked).scalar()
            self._numbers[key] = self._added(of, **names) if number is None else number
        return self._numbers[key]

    def _added(self, to: sa.Table, **values: Any) -> int:
        added = sa.insert(to).values(values).returning(to.c.id)
        return int(self._connection.execute(added).scalar_one())


def _add_boundary(
    connection: sa.Connection, field_id: int, outline: Outline, source: str, at: str
) -> None:
    versions = sa.select(sa.func.max(boundaries.c.version))
    last = connection.execute(versions.where(boundaries.c.field_id == field_id)).scalar()
    version = (last or 0) + 1
    west, south, east, north = outline.shape.bounds
    connection.execute(
        sa.insert(boundaries).values(
            field_id=field_id,
            version=version,
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
    connection.execute(sa.update(table).where(table.c.id == field_id).values(version=version))


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
