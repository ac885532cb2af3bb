"""A book in other places: backup, restore, and everything as plain files."""

import csv
import json
import shutil
import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import shapely
import sqlalchemy as sa

from zoneplan.book.database import Book
from zoneplan.book.fields import BookField, boundaries_in, listing
from zoneplan.book.history import history, record
from zoneplan.book.inputs import season_of
from zoneplan.book.look import needs_a_look
from zoneplan.book.opening import beside, new_book, open_book, refuse_share, share_of
from zoneplan.book.soil import laid_out
from zoneplan.book.tables import (
    TABLES,
    about,
    conditions,
    plans,
    planters,
    rule_sets,
    seasons,
    soils,
    states,
    zones,
)
from zoneplan.errors import BookError
from zoneplan.export.zone_files import full_disk_told
from zoneplan.field.crs import WGS_84
from zoneplan.harmless import in_file_name
from zoneplan.plain_file import scratch, shown

_ROWS = 500  # at once
README = """What a book of zoneplan holds, as plain files.

fields.gpkg    every field with its state, and the zones of every plan: open it in any map program
fields.csv     the same list as a table
growers/       a folder a grower, farm and field: boundary.geojson, plan.json, request.json
planters/, rules/, soils/    the files as they were brought in
conditions.json    what is set for whom
history.csv    what was done, by whom and when
"""


def backup(book: Book, path: Path) -> None:
    """Copy a book into a file that is a book itself, while others go on working.

    Raises
    ------
    BookError
        When something is there already, or there is no room.
    """
    latest = _latest_plan(book)
    with beside(path) as made, _on_a_disk(made) as here:
        if book.path is not None:
            raw = book.engine.raw_connection()
            try:
                raw.cursor().execute("VACUUM INTO ?", (str(here),))
            except sqlite3.Error as error:
                raise BookError(
                    f"{shown(path)} cannot be written: {error}.\n"
                    "Make room there, or name another place."
                ) from error
            finally:
                raw.close()
        else:
            with replace(new_book(here), address=shown(path)) as copy:
                _copy(book, copy)
        with open_book(here) as copy:
            with copy.read() as connection:
                sound = connection.exec_driver_sql("PRAGMA quick_check").scalar()
            if sound != "ok" or _latest_plan(copy) < latest:
                raise BookError(
                    f"{shown(path)} could not be written whole. Look after the disk, and try."
                )
        for ending in ("-wal", "-shm"):
            here.with_name(f"{here.name}{ending}").unlink(missing_ok=True)
        if here != made:
            shutil.copyfile(here, made)


@contextmanager
def _on_a_disk(made: Path) -> Iterator[Path]:
    """Lend a place where a copy can be made and looked at: not on a network share."""
    if share_of(made) is None:
        yield made
    else:
        with scratch(BookError) as room:
            yield room / made.name


def restore(path: Path, address: str) -> str:
    """Make a new book from a backup: a file, or in an empty database. Give where, as it is shown.

    Raises
    ------
    BookError
        When the backup is none, or something is there already.
    """
    with open_book(path) as saved:
        if "://" not in address:
            refuse_share(Path(address))
            backup(saved, Path(address))
            return address
        with new_book(address) as book:
            _copy(saved, book)
            return book.address


def export(book: Book, folder: Path, *, who: str) -> list[str]:
    """Write all that a book holds as a GeoPackage and plain files, and name what was written.

    Raises
    ------
    BookError
        When the folder is there already, or takes no files.
    """
    with beside(folder) as room:
        room.mkdir()
        with book.read() as connection:
            fields = listing(connection)
            outlines = boundaries_in(connection)
            season_id, season = season_of(connection)
            this_season = states.c.season_id == season_id
            documents = sa.select(states.c.field_id, plans.c.document, plans.c.request)
            documents = documents.join(plans, plans.c.id == states.c.plan_id).where(this_season)
            plan_rows = {row.field_id: row for row in connection.execute(documents)}
            cells = sa.select(zones, states.c.field_id)
            cells = cells.join(states, states.c.plan_id == zones.c.plan_id).where(this_season)
            zone_rows = connection.execute(cells).all()
            planter_rows = connection.execute(sa.select(planters)).all()
            rule_rows = connection.execute(sa.select(rule_sets)).all()
            holding = sa.select(soils).where(soils.c.ended_at.is_(None))
            soil_rows = connection.execute(holding).all()
            given = sa.select(conditions).where(conditions.c.season_id == season_id)
            asked = [
                {"scope": row.scope, "asked": json.loads(row.asked)}
                for row in connection.execute(given)
            ]
        shapes = {field_id: shape for field_id, (_, shape) in outlines.items()}
        _maps(room / "fields.gpkg", fields, shapes, zone_rows)
        _table(room / "fields.csv", [_row(field) for field in fields])
        for field in fields:
            _field(room / "growers", field, shapes[field.id], plan_rows.get(field.id))
        for folder_name, rows in (("planters", planter_rows), ("rules", rule_rows)):
            for row in rows:
                name = f"{row.scope}, {row.name}, {row.id}.toml"
                _file(room / folder_name, name, row.content)
        with laid_out(book, soil_rows) as layers:
            for row in soil_rows:
                _layer(room / "soils" / f"{row.id}", layers[row.sha256])
        _file(room, "conditions.json", json.dumps({"season": season, "set": asked}, indent=1))
        events = [
            {**vars(event), "what": json.dumps(event.what, ensure_ascii=False)}
            for event in history(book)
        ]
        for event in events:
            del event["number"]
        _table(room / "history.csv", events)
        _file(room, "README.txt", README)
        names = sorted(path.name for path in room.iterdir())
    with book.write() as connection:
        record(connection, "exported", who=who, folder=folder.name)
    return names


