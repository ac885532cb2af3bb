"""What a session remembers: steps back and forth, a reload, work that was stopped."""

import re
import time

import pytest
from shapely import to_geojson
from streamlit.testing.v1 import AppTest

from tests.pages.test_app import APP, fault, opened, own, shown, turned_to
from tests.pages.uploads import DEMOS, EAST, SQUARE, TWO_SOILS, WEST, features, square, upload
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.outline import read_field
from zoneplan.harmless import in_markdown
from zoneplan.pages import answers, link
from zoneplan.pages.frame import FIELD_NEEDED, MACHINE_NEEDED
from zoneplan.pages.link import Bounds, Shelf
from zoneplan.pages.state import MACHINE_FILE, OWN_FIELD
from zoneplan.request import Drawn


def press(app, key):
    return app.button(key=key).click().run()


def reloaded(app):
    """The same address in a browser's fresh window."""
    fresh = AppTest.from_file(APP, default_timeout=30)
    for name, value in app.query_params.items():
        fresh.query_params[name] = value
    return fresh.run()


def test_a_reload_finds_a_field_that_is_only_begun():
    app = opened(OWN_FIELD)
    assert not app.query_params
    app.file_uploader(key="boundary").set_value(square()).run()
    app.number_input(key="speed_mps").set_value(6.5).run()
    fresh = reloaded(app)
    assert FIELD_NEEDED in shown(fresh)
    assert any(button.label.startswith(in_markdown("square.geojson")) for button in fresh.button)
    assert fresh.number_input(key="speed_mps").value == 6.5
    fresh.file_uploader(key="soils-1").set_value([TWO_SOILS]).run()
    assert "<h1>square</h1>" in shown(fresh)
    again = reloaded(fresh)  # and the planter's file, where that is what lacks
    again.selectbox(key="machine").set_value(MACHINE_FILE).run()
    assert MACHINE_NEEDED in shown(reloaded(again)).replace("&#x27;", "'")


def test_a_reload_shows_the_zone_and_the_moisture_that_were_looked_at():
    app = own(square(), TWO_SOILS)
    app.selectbox(key="zone").set_value(2).run()
    app.button_group(key="shown_moisture").set_value("dry").run()
    app.slider(key="fill").set_value(70).run()
    fresh = reloaded(app)
    assert "<h2>Zone 2: " in shown(fresh)
    assert "Every zone, dry" in shown(fresh)
    assert shown(fresh) == shown(app)


def test_every_step_can_be_undone_and_done_again():
    app = opened("level")
    first = shown(app)
    app.number_input(key="speed_mps").set_value(6.0).run()
    app.number_input(key="headland_passes").set_value(1).run()
    app.multiselect(key="headland_sides").set_value(["north"]).run()
    last = shown(app)
    assert app.button(key="redo").disabled
    for _ in range(3):
        press(app, "undo")
    assert shown(app) == first
    assert app.button(key="undo").disabled
    assert app.number_input(key="speed_mps").value is None
    for _ in range(3):
        press(app, "redo")
    assert shown(app) == last
    assert app.multiselect(key="headland_sides").value == ["north"]


def test_a_new_step_ends_what_could_be_done_again():
    app = opened("level")
    app.number_input(key="speed_mps").set_value(6.0).run()
    press(app, "undo")
    app.number_input(key="depth_m").set_value(2.0).run()
    assert app.button(key="redo").disabled
    press(app, "undo")
    assert app.number_input(key="depth_m").value is None


def test_files_come_back_with_the_step_that_had_them():
    app = own(square(), TWO_SOILS)
    first = shown(app)
    west = upload("west.geojson", features((WEST, {"texture": "sand"})))
    app.file_uploader(key="soils").set_value([west]).run()
    assert shown(app) != first
    press(app, "undo")
    assert shown(app) == first
    # The chooser is empty, and what it held is named beside it.
    assert any(
        button.label.startswith(f"{in_markdown('soils.geojson')}, ") for button in app.button
    )
    app.file_uploader(key="soils-1").set_value([west]).run()  # one more layer, below the other
    assert shown(app).count("polygons, ") == 2
    press(app, "let-go-soils-0")
    assert "west: polygons" in shown(app)
    assert "soils: polygons" not in shown(app)


def test_a_reload_finds_the_work_again_and_nobody_else_does():
    app = own(square(name="North 40"), TWO_SOILS, machine="springs")
    app.number_input(key="speed_mps").set_value(6.0).run()
    text = shown(app)
    again = reloaded(app)
    assert shown(again) == text
    press(again, "undo")
    assert shown(again) != text
    assert shown(app.run()) == text  # two windows, two desks
    assert "North 40" not in shown(opened("level"))


def test_an_address_that_stands_for_nothing_begins_anew():
    app = AppTest.from_file(APP, default_timeout=30)
    app.query_params[link.LINK] = "no-such-work"
    assert "A plan for your field" in shown(app.run())
    assert link.LINK not in app.query_params  # nothing was done yet that a reload could lose


def test_a_fault_can_be_undone():
    app = opened(OWN_FIELD)
    app.file_uploader(key="boundary").set_value(square())
    app.file_uploader(key="soils").set_value([TWO_SOILS]).run()
    text = shown(app)
    app.file_uploader(key="boundary").set_value(upload("empty.geojson", features())).run()
    assert "empty.geojson holds no area" in fault(app)
    press(app, "undo")
    assert shown(app) == text


@pytest.fixture(autouse=True)
def person(monkeypatch):
    """Who is at the page: Streamlit's own test double knows no address."""
    who = ["this machine"]
    monkeypatch.setattr(link, "_who", lambda: who[0])
    return who


