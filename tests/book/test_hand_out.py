"""Growers' folders made from a book, and what the book remembers of it."""

import errno
import json
import os
from dataclasses import replace

import pytest
import sqlalchemy as sa

from tests.book.filled import filled, keep
from tests.book.handed import at, field_plan, given, opened
from tests.book.test_cli_book import run
from zoneplan.book import grower_folder
from zoneplan.book import hand_out as module
from zoneplan.book.hand_out import By, due, hand_out_all, hand_out_due
from zoneplan.book.history import history
from zoneplan.book.opening import open_book
from zoneplan.book.put_out import RECORD
from zoneplan.book.tables import plans
from zoneplan.cli.book import SOME_FAILED
from zoneplan.errors import BookError, OutputError

ONE = given("Ann", field_plan("Home", "North", -87, 42), field_plan("Home", "South", -87.1, 42))
TWO = given("Bob", field_plan("Home", "North", -86, 41))


def test_each_grower_gets_his_own_and_the_book_remembers(address, tmp_path):
    with filled(address, ONE, TWO) as book:
        for one in due(book):
            hand_out_due(book, one, tmp_path, By("agronomist", "Co-op"))
        events = [(event.did, event.grower, event.field) for event in history(book)][-3:]
    assert events == [
        ("handed out", "Ann", "North"),
        ("handed out", "Ann", "South"),
        ("handed out", "Bob", "North"),
    ]
    assert sorted(path.name for path in tmp_path.iterdir() if path.is_dir()) == ["Ann", "Bob"]


def test_what_has_no_plan_is_left_out_and_told(address):
    with filled(address, ONE, plan=False) as book:
        (one,) = due(book)
    assert one.fields == ()
    assert [field.name for field in one.left_out] == ["North", "South"]


def test_only_those_who_are_named(address):
    with filled(address, ONE, TWO) as book:
        assert [item.grower for item in due(book, ["Bob"])] == ["Bob"]
        with pytest.raises(BookError, match=r'no grower Bop. Did you mean "Bob"'):
            due(book, ["Bop"])


@pytest.mark.slow
def test_several_growers_are_handed_out_at_once_each_in_a_process(address, tmp_path):
    with filled(address, ONE, TWO) as book:
        outcomes = []
        hand_out_all(
            address, ["Ann", "Bob"], tmp_path / "out", By("a", "Co-op"),
            done=outcomes.append, workers=2,
        )  # fmt: skip
        (bob,) = due(book, ["Bob"])
        alone = hand_out_due(book, bob, tmp_path / "alone", By("a", "Co-op"))
        assert sum(event.did == "handed out" for event in history(book)) == 4
    assert {outcome.key: outcome.fault for outcome in outcomes} == {"Ann": None, "Bob": None}
    assert (tmp_path / "out" / "Bob, 2027.zip").read_bytes() == alone.archive.read_bytes()


@pytest.mark.slow
def test_what_stops_one_does_not_stop_the_others(address, tmp_path):
    (tmp_path / "Ann").mkdir()
    (tmp_path / "Ann" / "taxes.txt").write_text("mine")
    with filled(address, ONE, TWO):
        outcomes = []
        hand_out_all(address, ["Ann", "Bob"], tmp_path, By("a", ""), done=outcomes.append)
    faults = {outcome.key: outcome.fault for outcome in outcomes}
    assert faults["Bob"] is None
    assert "not from a hand-out" in faults["Ann"].words


@pytest.fixture
def lying(monkeypatch):
    """Let what is made of every field called South differ from its plan."""
    look = grower_folder.differences

    def differences(files, plan, options):
        faults = look(files, plan, options)
        return ["zones.csv: zone 1 is wet"] if plan.field.name == "South" else faults

    monkeypatch.setattr(grower_folder, "differences", differences)
    monkeypatch.setattr(module, "each", lambda work, tasks, *_, **__: map(work, tasks))


@pytest.mark.slow
@pytest.mark.usefixtures("lying")
def test_a_fault_of_one_field_is_told_and_remembered_and_its_grower_gets_the_rest(tmp_path):
    address = tmp_path / "season.book"
    with filled(str(address), ONE, TWO):
        pass
    result = run("hand-out", address, "--out", tmp_path / "out")
    assert result.exit_code == SOME_FAILED
    assert "Ann: 1 field, " in result.stdout
    assert "Left out, for a fault: Home / South\n    zones.csv: zone 1 is wet" in (result.stdout)
    with open_book(str(address)) as book:
        events = [
            (event.did, event.grower, event.field, event.what.get("fault"))
            for event in history(book)
        ][-3:]
    assert events == [
        ("handed out", "Ann", "North", None),
        ("not handed out", "Ann", "South", "zones.csv: zone 1 is wet"),
        ("handed out", "Bob", "North", None),
    ]
    assert "not handed out" in run("history", address).stdout
    record = json.loads((tmp_path / "out" / "Ann" / RECORD).read_bytes())
    assert record["prepared_by"] == ""  # nobody is named: who runs the machine is nobody to call


@pytest.mark.usefixtures("lying")
def test_where_all_are_left_out_the_book_remembers_that_too(tmp_path):
    lone = given("Cem", field_plan("Home", "South", -85, 40))
    with filled(str(tmp_path / "season.book"), lone) as book:
        with pytest.raises(OutputError, match=r"South: zones\.csv: zone 1 is wet"):
            hand_out_due(book, due(book)[0], tmp_path / "out", By("a", ""))
        assert history(book)[-1].did == "not handed out"
    assert not (tmp_path / "out").exists()