# ---- copies ------------------------------------------------------------------------------------


def _copy(source: Book, target: Book) -> None:
    """Copy every row into an empty book, a table after those that it points to."""
    with source.read() as rows, target.write() as connection:
        for table in (about, seasons):  # a new book has these
            connection.execute(sa.delete(table))
        for table in TABLES.sorted_tables:
            for batch in rows.execute(sa.select(table)).mappings().partitions(_ROWS):
                connection.execute(sa.insert(table), [dict(row) for row in batch])
            if target.path is None and "id" in table.c:
                counter = sa.func.pg_get_serial_sequence(table.name, "id")
                highest = sa.select(sa.func.max(table.c.id)).scalar_subquery()
                connection.execute(sa.select(sa.func.setval(counter, sa.func.coalesce(highest, 1))))


def _latest_plan(book: Book) -> int:
    with book.read() as connection:
        return int(connection.scalar(sa.select(sa.func.max(plans.c.id))) or 0)


# ---- plain files -------------------------------------------------------------------------------


def _whose(field: BookField) -> dict[str, Any]:
    names = {"grower": field.grower, "farm": field.farm, "field": field.name}
    return {"field_id": field.id, **names}


def _row(field: BookField) -> dict[str, Any]:
    totals = field.totals
    planned = totals["moistures"][totals["planned"]] if totals else {}
    return {
        **_whose(field),
        "season": field.season,
        "area_ha": field.area_ha,
        "state": str(field.state),
        "revision": field.revision,
        "zones": totals.get("zones"),
        "margin_n": planned.get("margin_n"),
        "right_chance": planned.get("right_chance"),
        "needs_a_look": "; ".join(look.words for look in needs_a_look(field)),
    }


def _maps(path: Path, fields: list[BookField], shapes: dict[int, Any], cells: Any) -> None:
    rows = [_row(field) for field in fields]
    outlines = gpd.GeoDataFrame(rows, geometry=[shapes[field.id] for field in fields], crs=WGS_84)
    names = {field.id: field for field in fields}
    inside = [cell for cell in cells if cell.field_id in names]
    parts = gpd.GeoDataFrame(
        [
            {
                **_whose(names[cell.field_id]),
                "zone": cell.number,
                "name": cell.name,
                "area_ha": cell.area_ha,
                "margin_dry_n": cell.margin_dry_n,
                "margin_moist_n": cell.margin_moist_n,
                "margin_wet_n": cell.margin_wet_n,
            }
            for cell in inside
        ],
        geometry=[shapely.from_wkb(cell.shape) for cell in inside],
        crs=WGS_84,
    )
    for name, frame in (("fields", outlines), ("zones", parts)):
        if len(frame):
            with full_disk_told(path.parent):
                pyogrio.write_dataframe(
                    frame, path, layer=name, geometry_type="MultiPolygon", promote_to_multi=True
                )


def _table(path: Path, rows: list[dict[str, Any]]) -> None:
    text = StringIO()
    if rows:
        writer = csv.DictWriter(text, fieldnames=[*rows[0]], lineterminator="\r\n")
        writer.writeheader()
        writer.writerows(rows)
    path.write_text(text.getvalue(), "utf-8", newline="")


def _field(home: Path, field: BookField, shape: Any, plan: Any) -> None:
    folder = home / in_file_name(field.grower) / in_file_name(field.farm or "-")
    folder /= in_file_name(field.name)
    outline = {
        "type": "Feature",
        "properties": {"grower": field.grower, "farm": field.farm, "field": field.name},
        "geometry": json.loads(shapely.to_geojson(shape)),
    }
    _file(folder, "boundary.geojson", json.dumps(outline, ensure_ascii=False))
    if plan is not None:
        _file(folder, "plan.json", zlib.decompress(plan.document))
        _file(folder, "request.json", plan.request)


def _file(folder: Path, name: str, content: bytes | str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    data = content.encode() if isinstance(content, str) else content
    stem, dot, ending = name.rpartition(".")
    (folder / f"{in_file_name(stem)}{dot}{ending}").write_bytes(data)


def _layer(folder: Path, path: Path) -> None:
    if path.is_dir():
        shutil.copytree(path, folder / path.name)
    else:  # with the other parts of a shapefile
        shutil.copytree(path.parent, folder)
