"""Soil, planters and rules that are put into a book: by what is in the files, wherever they lay.

A book outlives the files: what is added is copied into it.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from shapely.geometry import box

from zoneplan.book.conditions import Scope, put_conditions, record_for, scope_of
from zoneplan.book.contents import content_of, digest_of, form_of, store
from zoneplan.book.database import Book, now
from zoneplan.book.inputs import PLANTER, Box, season_of, supplies
from zoneplan.book.tables import conditions, planters, rule_sets, soils
from zoneplan.errors import BookError, LayerError, MachineError, named, quoted
from zoneplan.field.columns import KNOWN
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.files import read_shapes
from zoneplan.field.layer import read_layer
from zoneplan.field.raster.raster_band import about, is_raster, placed
from zoneplan.field.survey.answer import has_vintage, read_answer, vintages
from zoneplan.field.survey.parts import is_survey
from zoneplan.field.unpack import unpacked
from zoneplan.plain_file import MOST_TOML_MB, exists, files_in, is_folder, read_plain
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import read_rules
from zoneplan.sources import packed

MOST_MB = 900  # of a soil layer: all of it is in memory while it is added
_CATALOGUE = "sacatlog.txt"  # of a survey: what areas it is of, and since when they stand


@dataclass(frozen=True)
class Added:
    """What was put into the book."""

    what: str  # "soil", "planter" or "rules"
    name: str
    scope: str  # in words: for whom
    news: str  # "new", "changed" or "the same"
    about: str = ""  # what it is
    used: bool = True  # of a planter: whether it is the one that is planned for


# ---- adding ------------------------------------------------------------------------------------


def add_soil(
    book: Book, path: Path, *, who: str, scope: Scope | None = None, **names: str | None
) -> Added:
    """Copy a soil layer into the book, for all growers or for one, his farm or field.

    Parameters
    ----------
    path : Path
        A survey, rasters, points or polygons; a file or a folder.
    scope : Scope, optional
        For whom, where that is known; else the names say it.
    names : str, optional
        `grower`, `farm` and `field`, as the book has them.

    Raises
    ------
    BookError, LayerError
        When it cannot be read as soil, is too big, or there is no such grower.
    """
    with book.read() as connection:
        if scope is None:
            scope_of(connection, **names)
        asked = supplies(connection).asked.get("all", {})
    kind, vintage, place = _about(path, asked.get("crs"), dict(asked.get("columns", ())))
    uploads = packed(path)
    name, form = path.name, form_of(path, uploads)
    digest, content = digest_of(path), content_of(uploads)
    if len(content) > MOST_MB * 10**6:
        raise BookError(
            f"{name} is {len(content) / 1e6:,.0f} MB, packed; a book takes {MOST_MB} MB of it.\n"
            "Give the survey area by itself, not the state."
        )
    values = {
        "name": name,
        "sha256": digest,
        "size_bytes": len(content),
        "kind": f"{kind}, {form}",
        "vintage": vintage,
        **dict(zip(("west", "south", "east", "north"), place or (None,) * 4, strict=True)),
    }
    with book.write() as connection:
        scope = scope or scope_of(connection, **names)
        news = _put(connection, soils, scope.key, values)
        if news != "the same":
            store(connection, digest, content)
            about = {"name": name, "kind": kind, "vintage": vintage, "sha256": digest}
            record_for(connection, scope, "soil added", who=who, **about)
    return Added("soil", name, scope.words, news, f"{kind} {vintage or ''}".strip())


def add_planter(book: Book, file: Path | str, *, who: str, **names: str | None) -> Added:
    """Copy a planter's file into the book. The first of a grower becomes his planter.

    `file` may also name a generic one: then that is set, and nothing is copied.

    Raises
    ------
    BookError, MachineError
        When the file has faults, or there is no such grower.
    """
    with book.write() as connection:
        return put_planter(connection, file, scope_of(connection, **names), who=who)


def put_planter(connection: sa.Connection, file: Path | str, scope: Scope, *, who: str) -> Added:
    """Do the same in a transaction that writes."""
    if str(file) in SYSTEMS and not exists(Path(file)):
        put_conditions(connection, scope, {PLANTER: str(file)}, who=who)
        return Added("planter", str(file), scope.words, "set", "generic: with invented weights")
    path = Path(file)
    machine = read_machine(path)
    content = read_plain(path, MOST_TOML_MB, MachineError)
    about = {"name": path.stem, "sha256": sha256(content).hexdigest()}
    news = _put(connection, planters, scope.key, {**about, "content": content})
    if news != "the same":
        what = {"planter": machine.name, **about}
        record_for(connection, scope, "planter added", who=who, **what)
    season_id, _ = season_of(connection)
    place = (conditions.c.season_id == season_id) & (conditions.c.scope == scope.key)
    asked = connection.execute(sa.select(conditions.c.asked).where(place)).scalar()
    used = json.loads(asked or "{}").get(PLANTER)
    if used is None:
        put_conditions(connection, scope, {PLANTER: path.stem}, who=who)
    elif used != path.stem:
        news += f", but {quoted(used)} is used"
    return Added("planter", path.stem, scope.words, news, machine.name, used in (None, path.stem))


def add_rules(book: Book, path: Path, *, who: str, **names: str | None) -> Added:
    """Copy a file of rules into the book, to be laid over the stock ones.

    Raises
    ------
    BookError, RuleError
        When the file has faults, or there is no such grower.
    """
    with book.write() as connection:
        return put_rules(connection, path, scope_of(connection, **names), who=who)


def put_rules(connection: sa.Connection, path: Path, scope: Scope, *, who: str) -> Added:
    """Do the same in a transaction that writes."""
    rules = read_rules([path])
    content = read_plain(path, MOST_TOML_MB)
    about = {"name": path.stem, "sha256": sha256(content).hexdigest()}
    news = _put(connection, rule_sets, scope.key, {**about, "content": content})
    if news != "the same":
        record_for(connection, scope, "rules added", who=who, **about)
    return Added("rules", path.stem, scope.words, news, f"revised {rules.revised}")


def take_away(book: Book, what: str, name: str, *, who: str, **names: str | None) -> None:
    """Let soil, a planter or rules hold no more. Their contents and their history stay.

    Raises
    ------
    BookError
        When the book has none of that name for them.
    """
    table = {"soil": soils, "planter": planters, "rules": rule_sets}[what]
    with book.write() as connection:
        scope = scope_of(connection, **names)
        holds = (table.c.scope == scope.key) & table.c.ended_at.is_(None)
        there = connection.execute(sa.select(table.c.name).where(holds)).scalars().all()
        if name not in there:
            raise BookError(
                f"The book has no {what} {quoted(name)} for {scope.words}.\n"
                f"There is: {named(there) or 'none'}."
            )
        ended = sa.update(table).where(holds & (table.c.name == name))
        connection.execute(ended.values(ended_at=now()))
        record_for(connection, scope, f"{what} taken away", who=who, name=name)


def _put(connection: sa.Connection, table: sa.Table, scope: str, values: Mapping[str, Any]) -> str:
    """Let something hold in the place of what had its name; say what is new of it."""
    holds = (table.c.scope == scope) & (table.c.name == values["name"]) & table.c.ended_at.is_(None)
    before = connection.execute(sa.select(table.c.sha256).where(holds)).scalar()
    if before == values["sha256"]:
        return "the same"
    connection.execute(sa.update(table).where(holds).values(ended_at=now()))
    connection.execute(sa.insert(table).values({**values, "scope": scope, "at": now()}))
    return "changed" if before else "new"


# ---- what a layer is ---------------------------------------------------------------------------


def _about(
    path: Path, crs: str | None, columns: Mapping[str, str]
) -> tuple[str, str | None, Box | None]:
    """What kind of layer it is, its vintage, and where it lies. It is read, to see that it can."""
    if is_survey(path):
        ground = read_layer(path).ground.to_crs(WGS_84)
        west, south, east, north = map(float, ground.total_bounds)
        return "soil survey", _vintage(path), (west, south, east, north)
    rasters = [file for file in (files_in(path) if is_folder(path) else [path]) if is_raster(file)]
    if rasters:
        return "raster", None, _united([_raster_box(file, crs) for file in rasters])
    if path.suffix.lower() in (".csv", ".txt", ".tsv"):
        read_plain(path)
        return "points", None, None
    frames = [frame.to_crs(WGS_84) for frame in read_shapes(path, crs).values()]
    place = _united([tuple(map(float, frame.total_bounds)) for frame in frames])
    kinds = {kind for frame in frames for kind in frame.geom_type.dropna()}
    if kinds <= {"Point", "MultiPoint"}:
        return "points", None, place
    words = {str(name).lower() for frame in frames for name in frame.columns}
    wanted = {word for part in ("texture", "sand", "silt", "clay") for word in KNOWN[part]}
    if not words & {*wanted, *(column.lower() for column in columns.values())}:
        raise LayerError(
            f"{path.name} says no texture, sand, silt or clay: its columns are "
            f"{named(sorted(words - {'geometry'})) or 'none'}.\n"
            "A plan follows the soil, and we won't guess it.\n"
            "Set the names of its columns for the book first.",
            parameter="columns.texture",
            example="NAME",
        )
    return "polygons", None, place


def _raster_box(path: Path, crs: str | None) -> Box:
    source = about(path)
    west, south, east, north = move(
        box(*source.bounds), placed(source, path.name, crs), WGS_84
    ).bounds
    return west, south, east, north


def _united(boxes: list[Any]) -> Box:
    west, south, east, north = zip(*boxes, strict=True)
    return min(west), min(south), max(east), max(north)


def _vintage(path: Path) -> str | None:
    """Since when a survey stands, as its catalogue or its answer says: the latest of its areas."""
    if has_vintage(path):
        refreshed = (edition.refreshed or "" for edition in vintages(read_answer(path)))
        return max(refreshed, default="") or None
    with unpacked(path) as home:
        inside = files_in(home) if is_folder(home) else []
        catalogues = [file for file in inside if file.name.lower() == _CATALOGUE]
        lines = [
            line.split("|")
            for file in catalogues
            for line in read_plain(file).decode("utf-8", "replace").splitlines()
        ]
    dates = [cell.strip('"') for cells in lines for cell in cells[3:4] if cell.strip('"')]
    return max(dates, key=_dated, default=None)


def _dated(text: str) -> tuple[str, ...]:
    """A date as surveys write it, month first, so that the latest is the greatest."""
    month, _, rest = text.partition(" ")[0].partition("/")
    day, _, year = rest.partition("/")
    return year, month.zfill(2), day.zfill(2)
