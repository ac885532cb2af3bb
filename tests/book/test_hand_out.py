"""Growers' folders made from a book, and what the book remembers of it."""

import json

import pytest

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from tests.book.test_cli_book import run
from zoneplan.book import grower_folder
from zoneplan.book import hand_out as module
from zoneplan.book.hand_out import By, due, hand_out_all, hand_out_due
from zoneplan.book.history import history
from zoneplan.book.opening import open_book
from zoneplan.book.put_out import RECORD
from zoneplan.cli.book.shared import SOME_FAILED
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
    assert "Left out, for a fault of zoneplan: Home / South\n    zones.csv: zone 1 is wet" in (
        result.stdout
    )
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