@pytest.fixture
def shelf(monkeypatch):
    """A small shelf of the test's own."""
    small = Shelf(Bounds(things=4, size=10**6, things_each=2, size_each=5 * 10**5))
    monkeypatch.setattr(link, "_shelf", lambda: small)
    return small


@pytest.mark.slow
def test_strangers_who_look_and_work_put_nobodys_work_away(shelf, person):
    mine = own(square(name="North 40"), TWO_SOILS)
    text = shown(mine)
    for number in range(6):
        person[0] = f"stranger {number}"
        AppTest.from_file(APP, default_timeout=30).run()
        own(square(name="Theirs"), TWO_SOILS)
    assert len(shelf._entries) == shelf.bounds.things
    person[0] = "this machine"
    assert shown(reloaded(mine)) == text


@pytest.mark.slow
@pytest.mark.usefixtures("shelf")
def test_a_person_has_a_share_of_it_and_is_told_where_there_is_no_room():
    first, *others = [own(square(name=f"Field {n}"), TWO_SOILS) for n in range(3)]
    assert "Field 0" not in shown(reloaded(first))
    assert "<h1>Field 2</h1>" in shown(reloaded(others[1]))
    big = upload("boundary.geojson", square()[1] + b" " * 6 * 10**5)
    app = own(big, TWO_SOILS)
    assert link.NO_ROOM in shown(app)
    assert link.NO_ROOM not in shown(app.run())  # once is enough
    assert link.LINK not in app.query_params


@pytest.mark.slow
def test_a_link_can_be_withdrawn_and_the_work_stays():
    app = own(square(name="North 40"), TWO_SOILS)
    text, first = shown(app), app.query_params[link.LINK]
    again = reloaded(app)  # two links lead to this work now
    second = again.query_params[link.LINK]
    assert second != first
    turned_to("sheets", again)
    press(again, "withdraw")
    assert link.WITHDRAWN in shown(again)
    third = again.query_params[link.LINK]
    assert third not in (first, second)
    for key, there in ((first, False), (second, False), (third, True)):
        fresh = AppTest.from_file(APP, default_timeout=30)
        fresh.query_params[link.LINK] = key
        assert ("North 40" in shown(fresh.run())) is there
    assert shown(app.run()) == text  # who had it open keeps it


def test_old_steps_go_where_they_would_hold_too_much(monkeypatch):
    monkeypatch.setattr(link, "MOST_HISTORY", 350_000)
    app = own(square(), TWO_SOILS)
    for number in range(4):
        big = upload("boundary.geojson", square()[1] + b" " * (100_000 + number))
        app.file_uploader(key="boundary").set_value(big).run()
    assert len(app.session_state["desk"].past) == 2  # WORKED: with what stands, 3 of 100 kB
    assert not app.button(key="undo").disabled


@pytest.fixture
def slow(monkeypatch):
    """Work that takes long enough to be watched."""
    monkeypatch.setattr(answers, "_LOOK_S", 0.0)
    monkeypatch.setattr(answers, "_AGAIN_S", 0.0)
    steps = []
    before = answers.watched

    def watched(tell):
        def told(doing):
            steps.append(doing)
            tell(doing)

        return before(told)

    monkeypatch.setattr(answers, "watched", watched)
    return steps


def test_long_work_says_what_it_does(slow):
    app = own(square(), TWO_SOILS)
    shown(app)
    assert "Reading soils.geojson" in slow
    assert slow.index("Reading the boundary") < slow.index("Drawing zones")
    assert "stop" not in {button.key for button in app.button}  # it went when the work was done


def test_what_was_stopped_can_go_on():
    app = own(square(), TWO_SOILS)
    text = shown(app)
    other = upload(
        "west.geojson", features((WEST, {"texture": "sand"}), (EAST, {"texture": "clay"}))
    )
    app.file_uploader(key="soils").set_value([other])
    desk = app.session_state["desk"]
    app.run()
    desk.stopped = desk.now  # as the button does
    app.session_state["known"].clear()
    began = time.monotonic()
    app.run()
    assert "Stopped. Nothing was changed." in shown(app)
    assert "Every zone" not in shown(app)
    assert time.monotonic() - began < 5
    next(button for button in app.button if button.label == "Go on").click().run()
    assert "Every zone" in shown(app)
    press(app, "undo")
    assert shown(app) == text


def test_another_field_does_not_get_what_was_drawn_or_changed_on_the_one_before():
    app = opened("level")
    corner = drawn_square("level")
    app.session_state["desk"].drawn = (corner,)
    text = shown(app.run())
    assert zones_in(text) > zones_in(shown(opened("level")))
    app.selectbox(key="field").set_value("creek").run()
    assert app.session_state["desk"].now.request.drawn == ()
    press(app, "undo")
    assert shown(app) == text


def test_a_boundary_drawn_before_there_is_a_plan_is_found_after_a_reload():
    app = opened(OWN_FIELD)
    app.session_state["desk"].drawn = (Drawn("boundary", "Ours", to_geojson(SQUARE)),)
    app.run()
    again = reloaded(app)
    assert again.selectbox(key="field").value == OWN_FIELD
    again.file_uploader(key="soils-1").set_value([TWO_SOILS]).run()
    assert "<h1>Ours</h1>" in shown(again)


def zones_in(text):
    """How many zones the head of a page counts."""
    return int(re.search(r"<li>(\d+) zones", text)[1])


def drawn_square(name):
    """A zone of a hectare about a demo field's middle."""
    field = read_field(DEMOS[name].boundary)
    ground = move(field.shape.representative_point().buffer(56.5), field.crs, WGS_84)
    return Drawn("zone", "Knoll", to_geojson(ground))
