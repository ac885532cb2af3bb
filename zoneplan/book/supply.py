"""What fields are planned from besides soil: what is set for a season, planters and rules.

Each holds for all growers, for one, or for a farm or a field of his; the narrower wins. A book
outlives the files: what is added is copied into it, by what is in the files, wherever they lay.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from zoneplan.ask import asks
from zoneplan.book.database import Book, now
from zoneplan.book.fields import BookField, field_in, listing, of_names
from zoneplan.book.history import last_set, record
from zoneplan.book.inputs import PLANTER, Asked, season_of, supplies
from zoneplan.book.tables import about, conditions, planters, rule_sets, seasons, soils
from zoneplan.errors import BookError, SavedError, listed, named, quoted
from zoneplan.forms import Place
from zoneplan.plain_file import MOST_TOML_MB, exists, read_plain
from zoneplan.request import Request
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import read_rules
from zoneplan.store.request_json import REQUEST, request_document


@dataclass(frozen=True)
class Scope:
    """For whom something holds."""

    key: str = "all"  # as the tables write it: "all", "grower 3", "farm 5", "field 9"
    words: str = "all growers"
    grower_id: int | None = None
    field_id: int | None = None


ALL = Scope()


@dataclass(frozen=True)
class Replaced:
    """A value that another person had set, and that holds no more."""

    name: str  # of a request's field, or "planter"
    value: Any  # as JSON has it, in SI
    who: str  # set it
    at: str  # when


def scope_of(
    connection: sa.Connection,
    grower: str | None = None,
    farm: str | None = None,
    field: str | None = None,
) -> Scope:
    """Find for whom something is to hold, by names as the book has them.

    Raises
    ------
    BookError
        When the book has none of that name, or several.
    """
    if grower is None and farm is None and field is None:
        return ALL
    there = of_names(listing(connection), grower=grower, farm=farm, name=field)
    one = there[0].ground
    if field is not None:
        _refuse_several(there, f"fields {quoted(field)}", {other.id for other in there})
        return scope_of_field(there[0])
    if farm is not None:
        farm_ids = {other.ground.farm_id for other in there}
        _refuse_several(there, f"farms {quoted(farm)}", farm_ids)
        return Scope(f"farm {one.farm_id}", f"{there[0].grower} / {there[0].farm}", one.grower_id)
    return Scope(f"grower {one.grower_id}", there[0].grower, one.grower_id)


def _refuse_several(there: Sequence[BookField], what: str, ids: set[int]) -> None:
    if len(ids) > 1:
        raise BookError(
            f"The book has {len(ids)} {what}: {named(field.path for field in there)}.\n"
            "Say which: name the grower and the farm too."
        )


def scope_of_field(field: BookField) -> Scope:
    """One field alone."""
    return Scope(f"field {field.id}", field.path, field.ground.grower_id, field.id)


def set_conditions(
    book: Book, asked: Mapping[str, Any], *, who: str, **names: str | None
) -> tuple[Scope, tuple[Replaced, ...]]:
    """Set values of a request for whom they hold; what is not named stays as it is.

    The last who sets a value has it: what somebody else had set there is given back, to be told.

    Parameters
    ----------
    asked : mapping
        Names of a `Request`'s fields to values as its JSON has them, in SI; "planter" names a
        planter of the book, or a generic one. None takes a value away: the wider scope holds again.
    names : str, optional
        `grower`, `farm` and `field`, as the book has them.

    Raises
    ------
    BookError, SavedError
        When there is no such planter, grower, farm or field, or a value is none: all are told.
    """
    with book.write() as connection:
        scope = scope_of(connection, **names)
        replaced = put_conditions(connection, scope, asked, who=who)
    return scope, replaced


def put_conditions(
    connection: sa.Connection,
    scope: Scope,
    asked: Mapping[str, Any],
    *,
    who: str,
    left_open: Collection[str] = (),
) -> tuple[Replaced, ...]:
    """Do the same in a transaction that writes.

    `left_open` names values that nobody is to say here, whatever the wider scope says: then the
    planter's own speed holds, for one.
    """
    _check(connection, scope, asked)
    season_id, _ = season_of(connection)
    place = (conditions.c.season_id == season_id) & (conditions.c.scope == scope.key)
    row = connection.execute(sa.select(conditions).where(place)).first()
    before: Asked = json.loads(row.asked) if row else {}
    taken = {name for name, value in asked.items() if value is None} - {*left_open}
    after = {name: value for name, value in {**before, **asked}.items() if name not in taken}
    if after == before:
        return ()
    values = {"asked": json.dumps(after, ensure_ascii=False), "at": now()}
    if row is None:
        first = {"season_id": season_id, "scope": scope.key, "version": 1}
        connection.execute(sa.insert(conditions).values(values | first))
    else:
        changed = sa.update(conditions).where(place)
        connection.execute(changed.values({**values, "version": row.version + 1}))
    changes = {
        name: {"from": before.get(name), "to": after.get(name)}
        for name in before | after
        if before.get(name) != after.get(name)
    }
    had_value = {name for name, change in changes.items() if change["from"] is not None}
    last = last_set(connection, season_id, scope.words, had_value)
    record_for(connection, scope, "set", who=who, season_id=season_id, changes=changes)
    return tuple(
        Replaced(name, changes[name]["from"], other, at)
        for name, (other, at) in sorted(last.items())
        if other != who
    )


def record_for(connection: sa.Connection, scope: Scope, did: str, **what: Any) -> None:
    """Add one thing that was done for a scope to the history; `what` is as for `record`."""
    ids = {"grower_id": scope.grower_id, "field_id": scope.field_id}
    record(connection, did, **{"scope": scope.words, **ids, **what})


def keep_request(book: Book, field: BookField, request: Request, *, who: str) -> None:
    """Keep for one field what a request holds otherwise than is set for its farm and grower.

    So names, splits and overrides that were made by hand, and values of its own, come back.

    Raises
    ------
    BookError
        When what is set for the field is no longer what it was when it was listed.
    """
    with book.write() as connection:
        there = field_in(connection, field.id)
        if there is None or there.inputs_sha256 != field.inputs_sha256:
            raise BookError(
                f"{field.path}: what it is planned from has changed since it was opened.\n"
                "Nothing was written over. Open it again, and make the change there."
            )
        scope = scope_of_field(field)
        supply = supplies(connection)
        wider: Asked = {"name": field.name}
        for key in field.ground.scopes[:-1]:
            wider |= supply.asked.get(key, {})
        stock, own = request_document(Request()), request_document(request)
        names = [name for name, _ in asks(Request)]
        values = {name: own.get(name, stock.get(name)) for name in names}
        differ = {name for name in names if values[name] != wider.get(name, stock.get(name))}
        asked = {name: values[name] if name in differ else None for name in names}
        left_open = [name for name in differ if values[name] is None]
        put_conditions(connection, scope, asked, who=who, left_open=left_open)


def set_season(book: Book, name: str, *, who: str) -> bool:
    """Turn the book to a season. Give whether it is new: then what was set is set there too."""
    with book.write() as connection:
        before_id, before = season_of(connection)
        if name == before:
            return False
        known = sa.select(seasons.c.id).where(seasons.c.name == name)
        is_new = connection.execute(known).scalar() is None
        if is_new:
            added = sa.insert(seasons).values(name=name).returning(seasons.c.id)
            (season_id,) = connection.execute(added).one()
            columns = [conditions.c.scope, conditions.c.asked, conditions.c.version]
            copied = sa.select(sa.literal(season_id), *columns, sa.literal(now())).where(
                conditions.c.season_id == before_id
            )
            names = ["season_id", "scope", "asked", "version", "at"]
            connection.execute(sa.insert(conditions).from_select(names, copied))
        holds = sa.update(about).where(about.c.name == "season")
        connection.execute(holds.values(value=name))
        record(connection, "season", who=who, season=name, before=before)
        return is_new


def _check(connection: sa.Connection, scope: Scope, asked: Mapping[str, Any]) -> None:
    """Refuse what no request can hold, and a planter that nobody brought."""
    faults: list[str] = []
    values = {name: value for name, value in asked.items() if name != PLANTER and value is not None}
    known = {PLANTER, *(name for name, _ in asks(Request))}
    faults += [f"{quoted(name)}: there is no such value." for name in asked if name not in known]
    REQUEST(values, Place(faults))
    if faults:
        raise SavedError(listed(f"What is to be set for {scope.words}", faults))
    planter = asked.get(PLANTER)
    names = {name for _, name in supplies(connection).planters}
    if planter is not None and planter not in {*names, *SYSTEMS}:
        raise BookError(
            f"The book has no planter {quoted(planter)}. It has: {named(sorted(names)) or 'none'}; "
            f"and the generic ones: {named(SYSTEMS)}.\nAdd its file first.",
            code="book-no-planter",
        )


# ---- planters and rules --------------------------------------------------------------------------


@dataclass(frozen=True)
class Added:
    """What was put into the book."""

    what: str  # "soil", "planter" or "rules"
    name: str
    scope: str  # in words: for whom
    news: str  # "new", "changed" or "the same"
    about: str = ""  # what it is
    used: bool = True  # of a planter: whether it is the one that is planned for


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


def put_planter(
    connection: sa.Connection, file: Path | str, scope: Scope, *, who: str, use: bool = False
) -> Added:
    """Do the same in a transaction that writes; with `use` it is planned for, whichever was."""
    if str(file) in SYSTEMS and not exists(Path(file)):
        put_conditions(connection, scope, {PLANTER: str(file)}, who=who)
        return Added("planter", str(file), scope.words, "set", "generic: with invented weights")
    path = Path(file)
    machine = read_machine(path)
    news = _put_file(
        connection, planters, path, scope, "planter added", who=who, planter=machine.name
    )
    used = supplies(connection).asked.get(scope.key, {}).get(PLANTER)
    if use or used is None:
        put_conditions(connection, scope, {PLANTER: path.stem}, who=who)
        used = path.stem
    elif used != path.stem:
        news += f", but {quoted(used)} is used"
    return Added("planter", path.stem, scope.words, news, machine.name, used == path.stem)


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
    news = _put_file(connection, rule_sets, path, scope, "rules added", who=who)
    return Added("rules", path.stem, scope.words, news, f"revised {rules.revised}")


def _put_file(
    connection: sa.Connection, table: sa.Table, path: Path, scope: Scope, did: str, **what: str
) -> str:
    content = read_plain(path, MOST_TOML_MB)
    named_so = {"name": path.stem, "sha256": sha256(content).hexdigest()}
    news = put_in_place(connection, table, scope, {**named_so, "content": content})
    if news != "the same":
        record_for(connection, scope, did, **what, **named_so)
    return news


def put_in_place(
    connection: sa.Connection, table: sa.Table, scope: Scope, values: Mapping[str, Any]
) -> str:
    """Let something hold in the place of what had its name; say what is new of it."""
    holds = _holds(table, scope) & (table.c.name == values["name"])
    before = connection.execute(sa.select(table.c.sha256).where(holds)).scalar()
    if before == values["sha256"]:
        return "the same"
    connection.execute(sa.update(table).where(holds).values(ended_at=now()))
    connection.execute(sa.insert(table).values({**values, "scope": scope.key, "at": now()}))
    return "changed" if before else "new"


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
        holds = _holds(table, scope)
        there = connection.execute(sa.select(table.c.name).where(holds)).scalars().all()
        if name not in there:
            raise BookError(
                f"The book has no {what} {quoted(name)} for {scope.words}.\n"
                f"There is: {named(there) or 'none'}."
            )
        ended = sa.update(table).where(holds & (table.c.name == name))
        connection.execute(ended.values(ended_at=now()))
        record_for(connection, scope, f"{what} taken away", who=who, name=name)


def _holds(table: sa.Table, scope: Scope) -> sa.ColumnElement[bool]:
    return (table.c.scope == scope.key) & table.c.ended_at.is_(None)
