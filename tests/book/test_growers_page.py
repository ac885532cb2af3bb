"""The page of the growers on both databases."""

from pathlib import Path

from streamlit.testing.v1 import AppTest

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from zoneplan.book.fields import State, find_field
from zoneplan.pages.book import BOOK

APP = Path(__file__).parents[2] / "app.py"
ANN = given("Ann", field_plan("Home", "North", -87, 42), field_plan("Home", "South", -87.1, 42))


def test_it_lists_and_reviews(address, monkeypatch):
    monkeypatch.setenv(BOOK, address)
    with filled(address, ANN) as book:
        app = AppTest.from_file(APP, default_timeout=60).run()
        assert not app.exception
        assert len(app.dataframe[0].value) == 2
        next(button for button in app.button if button.label == "Mark it").click().run()
        states = {find_field(book, name).state for name in ("North", "South")}
        assert states == {State.PLANNED, State.REVIEWED}
