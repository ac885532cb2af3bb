"""A book that an older zoneplan made is brought up to date with all it holds, or not at all."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.migration import MigrationContext

from tests.book.county import THREE, book_of
from tests.book.later.failing.t0002_failing import KILLED
from zoneplan.book import opening
from zoneplan.book.fields import State, fields, find_field
from zoneplan.book.history import history
from zoneplan.book.opening import open_book
from zoneplan.book.planning import plan_all
from zoneplan.book.plans import plan_document, plan_of, record_state
from zoneplan.book.supply import set_conditions
from zoneplan.book.tables import TABLES, plans
from zoneplan.errors import BookError

LATER = Path(__file__).parent / "later"
FROZEN = Path(__file__).parent / "data" / "book-b0001.zip"
OURS = opening._config


def later(name):
    """The migrations of a later zoneplan: ours, and one more."""

    def config():
        both = OURS()
        ours = Path(both.get_main_option("script_location")) / "versions"
        both.set_main_option("version_locations", f"{ours}{os.pathsep}{LATER / name}")
        return both

    return config


@pytest.fixture
def older(address, tmp_path):
    """A book with plans, states and a history, in the form of today."""
    with book_of(address, tmp_path, *THREE) as book:
        plan_all(book, who="Ann", workers=0)
        record_state(book, "South", State.AGREED, who="Ann", note="as it is")
    return address


def contents(address):
    """All rows of all tables, as they are."""
    with open_book(address) as book, book.read() as connection:
        return {
            name: sorted(map(repr, connection.execute(sa.select(*table.columns))))
            for name, table in TABLES.tables.items()
        }


def form(address):
    with open_book(address) as book, book.read() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def has_table(address, name):
    with open_book(address) as book, book.read() as connection:
        return sa.inspect(connection).has_table(name)


def test_an_older_book_is_brought_up_to_date_and_loses_nothing(older, monkeypatch):
    before = contents(older)
    assert len(before["plans"]) == len(before["boundaries"]) == 3
    monkeypatch.setattr(opening, "_config", later("good"))
    assert contents(older) == before
    assert form(older) == "t0002"
    with open_book(older) as book:
        with book.read() as connection:
            whose = connection.execute(sa.text("SELECT name, whose FROM fields ORDER BY id")).all()
            assert whose == [("North", "Ann"), ("South", "Ann"), ("North", "Bob")]
            assert connection.execute(sa.text("SELECT fields FROM counted")).scalar() == 3
        assert find_field(book, "South").state is State.AGREED
        assert plan_all(book, who="Ann", workers=0).up_to_date == 3
        with pytest.raises(sa.exc.DBAPIError, match="never changed"), book.write() as connection:
            connection.execute(sa.text("UPDATE history SET who = 'nobody'"))
        if book.path is not None:  # references hold again
            with pytest.raises(sa.exc.IntegrityError), book.write() as connection:
                connection.execute(sa.text("DELETE FROM fields"))


def test_once_brought_up_an_older_zoneplan_refuses_it_and_changes_nothing(older, monkeypatch):
    monkeypatch.setattr(opening, "_config", later("good"))
    before = contents(older)
    monkeypatch.setattr(opening, "_config", OURS)
    with pytest.raises(BookError, match=r"newer zoneplan[\s\S]*t0002"):
        open_book(older)
    monkeypatch.setattr(opening, "_config", later("good"))
    assert contents(older) == before


def test_a_change_that_fails_half_way_leaves_the_book_as_it_was(older, monkeypatch):
    before = contents(older)
    monkeypatch.setattr(opening, "_config", later("failing"))
    with pytest.raises(RuntimeError, match="half way"):
        open_book(older)
    monkeypatch.setattr(opening, "_config", OURS)
    assert contents(older) == before
    assert form(older) == "b0001"
    assert not has_table(older, "counted")
    monkeypatch.setattr(opening, "_config", later("good"))  # and it can be done again, whole
    assert contents(older) == before
    assert has_table(older, "counted")


@pytest.mark.slow
def test_a_change_that_is_killed_half_way_leaves_the_book_as_it_was(older):
    before = contents(older)
    script = (
        "import sys; from tests.book import test_older_books as t; from zoneplan.book import "
        "opening; opening._config = t.later('failing'); t.open_book(sys.argv[1])"
    )
    killed = subprocess.run(
        [sys.executable, "-c", script, older],
        env={**os.environ, KILLED: "1"},
        cwd=Path(__file__).parents[2],
        check=False,
    )
    assert killed.returncode == -signal.SIGKILL
    assert contents(older) == before
    assert form(older) == "b0001"
    assert not has_table(older, "counted")


def test_references_that_lead_nowhere_stop_the_change(tmp_path, monkeypatch):
    path = tmp_path / "season.book"
    book_of(str(path), tmp_path, *THREE, soil=False, planter=False).close()
    with sqlite3.connect(path) as raw:  # another program, which looks at no references
        raw.execute("DELETE FROM growers WHERE name = 'Bob'")
    raw.close()
    monkeypatch.setattr(opening, "_config", later("good"))
    with pytest.raises(BookError, match=r"rows of farms.* refer to what is not there"):
        open_book(path)
    monkeypatch.setattr(opening, "_config", OURS)
    assert form(path) == "b0001"


def change_document(book, field, change):
    """Write a plan's document otherwise, as another zoneplan or an accident may."""
    with book.write() as connection:
        asked = sa.select(plans.c.document).where(plans.c.id == field.plan_id)
        document = zlib.decompress(connection.execute(asked).scalar())
        changed = {"document": zlib.compress(change(document)), "whole": None}
        connection.execute(sa.update(plans).where(plans.c.id == field.plan_id).values(changed))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda document: document.replace(b"zoneplan-plan/2", b"zoneplan-plan/99"), "plan/99"),
        (lambda document: document[:100], "is damaged"),
    ],
)
def test_a_plan_that_cannot_be_read_is_told_and_can_be_made_again(older, change, words):
    with open_book(older) as book:
        south = find_field(book, "South")
        change_document(book, south, change)
        for read in (plan_document, plan_of):
            with pytest.raises(BookError, match=rf"{words}[\s\S]*lan the field again"):
                read(book, south.plan_id)
        set_conditions(book, {"tillage": "no-till"}, who="Ann")
        report = plan_all(book, who="Ann", workers=0)
        assert not report.failed
        moved = {field.id: lines for field, lines in report.moved}
        assert moved[south.id] == ("The plan before it cannot be read: check every number.",)
        assert plan_document(book, find_field(book, "South").plan_id)["zones"]


