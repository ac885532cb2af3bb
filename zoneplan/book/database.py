"""An open book: who reads and who writes, and what its database refuses."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import make_url

from zoneplan.errors import BookError, quoted

_WAIT_S = 30.0  # for another who writes
_LOCK = 0x5A50626B  # that writers of one database take in turn


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
        with self._refusals(), self._reader().connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[sa.Connection]:
        """Change the book, all of it or nothing; one writer at a time, and what he reads holds.

        Raises
        ------
        BookError
            When another writes for long, the disk is full, or the book cannot be written.
        """
        with self._refusals(), self.engine.begin() as connection:
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
    def _refusals(self) -> Iterator[None]:
        try:
            yield
        except sa.exc.DBAPIError as error:
            fault = _fault(self.address, error)
            if fault is None:
                raise
            raise fault from error


def now() -> str:
    """The moment, as a book writes it."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def file_engine(path: Path, journal: str = "WAL", keys: str = "ON") -> sa.Engine:
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


def server_book(address: str) -> Book:
    """Connect to a PostgreSQL database.

    Raises
    ------
    BookError
        When it is no address of one, or a part is missing to reach it.
    """
    try:
        url = make_url(address)
    except (sa.exc.ArgumentError, ValueError) as error:
        raise BookError(
            f"{quoted(address)} is no address.\nWrite it so: postgresql://user@host/database."
        ) from error
    _refuse_half_password(url)
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


def _refuse_half_password(url: sa.URL) -> None:
    """Refuse an address whose password has an @: what follows it would be shown as a host."""
    if "@" in (url.host or ""):
        raise BookError(
            "The address has more than one @, so it cannot be told where the password ends.\n"
            "Write an @ of the password as %40, a / as %2F, a : as %3A."
        )


class _Geometry(sa.types.UserDefinedType[Any]):
    """PostGIS's own type, of a column that the database fills by itself."""

    cache_ok = True

    def __init__(self, *_: object) -> None: ...


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
    "42501": "{book} does not let this user do that: {cause}.\n"
    "Ask who runs the database for the right. A new book makes tables, and wants PostGIS there.",
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
        first_line = quoted(str(cause).partition("\n")[0], 200)
        words = _SERVER_FAULTS[state].format(book=address, seconds=_WAIT_S, cause=first_line)
        return BookError(words)
    if (
        isinstance(error, sa.exc.OperationalError)
        and not name
        and (not state or state[:2] in ("08", "28", "3D", "57"))
    ):
        return BookError(
            f"{address} does not answer: {quoted(' '.join(str(cause).split()), 200)}.\n"
            "What was finished is in the book. Check the address, the name of the database, the "
            "user and his password, and that the server runs."
        )
    return None
