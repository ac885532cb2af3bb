"""Make a book and open one: a file, or the address of a PostgreSQL database."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any

import sqlalchemy as sa
from alembic.command import upgrade
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.engine import make_url

from zoneplan.book.tables import TABLES, about, seasons
from zoneplan.errors import BookError, named, quoted
from zoneplan.plain_file import check_regular, exists, head_of, shown
from zoneplan.release import release

_MARK = int.from_bytes(b"ZPbk")  # the application that an SQLite file says it is of
_HEAD = b"SQLite format 3\0"
_WAIT_S = 30.0  # for another who writes
_LOCK = 0x5A50626B  # that writers of one database take in turn
_SHARES = (
    "nfs",
    "cifs",
    "smb",
    "9p",
    "afs",
    "ncp",
    "sshfs",
    "davfs",
    "glusterfs",
    "ceph",
    "lustre",
)
_MOUNTS = Path("/proc/self/mounts")


@dataclass(frozen=True)
class Book:
    """An open book. Close it, or use it in `with`."""

    address: str  # as a message may show it: without a password
    engine: sa.Engine
    path: Path | None = None  # None: on a server

    @contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """Look into the book: all that is read inside belongs together.

        Raises
        ------
        BookError
            When the book cannot be read.
        """
        with self._told(), self._reader().connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[sa.Connection]:
        """Change the book, all of it or nothing; one writer at a time, and what he reads holds.

        Raises
        ------
        BookError
            When another writes for long, the disk is full, or the book cannot be written.
        """
        with self._told(), self.engine.begin() as connection:
            if self.path is None:
                connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
            yield connection

    def close(self) -> None:
        """Leave the book to others."""
        self.engine.dispose()

    def __enter__(self) -> "Book":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _reader(self) -> sa.Engine:
        if self.path is None:
            return self.engine.execution_options(isolation_level="REPEATABLE READ")
        return self.engine.execution_options(reads=True)

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sa.exc.DBAPIError as error:
            fault = _fault(self.address, error)
            if fault is None:
                raise
            raise fault from error


def new_book(address: str | Path, season: str | None = None) -> Book:
    """Make an empty book and open it.

    Parameters
    ----------
    address : str or Path
        A file that is not there yet, or "postgresql://user@host/database" of an empty database.
    season : str, optional
        Which it begins with. The year of today, or of the spring that comes next.

    Raises
    ------
    BookError
        When something is there already, or a book cannot be there.
    """
    where = str(address)
    if "://" in where:
        book = _server(where)
        try:
            _refuse_taken(book)
            _make(book, season)
        except BaseException:
            book.close()
            raise
        return book
    path = Path(where)
    if exists(path):
        raise BookError(
            f"{shown(path)} is there already, and nothing is written over.\n"
            "Name another file for the new book, or open that one."
        )
    _refuse_share(path)
    _new_file(path, season)
    return open_book(path)


def open_book(address: str | Path) -> Book:
    """Open a book, and bring one that an older zoneplan made up to date.

    Raises
    ------
    BookError
        When there is none, it is none, it is cut off, half made, or made by a newer zoneplan, it
        lies on a network share, or another holds it for long.
    """
    where = str(address)
    book = _server(where) if "://" in where else _file(Path(where))
    try:
        _bring_up(book)
    except BaseException:
        book.close()
        raise
    return book


def now() -> str:
    """The moment, as a book writes it."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


# ---- a file ------------------------------------------------------------------------------------


def _file(path: Path) -> Book:
    if not exists(path):
        raise BookError(
            f"There is no book {shown(path)}.\nCheck the name, and where you are; or make one.",
            code="book-none",
        )
    size = check_regular(path, BookError)
    head = head_of(path, 100)
    if not head.startswith(_HEAD) or int.from_bytes(head[68:72]) != _MARK:
        raise BookError(
            f"{shown(path)} is no book: "
            + ("it is empty.\n" if not size else "another program made it.\n")
            + "Give the file that was made as one.",
            code="book-none",
        )
    _refuse_cut_off(path, size, head)
    _refuse_share(path)
    return Book(str(path), _sqlite(path), path)


