"""The demo book: made from what is committed, planned, and said of what people would say."""

from collections import Counter

import pytest

from zoneplan.book.demo_book import new_demo_book, plan_demo_book
from zoneplan.book.fields import State, fields
from zoneplan.book.look import needs_a_look
from zoneplan.errors import BookError


def test_a_demo_book_holds_every_field_with_what_it_is_planned_from(tmp_path):
    with new_demo_book(tmp_path / "demo.book") as book:
        listed = fields(book)
    assert len(listed) == 60
    assert {field.state for field in listed} == {State.TO_PLAN}
    assert {field.season for field in listed} == {"2027"}
    with pytest.raises(BookError, match="there already"):
        new_demo_book(tmp_path / "demo.book")


@pytest.mark.slow
def test_it_is_planned_without_a_fault(tmp_path):
    with new_demo_book(tmp_path / "demo.book") as book:
        plan_demo_book(book, workers=0)
        listed = fields(book)
    assert [field.fault for field in listed if field.fault] == []
    # WORKED: growers.toml has the plans of A (9 fields) agreed, B (8) reviewed, I (4) sent
    assert Counter(field.state for field in listed) == {
        State.AGREED: 9, State.REVIEWED: 8, State.SENT: 4, State.PLANNED: 39,
    }  # fmt: skip
    generic = {field.grower for field in listed if field.totals["generic"]}
    assert generic == {"E. Example", "G. Guesswork"}
    assert any(needs_a_look(field) for field in listed)
