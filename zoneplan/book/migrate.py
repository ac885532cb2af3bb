"""The tables of a book: made for a new one, and brought up to those of today."""

from datetime import UTC, datetime
from importlib.resources import files

import sqlalchemy as sa
from alembic.command import upgrade
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from zoneplan.book.database import Book, file_engine, now
from zoneplan.book.tables import TABLES, about, seasons
from zoneplan.errors import BookError, named, quoted
from zoneplan.release import release


def make_tables(book: Book, season: str | None) -> None:
    """Make the tables in an empty database, and begin with a season; the next one, unless named."""
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


def bring_up(book: Book) -> None:
    """See that the tables are those of today, and migrate those of an older zoneplan.

    Raises
    ------
    BookError
        When they are none of a book, not all of one, or a newer zoneplan's.
    """
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