@pytest.fixture
def failing(monkeypatch, tmp_path):
    """Let the making of the sheets of every field called South fail, and reports go to a folder."""
    make = grower_folder.webpage_html

    def webpage_html(plan, **options):
        if plan.field.name == "South":
            raise KeyError("moist")
        return make(plan, **options)

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(grower_folder, "webpage_html", webpage_html)
    monkeypatch.setattr(module, "each", lambda work, tasks, *_, **__: map(work, tasks))


@pytest.mark.slow
@pytest.mark.usefixtures("failing")
def test_a_bug_in_one_field_s_sheets_is_that_field_s_and_keeps_its_trace(tmp_path):
    address, out = tmp_path / "season.book", tmp_path / "out"
    with filled(str(address), ONE, TWO):
        pass
    result = run("hand-out", address, "--out", out)
    assert result.exit_code == SOME_FAILED
    assert "Ann: 1 field, " in result.stdout
    words = "its files could not be made: KeyError: 'moist'"
    assert f"Left out, for a fault: Home / South\n    {words}\n" in result.stdout
    (report,) = (tmp_path / "state").rglob("fault-*.txt")
    assert f"A report is kept in {report}" in result.stdout
    assert "webpage_html" in report.read_text("utf-8")
    with open_book(str(address)) as book:
        left = next(event for event in history(book) if event.did == "not handed out")
    assert (left.field, left.what["fault"], left.what["report"]) == ("South", words, str(report))
    (record,) = json.loads((out / "Ann" / RECORD).read_bytes())["left_out"]
    assert record == {"farm": "Home", "field": "South", "revision": 1, "faults": [words]}
    cover = opened(out / "Ann").words["Ann, 2027 booklet.pdf"]
    assert words in " ".join(cover.split())
    assert str(tmp_path) not in cover  # what is handed out names no place on this machine


@pytest.mark.slow
@pytest.mark.usefixtures("lying")
def test_a_bug_in_what_is_one_grower_s_is_told_of_him_and_the_others_get_theirs(
    tmp_path, monkeypatch
):
    bind = grower_folder.booklet_pdf

    def booklet_pdf(parts, title):
        if title.startswith("Ann"):
            raise RuntimeError("a sheet has no page")
        return bind(parts, title)

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(grower_folder, "booklet_pdf", booklet_pdf)
    address = tmp_path / "season.book"
    with filled(str(address), ONE, TWO):
        pass
    result = run("hand-out", address, "--out", tmp_path / "out")
    assert result.exit_code == SOME_FAILED
    assert "Not handed out: Ann: a fault of zoneplan, not yours: RuntimeError" in result.stdout
    (report,) = (tmp_path / "state").rglob("fault-*.txt")
    assert f"A report is kept in {report}" in result.stdout
    assert [path.name for path in (tmp_path / "out").iterdir() if path.is_dir()] == ["Bob"]


@pytest.mark.usefixtures("lying")
def test_a_full_disk_is_no_field_s_fault(tmp_path, monkeypatch):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(grower_folder, "webpage_html", full)
    with (
        filled(str(tmp_path / "season.book"), TWO) as book,
        pytest.raises(OutputError, match="for Bob cannot be made: No space left") as error,
    ):
        hand_out_due(book, due(book)[0], tmp_path / "out", By("a", ""))
    assert "room for temporary files" in str(error.value)


@pytest.fixture
def here(monkeypatch):
    """All of it in this very process."""
    monkeypatch.setattr(module, "each", lambda work, tasks, *_, **__: map(work, tasks))


@pytest.mark.slow
@pytest.mark.usefixtures("here")
def test_what_is_planned_again_meanwhile_goes_as_it_was_and_is_told(tmp_path, monkeypatch):
    address, make = tmp_path / "season.book", module.hand_out

    def hand_out_while_another_plans(*given):
        plan = at(-86, 41, "North")
        with open_book(str(address)) as book:
            keep(book, "Bob", TWO.fields[0], replace(plan, settings=plan.settings[:1]))
        return make(*given)

    monkeypatch.setattr(module, "hand_out", hand_out_while_another_plans)
    with filled(str(address), TWO):
        pass
    result = run("hand-out", address, "--out", tmp_path / "out")
    assert result.exit_code == SOME_FAILED
    assert "Planned again meanwhile, and handed out as it was: Home / North" in result.stdout
    (field,) = json.loads((tmp_path / "out" / "Bob" / RECORD).read_bytes())["fields"]
    with open_book(str(address)) as book:
        event = history(book)[-1]
        assert (event.what["revision"], event.what["plan"]) == (1, field["plan"])
        assert due(book)[0].fields[0].revision == 2


@pytest.mark.slow
@pytest.mark.usefixtures("here")
def test_a_damaged_plan_is_left_out_and_its_grower_gets_the_rest(tmp_path):
    address = tmp_path / "season.book"
    with filled(str(address), ONE) as book, book.write() as connection:
        damage = sa.update(plans).values(whole=None, document=b"eggs")
        first = connection.execute(sa.select(sa.func.min(plans.c.id))).scalar()
        connection.execute(damage.where(plans.c.id == first))
    result = run("hand-out", address, "--out", tmp_path / "out")
    assert result.exit_code == SOME_FAILED
    assert "Ann: 1 field, " in result.stdout
    assert "Left out, for a fault: Home / North\n    Plan 1 of " in result.stdout
    with open_book(str(address)) as book, book.write() as connection:
        assert [event.did for event in history(book)][-2:] == ["not handed out", "handed out"]
        connection.execute(damage)
    result = run("hand-out", address, "--out", tmp_path / "out")
    assert result.exit_code == 1
    assert "Plan damaged ones again" in result.stdout
