"""Make a book and open one: a file, or the address of a PostgreSQL database."""

from pathlib import Path

import sqlalchemy as sa

from zoneplan.book.book_file import MARK, beside, check_file, refuse_share
from zoneplan.book.database import Book, file_engine, server_book
from zoneplan.book.migrate import bring_up, make_tables
from zoneplan.book.tables import TABLES
from zoneplan.errors import BookError, named
from zoneplan.plain_file import exists, shown


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
            make_tables(book, season)
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
            connection.exec_driver_sql(f"PRAGMA application_id = {MARK}")
        make_tables(book, season)
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
        check_file(path)
        book = Book(str(path), file_engine(path), path)
    try:
        bring_up(book)
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