def test_a_whole_plan_of_another_form_gives_way_to_its_document(older):
    with open_book(older) as book:
        south = find_field(book, "South")
        whole = plan_of(book, south.plan_id)
        other = zlib.compress(b'{"schema": "zoneplan-whole/0"}')
        with book.write() as connection:
            connection.execute(sa.update(plans).values(whole=other))
        again = plan_of(book, south.plan_id)
    for one, other in zip(again.settings, whole.settings, strict=True):
        for moisture in one.set_at:
            assert one.set_at[moisture].margin_n == pytest.approx(other.set_at[moisture].margin_n)


# ---- books that are out there --------------------------------------------------------------------


def test_a_book_of_the_first_form_opens_for_ever(tmp_path):
    """Frozen: three fields, two of them planned, one agreed to; written on 29 November 2026."""
    with zipfile.ZipFile(FROZEN) as archive:
        archive.extractall(tmp_path)
    with open_book(tmp_path / "season.book") as book:
        listed = {field.path: field for field in fields(book)}
        assert [*listed] == ["Ann / Home / North", "Ann / Home / South", "Bob / Hill / North"]
        agreed = listed["Ann / Home / South"]
        assert (agreed.stood, agreed.who, agreed.note) == (State.AGREED, "Ann", "as it is")
        assert agreed.acres == pytest.approx(10.5, abs=0.1)
        document = plan_document(book, agreed.plan_id)
        assert document["zones"]
        assert json.dumps(document)
        did = [event.did for event in history(book)]
        assert did.count("planned") == 2
        assert did[-1] == "agreed"
        report = plan_all(book, who="Ann", workers=0)  # and its fields can be planned again
        assert not report.failed