def _sqlite(path: Path, journal: str = "WAL", keys: str = "ON") -> sa.Engine:
    """Connect to a file so that a writer waits for another in place of being refused."""
    engine = sa.create_engine(
        sa.URL.create("sqlite", database=str(path)),
        connect_args={"timeout": _WAIT_S, "isolation_level": None},
    )

    @sa.event.listens_for(engine, "connect")
    def _(raw: sqlite3.Connection, _record: object) -> None:
        for pragma in (f"journal_mode={journal}", "synchronous=FULL", f"foreign_keys={keys}"):
            raw.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _(connection: sa.Connection) -> None:
        reads = connection.get_execution_options().get("reads")
        connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")

    return engine


def _new_file(path: Path, season: str | None) -> None:
    """Make the file beside its place, and put it there whole, over nothing."""
    try:
        room = Path(mkdtemp(prefix=".zoneplan-book-", dir=path.parent))
    except OSError as error:
        raise BookError(
            f"{shown(path)} cannot be made: {error.strerror or error}.\n"
            "Name a folder that is there and that you may write into."
        ) from error
    made = room / "book"
    try:
        book = Book(str(path), _sqlite(made, "DELETE"), made)
        with book.write() as connection:
            connection.exec_driver_sql(f"PRAGMA application_id = {_MARK}")
        _make(book, season)
        book.close()
        put_in_place(made, path)
    except FileExistsError as error:
        raise BookError(f"{shown(path)} has just been made by another. Open that one.") from error
    except OSError as error:
        raise BookError(f"{shown(path)} cannot be made: {error.strerror or error}.") from error
    finally:
        rmtree(room, ignore_errors=True)


def put_in_place(made: Path, path: Path) -> None:
    """Give a finished file its place, over nothing.

    Raises
    ------
    OSError
        FileExistsError where another was there first.
    """
    try:
        os.link(made, path)  # unlike a change of name, it puts nothing in another's place
    except FileExistsError:
        raise
    except OSError as error:  # some disks have no links
        if exists(path):
            raise FileExistsError(str(path)) from error
        made.rename(path)


def _refuse_cut_off(path: Path, size: int, head: bytes) -> None:
    """The head counts the pages; while a log lies beside, the file may yet be shorter."""
    page = int.from_bytes(head[16:18])
    pages, sure = int.from_bytes(head[28:32]), head[24:28] == head[92:96]
    log = path.with_name(f"{path.name}-wal")
    stated = pages * (65536 if page == 1 else page)
    if sure and size < stated and not (exists(log) and log.stat().st_size):
        raise BookError(
            f"{shown(path)} is cut off at {size:,} of {stated:,} bytes.\n"
            "What is missing cannot be told, so nothing of it is used.\n"
            "Copy it again from where it is whole, or restore a backup.",
            code="book-damaged",
        )


def _refuse_share(path: Path) -> None:
    kind = _share(path)
    if kind:
        raise BookError(
            f"{shown(path)} lies on a network share ({quoted(kind)}).\n"
            "A book in a file is for one machine: over a network two could write at once, and "
            "spoil it.\nKeep it on a disk of this machine; for several machines, use a PostgreSQL "
            "database: postgresql://user@host/database."
        )


def _share(path: Path) -> str | None:
    """What kind of share a file lies on; None where it is a disk, or nobody can tell."""
    if str(path).startswith((r"\\", "//")):
        return "a path of another machine"
    home = path.resolve()
    deepest: tuple[int, str] = (0, "")
    with suppress(OSError):
        for line in _MOUNTS.read_text("utf-8", "replace").splitlines():
            _, place, kind, *_ = (*line.split(" "), "", "", "")
            place = place.replace("\\040", " ")
            if home.is_relative_to(place or "?"):
                deepest = max(deepest, (len(place), kind))
    kind = deepest[1].removeprefix("fuse.")
    return kind if kind.startswith(_SHARES) else None


# ---- a server ----------------------------------------------------------------------------------


