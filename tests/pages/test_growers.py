"""The page of the growers, without a browser: lists, queue, review, hand-out, answers, changes."""

import io
import json
import tempfile
import zipfile
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from zoneplan.book.fields import State, fields
from zoneplan.book.history import history
from zoneplan.book.opening import open_book
from zoneplan.book.plans import record_state
from zoneplan.pages.book import BOOK, standing
from zoneplan.pages.book.field import ROWS
from zoneplan.pages.person import SIGN_IN

APP = Path(__file__).parents[2] / "app.py"
HOSTILE = "<script>alert(1)</script> *b* 🌽"
ANN = given("Ann", *(field_plan("Home", f"Field {n:02}", -87 - n / 50, 42) for n in range(20)))
BOB = given(HOSTILE, field_plan("Far", HOSTILE, -86, 41))


@pytest.fixture
def path(tmp_path, monkeypatch):
    """A book that the app is started with."""
    file = tmp_path / "season.book"
    filled(file, ANN, BOB).close()
    monkeypatch.setenv(BOOK, str(file))
    return file


@pytest.fixture
def book(path):
    with open_book(path) as one:
        yield one


@pytest.fixture
def app(path):  # noqa: ARG001  # which is where it finds the book
    return AppTest.from_file(APP, default_timeout=60).run()


def text(app):
    return " ".join(element.proto.body for element in app.get("html"))


def rows(app):
    return app.dataframe[0].value


def press(app, key):
    return app.button(key=key).click().run()


def test_the_book_stands_first_and_says_what_is_in_it(app):
    assert not app.exception
    assert "season 2027" in text(app)
    # WORKED: 21 fields of 6 ha are 311 acres
    assert "21 fields" in text(app)
    assert "311 acres" in text(app)
    assert "21 planned" in text(app)
    assert len(rows(app)) == ROWS
    assert "1 to 15 of 21" in text(app)


def test_names_from_outside_do_nothing(app):
    app.selectbox(key="book_grower").set_value(HOSTILE).run()
    assert len(rows(app)) == 1
    assert "<script>alert" not in text(app)
    assert "&lt;script&gt;alert(1)&lt;/script&gt; *b* 🌽" in text(app)


def test_without_a_book_there_is_no_such_page(monkeypatch):
    monkeypatch.delenv(BOOK, raising=False)
    app = AppTest.from_file(APP, default_timeout=60).run()
    assert "book_grower" not in [box.key for box in app.selectbox]


def test_a_visitor_names_no_book(monkeypatch, path):
    """What the page's address says is nobody's order."""
    monkeypatch.delenv(BOOK)
    app = AppTest.from_file(APP, default_timeout=60)
    app.query_params["book"] = str(path)
    app.query_params[BOOK] = str(path)
    assert "book_grower" not in [box.key for box in app.run().selectbox]


def test_filters_sort_and_pages(app):
    app.text_input(key="book_words").set_value("field 1").run()
    assert len(rows(app)) == 10
    app.text_input(key="book_words").set_value("").run()
    app.selectbox(key="book_sort").set_value("name").run()
    assert [*rows(app)["Field"]][:2] == ["Far / " + HOSTILE, "Home / Field 00"]
    app.button[[button.label for button in app.button].index("Next page")].click().run()
    assert "16 to 21 of 21" in text(app)
    assert len(rows(app)) == 6
    app.multiselect(key="book_states").set_value([State.SENT]).run()
    assert "No field is like that." in text(app)


def test_next_and_previous_go_through_the_queue_as_it_is_filtered(app):
    app.selectbox(key="book_grower").set_value("Ann").run()
    app.selectbox(key="book_sort").set_value("name").run()
    assert "Ann / Home / Field 00" in text(app)
    for _ in range(15):
        press(app, "book-Next")
    assert "Ann / Home / Field 15" in text(app)
    assert "16 to 20 of 20" in text(app)  # the list turned with it
    press(app, "book-Previous")
    assert "15 of 20" in text(app)
    assert "1 to 15 of 20" in text(app)
    steps = {button.key: button for button in app.button}
    assert (steps["book-Next"].proto.shortcut, steps["book-Previous"].proto.shortcut) == (
        "alt+down",
        "alt+up",
    )


def test_a_review_is_written_under_the_name_of_who_said_it(app, book):
    app.selectbox(key="book_grower").set_value(HOSTILE).run()
    app.selectbox(key="book_say").set_value(State.AGREED)
    app.text_area(key="book_note").set_value("  By phone.  ")
    say = next(button for button in app.button if button.label == "Mark it")
    say.click().run()
    assert not app.exception
    (field,) = fields(book, grower=HOSTILE)
    assert (field.state, field.note) == (State.AGREED, "By phone.")
    assert history(book, field.id)[-1].who == field.who
    assert "is agreed now" in text(app)


