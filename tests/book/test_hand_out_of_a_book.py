"""Growers' folders made from a book, and what the book remembers of it."""

import pytest

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from zoneplan.book.hand_out import due, hand_out_due
from zoneplan.book.history import history
from zoneplan.errors import BookError

ONE = given("Ann", field_plan("Home", "North", -87, 42), field_plan("Home", "South", -87.1, 42))
TWO = given("Bob", field_plan("Home", "North", -86, 41))


def test_each_grower_gets_his_own_and_the_book_remembers(address, tmp_path):
    with filled(address, ONE, TWO) as book:
        for one in due(book):
            hand_out_due(book, one, tmp_path, who="agronomist", prepared_by="Co-op")
        events = [(it.did, it.grower, it.field) for it in history(book)][-3:]
    assert events == [
        ("handed out", "Ann", "North"),
        ("handed out", "Ann", "South"),
        ("handed out", "Bob", "North"),
    ]
    assert sorted(it.name for it in tmp_path.iterdir() if it.is_dir()) == ["Ann", "Bob"]


def test_what_has_no_plan_is_left_out_and_told(address):
    with filled(address, ONE, plan=False) as book:
        (one,) = due(book)
    assert one.fields == ()
    assert [it.name for it in one.left_out] == ["North", "South"]


def test_only_those_who_are_named(address):
    with filled(address, ONE, TWO) as book:
        assert [it.grower for it in due(book, ["Bob"])] == ["Bob"]
        with pytest.raises(BookError, match=r'no grower Bop. Did you mean "Bob"'):
            due(book, ["Bop"])