def _server(address: str) -> Book:
    """Connect to a PostgreSQL database."""
    try:
        url = make_url(address)
    except (sa.exc.ArgumentError, ValueError) as error:
        raise BookError(
            f"{quoted(address)} is no address.\nWrite it so: postgresql://user@host/database."
        ) from error
    if url.get_backend_name() not in ("postgresql", "postgres"):
        raise BookError(
            f"{quoted(url.drivername)} is no kind of book that we know.\n"
            "Give a file, or the address of a PostgreSQL database: postgresql://user@host/database."
        )
    try:
        engine = sa.create_engine(url.set(drivername="postgresql+psycopg"))
    except ModuleNotFoundError as error:
        raise BookError(
            "To reach a PostgreSQL database a part is missing.\n"
            'Install it: pip install "zoneplan[server]"'
        ) from error

    dialect: Any = engine.dialect
    dialect.ischema_names = {**dialect.ischema_names, "geometry": _Geometry}

    @sa.event.listens_for(engine, "connect")
    def _(raw: Any, _record: object) -> None:
        raw.execute(f"SET lock_timeout = '{_WAIT_S:g}s'")
        raw.commit()

    return Book(url.render_as_string(hide_password=True), engine)


class _Geometry(sa.types.UserDefinedType[Any]):
    """PostGIS's own type, of a column that the database fills by itself."""

    cache_ok = True

    def __init__(self, *_: object) -> None: ...


def _refuse_taken(book: Book) -> None:
    with book.read() as connection:
        tables = {*sa.inspect(connection).get_table_names()} & {*TABLES.tables, "alembic_version"}
    if tables:
        raise BookError(
            f"{book.address} holds tables already: {named(sorted(tables))}.\n"
            "Nothing is written over. Open the book that is there, or name an empty database."
        )


# ---- what is in it -----------------------------------------------------------------------------


def _make(book: Book, season: str | None) -> None:
    with book.write() as connection:
        _migrate(connection)
        first = season or _next_season()
        connection.execute(sa.insert(seasons).values(name=first))
        made = {"season": first, "made_with": release(), "made_at": now()}
        connection.execute(sa.insert(about), [{"name": k, "value": v} for k, v in made.items()])


def _next_season() -> str:
    """The year whose planting comes next: from July on, the year that follows."""
    today = datetime.now(UTC).date()
    return str(today.year + (today.month >= 7))


def _bring_up(book: Book) -> None:
    """See that the tables are those of today, and migrate those of an older zoneplan."""
    with book.read() as connection:
        stands = MigrationContext.configure(connection).get_current_revision()
        if stands is None:
            _refuse_half(book, connection)
            raise BookError(
                f"{book.address} is no book: it holds no tables of one.\nMake one there.",
                code="book-none",
            )
        script = ScriptDirectory.from_config(_config())
        known = [script_file.revision for script_file in script.walk_revisions()]
        if stands not in known:
            made = connection.execute(sa.text("SELECT value FROM about WHERE name = 'made_with'"))
            raise BookError(
                f"{book.address} was made or used by a newer zoneplan than this, "
                f"{release()}: its tables are in the form {quoted(stands)} (first made "
                f"with {quoted(made.scalar())}), and forms up to {known[0]} are known here.\n"
                "Nothing was changed. Install the newer zoneplan, and open it there."
            )
    if stands != known[0]:
        _to_newest(book)
    with book.read() as connection:
        _refuse_half(book, connection)


def _to_newest(book: Book) -> None:
    """Bring the tables up to those of today: all of it, or the book stays as it was.

    SQLite changes a table by putting another in its place, which rows that refer to it forbid. So
    a file's references are looked at when all is done, and before any of it holds.
    """
    if book.path is None:
        with book.write() as connection:
            _migrate(connection)
        return
    with (
        Book(book.address, _sqlite(book.path, keys="OFF"), book.path) as changing,
        changing.write() as connection,
    ):
        _migrate(connection)
        loose = {row[0] for row in connection.exec_driver_sql("PRAGMA foreign_key_check")}
        if loose:
            raise BookError(
                f"{book.address} was made by an older zoneplan, and cannot be brought up to date: "
                f"rows of {named(sorted(loose))} refer to what is not there.\n"
                "Nothing was changed. Restore a backup, or open it with the zoneplan that made it.",
                code="book-damaged",
            )


def _migrate(connection: sa.Connection) -> None:
    config = _config()
    config.attributes["connection"] = connection
    upgrade(config, "head")