def test_what_another_said_meanwhile_is_not_written_over(app, book):
    app.selectbox(key="book_grower").set_value(HOSTILE).run()
    record_state(book, f"{HOSTILE} / Far / {HOSTILE}", State.SENT, who="Bea", note="in the cab")
    app.session_state["book_say"] = State.REVIEWED
    next(button for button in app.button if button.label == "Mark it").click()
    # The button was drawn before Bea spoke: it carries what was seen then.
    app.run()
    (field,) = fields(book, grower=HOSTILE)
    assert (field.state, field.who) == (State.SENT, "Bea")
    assert "has changed since you looked" in text(app)


def test_what_another_changes_is_there_at_the_next_step(app, book):
    record_state(book, "Ann / Home / Field 03", State.REVIEWED, who="Bea")
    app.run()
    assert "1 reviewed" in text(app)


@pytest.mark.slow
def test_a_hand_out_is_made_for_one_grower(app, book):
    app.selectbox(key="book_hand_grower").set_value("Ann").run()
    app.text_input(key="book_prepared_by").set_value("The Co-op")
    press(app, "book-hand-out")
    grower, name, content, words = app.session_state["book_zip"]
    assert (grower, name) == ("Ann", "Ann, 2027.zip")
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        record = json.loads(archive.read("hand-out.json"))
    assert [entry["field"] for entry in record["fields"]] == [f"Field {n:02}" for n in range(20)]
    assert record["prepared_by"] == "The Co-op"
    assert "20 fields" in words
    assert sum(event.did == "handed out" for event in history(book)) == 20


def test_a_hand_out_that_finds_no_room_is_told(app, monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    press(app, "book-hand-out")
    assert not app.exception
    assert "has no room, or takes no files" in text(app)


@pytest.mark.parametrize(("role", "may"), [("reads", False), ("reviews", True), ("edits", True)])
def test_a_role_is_asked_for_at_each_thing_done(role, may, book, monkeypatch, tmp_path):
    file = tmp_path / "sign-in.toml"
    file.write_text(SIGN_IN_FILE.replace("ROLE", role))
    monkeypatch.setenv(SIGN_IN, str(file))
    monkeypatch.setattr("zoneplan.pages.person._signed_in", lambda: "bea@example.org")
    app = AppTest.from_file(APP, default_timeout=60).run()
    assert f"bea@example.org, {role}" in text(app)
    app.selectbox(key="book_grower").set_value(HOSTILE).run()
    next(button for button in app.button if button.label == "Mark it").click().run()
    (field,) = fields(book, grower=HOSTILE)
    assert (field.state is State.REVIEWED) is may
    assert ("Your role here does not allow that" in text(app)) is not may
    if may:
        assert field.who == "bea@example.org"
    press(app, "book-hand-out")
    assert ("book_zip" in app.session_state) is (role == "edits")


@pytest.mark.usefixtures("path")
@pytest.mark.parametrize("email", ["", "stranger@example.org"])
def test_who_has_no_role_sees_nothing(email, monkeypatch, tmp_path):
    file = tmp_path / "sign-in.toml"
    file.write_text(SIGN_IN_FILE.replace("ROLE", "edits"))
    monkeypatch.setenv(SIGN_IN, str(file))
    monkeypatch.setattr("zoneplan.pages.person._signed_in", lambda: email)
    app = AppTest.from_file(APP, default_timeout=60).run()
    assert len(app.dataframe) == len(app.selectbox) == 0
    assert [button.key for button in app.button] == ["sign-out" if email else "sign-in"]
    assert "Ann" not in text(app)


SIGN_IN_FILE = """
[auth]
redirect_uri = "http://localhost:8501/oauth2callback"
cookie_secret = "0123456789abcdef0123456789abcdef"
client_id = "zoneplan"
client_secret = "a secret"
server_metadata_url = "http://localhost:9999/.well-known/openid-configuration"

[roles]
"Bea@Example.org" = "ROLE"
"""


def test_a_book_that_is_gone_is_told_and_nothing_breaks(app, path):
    standing._shared.clear()
    path.write_bytes(b"taxes" * 2000)
    app.run()
    assert not app.exception
    assert "is damaged" in text(app)


def test_roles_that_are_gone_let_nobody_in(app, monkeypatch, tmp_path):
    monkeypatch.setenv(SIGN_IN, str(tmp_path / "gone.toml"))
    monkeypatch.setattr("zoneplan.pages.person._signed_in", lambda: "bea@example.org")
    app.run()
    assert not app.exception
    assert "no file" in text(app)
    assert len(app.dataframe) == 0
