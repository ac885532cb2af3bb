"""Growers' folders made from a book, and what the book remembers of it."""

import pytest

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from zoneplan.book.hand_out import By, due, hand_out_all, hand_out_due
from zoneplan.book.history import history
from zoneplan.errors import BookError

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