def _config() -> Config:
    config = Config()
    home = str(files("zoneplan.book") / "migrations").replace("%", "%%")
    config.set_main_option("script_location", home)
    config.set_main_option("path_separator", "os")
    return config


def _refuse_half(book: Book, connection: sa.Connection) -> None:
    """Refuse a book that lacks a table or a column: nobody knows what else it lacks."""
    inspector = sa.inspect(connection)
    there = {*inspector.get_table_names()}
    missing = [name for name in TABLES.tables if name not in there]
    if len(missing) == len(TABLES.tables):
        return
    for name, table in TABLES.tables.items():
        columns = (
            {column["name"] for column in inspector.get_columns(name)} if name in there else set()
        )
        missing += [
            f"{name}.{column.name}"
            for column in table.columns
            if name in there and column.name not in columns
        ]
    if missing:
        raise BookError(
            f"{book.address} is a book only by half: {named(missing)} "
            f"{'is' if len(missing) == 1 else 'are'} missing.\n"
            "A change of its form was cut short, or someone took a part away.\n"
            "Restore a backup.",
            code="book-damaged",
        )


# ---- what goes wrong ---------------------------------------------------------------------------

_FILE_FAULTS: dict[str, str] = {
    "SQLITE_FULL": "{book} cannot be written: the disk is full.\n"
    "What was in it before is safe, and so is all that was finished. Make room, and go on.",
    "SQLITE_BUSY": "{book} is locked: another has been writing into it for more than "
    "{seconds:.0f} seconds.\nNothing was lost. Wait until he is done, or end what hangs there.",
    "SQLITE_READONLY": "{book} cannot be written: you may only read it, or its folder.\n"
    "A book wants both. Change who may write there, or copy it to a folder of yours.",
    "SQLITE_CANTOPEN": "{book} cannot be opened: its folder takes no files.\n"
    "A book keeps a log beside itself. Put it into a folder that you may write into.",
    "SQLITE_CORRUPT": "{book} is damaged: what it holds does not fit together.\nRestore a backup.",
    "SQLITE_NOTADB": "{book} is damaged: its beginning is not a book's.\nRestore a backup.",
    "SQLITE_IOERR": "{book} cannot be read or written: the disk tells of a fault.\n"
    "Look after the disk first; then restore a backup if the book is damaged.",
}
_CODES = {"SQLITE_CORRUPT": "book-damaged", "SQLITE_NOTADB": "book-damaged"}
_SERVER_FAULTS: dict[str, str] = {
    "53100": "{book} cannot be written: the server's disk is full.\n"
    "All that was finished is safe. Make room there, and go on.",
    "55P03": "{book} is locked: another has been writing into it for more than "
    "{seconds:.0f} seconds.\nNothing was lost. Wait until he is done.",
    "42501": "{book} cannot be used: this user may not do that there.\n"
    "Ask who runs the database for the right to make tables, and for PostGIS.",
    "0A000": "{book} cannot hold a book: the server has no PostGIS.\n"
    "Ask who runs it to install PostGIS.",
    "58P01": "{book} cannot hold a book: the server has no PostGIS.\n"
    "Ask who runs it to install PostGIS.",
}


def _fault(address: str, error: sa.exc.DBAPIError) -> BookError | None:
    """Say what a database refuses, where it is nothing of ours."""
    cause = error.orig
    name = str(getattr(cause, "sqlite_errorname", "") or "")
    for code, words in _FILE_FAULTS.items():
        if name.startswith(code):
            return BookError(words.format(book=address, seconds=_WAIT_S), code=_CODES.get(code, ""))
    state = str(getattr(cause, "sqlstate", "") or "")
    if state in _SERVER_FAULTS:
        return BookError(_SERVER_FAULTS[state].format(book=address, seconds=_WAIT_S))
    if (
        isinstance(error, sa.exc.OperationalError)
        and not name
        and (not state or state[:2] in ("08", "28", "3D", "57"))
    ):
        return BookError(
            f"{address} does not answer: {quoted(cause, 200)}.\n"
            "Check the address, the name of the database and of the user, and that the server runs."
        )
    return None
