"""Books with fields and plans in them, put there by the tables: no file is read."""

import shapely
import sqlalchemy as sa

from zoneplan.book.fields import listing
from zoneplan.book.inputs import season_of
from zoneplan.book.opening import new_book
from zoneplan.book.packed_plan import packed
from zoneplan.book.plans import keep_plan
from zoneplan.book.tables import boundaries, farms, fields, growers
from zoneplan.field.crs import in_degrees
from zoneplan.request import Request

AT = "2026-11-28T00:00:00Z"


def filled(address, *given, plan=True, season="2027"):
    """Make a book of what growers get (`HandOut`), each field with its plan."""
    book = new_book(address, season=season)
    with book.write() as connection:
        for one in given:
            (grower,) = connection.execute(
                sa.insert(growers).values(name=one.grower)
            ).inserted_primary_key
            homes = {}
            for field in one.fields:
                if field.farm not in homes:
                    row = sa.insert(farms).values(grower_id=grower, name=field.farm)
                    (homes[field.farm],) = connection.execute(row).inserted_primary_key
                add_field(connection, homes[field.farm], field)
    if plan:
        for one in given:
            for field in one.fields:
                keep(book, one.grower, field)
    return book


def add_field(connection, farm_id, field):
    """Put a field and its boundary into the book."""
    row = sa.insert(fields).values(farm_id=farm_id, name=field.field, version=1)
    (field_id,) = connection.execute(row).inserted_primary_key
    shape = in_degrees(field.plan.field.shape, field.plan.field.crs, 9)
    west, south, east, north = shape.bounds
    connection.execute(
        sa.insert(boundaries).values(
            field_id=field_id,
            version=1,
            shape=shapely.to_wkb(shape),
            sha256="0" * 64,
            area_ha=field.plan.field.area_ha,
            west=west,
            south=south,
            east=east,
            north=north,
            source="typed",
            at=AT,
        )
    )


def keep(book, grower, field, plan=None):
    """Keep a plan of a field, as planning it would."""
    result = packed(plan or field.plan, Request())
    with book.write() as connection:
        season_id, _ = season_of(connection)
        listed = next(
            one for one in listing(connection) if one.key == (grower, field.farm, field.field)
        )
        return keep_plan(
            connection,
            listed.ground,
            season_id,
            listed.inputs_sha256,
            result,
            request=Request(),
            who="agronomist",
        )
