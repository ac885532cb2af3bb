"""A field of the book in the pages that plan one, on the demo county."""

import datetime

import pytest
from streamlit.testing.v1 import AppTest

from tests.pages.test_growers import APP, press, text
from zoneplan.book.demo_book import new_demo_book
from zoneplan.book.fields import State, fields
from zoneplan.book.opening import open_book
from zoneplan.book.planning import plan_all
from zoneplan.book.plans import plan_of, record_state
from zoneplan.book.supply import keep_request
from zoneplan.pages.book import BOOK
from zoneplan.plan.places import place_in
from zoneplan.request import Request
from zoneplan.run import run
from zoneplan.zones.edit import Override


@pytest.fixture(scope="module")
def county(tmp_path_factory):
    """A book of the demo county, with the plans of one grower."""
    file = tmp_path_factory.mktemp("county") / "demo.book"
    with new_demo_book(file) as book:
        plan_all(book, who="a", grower="L. Neverheard", workers=0)
        record_state(book, "L. Neverheard / One Spoon Farm / Far Teapot", State.AGREED, who="a")
    return file


def test_a_field_is_opened_changed_and_saved_back(county, monkeypatch):
    monkeypatch.setenv(BOOK, str(county))
    app = AppTest.from_file(APP, default_timeout=120).run()
    app.selectbox(key="book_grower").set_value("L. Neverheard").run()
    with open_book(county) as book:
        (before,) = fields(book, grower="L. Neverheard")
        planned = plan_of(book, before.plan_id)
    press(app, "book-open")
    assert not app.exception
    opened = app.session_state["book_open"]
    plan = answered_in(app)
    assert [zoned.zone.area_ha for zoned in plan.settings] == pytest.approx(
        [zoned.zone.area_ha for zoned in planned.settings], rel=1e-6
    )
    assert margins(plan) == margins(planned)
    assert opened.field.path == before.path
    app.switch_page("zoneplan/pages/field.py").run()
    assert "From the book: L. Neverheard / One Spoon Farm" in text(app)
    assert app.button(key="book-save").disabled
    link = app.session_state["desk"].link
    links = [one.proto for one in app.get("page_link")]
    assert "Back to the growers" in [one.label for one in links]
    assert {one.query_string for one in links} == {f"work={link}"}
    app.number_input(key="speed_mps").set_value(8.0).run()
    assert "changed here. It is agreed in the book: saved with other numbers" in text(app)
    press(app, "book-save")
    assert "Saved to the book" in text(app)
    assert "no longer agreed" in text(app)
    with open_book(county) as book:
        (after,) = fields(book, grower="L. Neverheard")
        assert after.revision == before.revision + 1
        assert after.state is State.PLANNED
        assert plan_of(book, after.plan_id).conditions.speed_mps == pytest.approx(8 * 0.44704)
        (other,) = fields(book, grower="K. Makebelieve")[:1]
        assert other.state is State.TO_PLAN


def test_changes_by_hand_that_the_book_has_are_in_the_list_of_the_field(county, monkeypatch):
    monkeypatch.setenv(BOOK, str(county))
    with open_book(county) as book:
        (field,) = fields(book, grower="L. Neverheard")
        at = place_in(plan_of(book, field.plan_id), 1)
        by_hand = Override(at, "margin", "moist", 500.0, "soft", "AB", datetime.date(2027, 4, 1))
        keep_request(book, field, Request(name=field.name, edits=(by_hand,)), who="a")
    app = AppTest.from_file(APP, default_timeout=120).run()
    app.selectbox(key="book_grower").set_value("L. Neverheard").run()
    press(app, "book-open")
    app.switch_page("zoneplan/pages/field.py").run()
    assert "1. Zone 1, moist: margin target 112 lb (500 N), by AB on 2027-04-01: soft" in text(app)
    press(app, "take-back-1")
    assert app.session_state["desk"].edits == ()


def margins(plan):
    return [
        {name: setting.margin_n for name, setting in one.set_at.items()} for one in plan.settings
    ]


def answered_in(app):
    """The plan that is on the desk of a session."""
    desk = app.session_state["desk"]
    return run(desk.now.request, desk.now.sources).plan
