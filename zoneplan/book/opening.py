"""Make a book and open one: a file, or the address of a PostgreSQL database."""

import os
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import NoReturn

import sqlalchemy as sa
from alembic.command import upgrade
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from zoneplan import release
from zoneplan.book.database import Book, file_engine, now, server_book
from zoneplan.book.tables import TABLES, about, seasons
from zoneplan.errors import BookError, named, quoted
from zoneplan.plain_file import check_regular, exists, head_of, shown

_MARK = int.from_bytes(b"ZPbk")  # the application that an SQLite file says it is of
_HEAD = b"SQLite format 3\0"
_SHARE = re.compile(
    "nfs|cifs|smb|9p|afs|ncp|sshfs|davfs|glusterfs|ceph|lustre|beegfs|ocfs2|gfs2"
    "|gvfsd|kio|rclone|s3fs|curlftpfs"  # what a desktop or a cloud's program shows as a folder
    "|virtiofs|vboxsf|vmhgfs|prl_fs"  # folders of the machine that a virtual one runs on
)
_MOUNTS = Path("/proc/self/mounts")


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
        book = server_book(where)
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
    refuse_share(path)
    with beside(path) as made, Book(str(path), file_engine(made, "DELETE"), made) as book:
        with book.write() as connection:
            connection.exec_driver_sql(f"PRAGMA application_id = {_MARK}")
        _make(book, season)
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
    if "://" in where:
        book = server_book(where)
    else:
        path = Path(where)
        _refuse_file(path)
        book = Book(str(path), file_engine(path), path)
    try:
        _bring_up(book)
    except BaseException:
        book.close()
        raise
    return book


def _refuse_taken(book: Book) -> None:
    with book.read() as connection:
        tables = {*sa.inspect(connection).get_table_names()} & {*TABLES.tables, "alembic_version"}
    if tables:
        raise BookError(
            f"{book.address} holds tables already: {named(sorted(tables))}.\n"
            "Nothing is written over. Open the book that is there, or name an empty database."
        )


# ---- its tables --------------------------------------------------------------------------------


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
            _refuse_unmarked(book, connection)
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
        Book(book.address, file_engine(book.path, keys="OFF"), book.path) as changing,
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


def _refuse_unmarked(book: Book, connection: sa.Connection) -> NoReturn:
    """Refuse what does not say in which form it is: another program's, or a book by half."""
    tables = {*sa.inspect(connection).get_table_names()}
    if {"about", "history"} <= tables:
        _refuse_half(book, connection, ["alembic_version"])
    alike = tables & TABLES.tables.keys()
    raise BookError(
        f"{book.address} is no book: "
        + (
            f"another program's tables are there, {named(sorted(alike))} among them.\n"
            "Name another database."
            if alike
            else "it holds no tables of one.\nMake one there."
        ),
        code="" if alike else "book-none",
    )


def _refuse_half(book: Book, connection: sa.Connection, lacking: Sequence[str] = ()) -> None:
    """Refuse a book that lacks a table or a column: nobody knows what else it lacks."""
    inspector = sa.inspect(connection)
    there = {*inspector.get_table_names()} & TABLES.tables.keys()
    missing = [*lacking, *(name for name in TABLES.tables if name not in there)]
    for name in sorted(there):
        columns = {column["name"] for column in inspector.get_columns(name)}
        own = [column.name for column in TABLES.tables[name].columns]
        missing += [f"{name}.{column}" for column in own if column not in columns]
    if missing:
        raise BookError(
            f"{book.address} is a book only by half: {named(missing)} "
            f"{'is' if len(missing) == 1 else 'are'} missing.\n"
            "A change of its form was cut short, or someone took a part away.\n"
            "Restore a backup.",
            code="book-damaged",
        )


# ---- its file ------------------------------------------------------------------------------------


def _refuse_file(path: Path) -> None:
    """Refuse a file that is no book, or not all of one."""
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
    refuse_share(path)


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


def refuse_share(path: Path) -> None:
    """Refuse a place on a network share.

    Raises
    ------
    BookError
        When a book there could not be worked in.
    """
    kind = share_of(path)
    if kind:
        raise BookError(
            f"{shown(path)} lies on a network share ({quoted(kind)}).\n"
            "A book in a file is for one machine: over a network two could write at once, and "
            "spoil it.\nKeep it on a disk of this machine; for several machines, use a PostgreSQL "
            "database: postgresql://user@host/database."
        )


def share_of(path: Path) -> str | None:
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
    return kind if _SHARE.match(kind) else None


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """Lend a place beside another, and put what was made there in its place, over nothing.

    Raises
    ------
    BookError
        When something is there already, or nothing can be made there.
    """
    if exists(path):
        raise BookError(
            f"{shown(path)} is there already, and nothing is written over.\nName another place."
        )
    try:
        room = Path(mkdtemp(prefix=".zoneplan-", dir=path.parent))
    except OSError as error:
        raise BookError(
            f"{shown(path)} cannot be made: {error.strerror or error}.\n"
            "Name a folder that is there and that you may write into."
        ) from error
    try:
        made = room / "made"
        yield made
        if made.is_dir():
            made.rename(path)
        else:
            _put_in_place(made, path)
    except FileExistsError as error:
        raise BookError(f"{shown(path)} has just been made by another.") from error
    except OSError as error:
        raise BookError(
            f"{shown(path)} cannot be written: {error.strerror or error}.\n"
            "Make room there, or name another place."
        ) from error
    finally:
        rmtree(room, ignore_errors=True)


def _put_in_place(made: Path, path: Path) -> None:
    try:
        os.link(made, path)  # unlike a change of name, it puts nothing in another's place
    except FileExistsError:
        raise
    except OSError as error:  # some disks have no links
        if exists(path):
            raise FileExistsError(str(path)) from error
        made.rename(path)
