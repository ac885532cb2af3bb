"""Other files under what was changed by hand: the page asks first, and names what survives."""

import pytest

from tests.helpers.jobs import plan_of
from tests.pages.test_app import opened, shown
from tests.pages.test_edits import by, edits, press, put, two_zones, zones
from tests.pages.uploads import EAST, SQUARE, WEST, features, machine, upload
from zoneplan.pages.state import MACHINE_FILE
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.store.archive import saved

ONE_SOIL = upload("finer.geojson", features((SQUARE, {"texture": "loam"})))
KEEP, WITHOUT, BACK = "swap-same", "swap-other", "swap-back"


def changed(app):
    """Both zones have a number, and the west a line across."""
    put(app, moist=140.0, why="west")
    app.selectbox(key="zone").set_value(2).run()
    put(app, zone=2, moist=120.0, why="east")
    return app


def chooser(app, label):
    (chooser,) = [box for box in app.file_uploader if box.label == label]
    return chooser


def asked(app, head):
    """What is asked, in two lists: what has no place, what survives."""
    text = shown(app)
    assert f'role="alert"><h2>{head}</h2>' in text
    assert "Every zone" not in text  # no plan below
    block = text.partition(f"<h2>{head}</h2>")[2].partition("</section>")[0]
    lists = dict.fromkeys(("No place for it any more", "Stays"), "")
    for name in lists:
        lists[name] = block.partition(f"<h3>{name}</h3>")[2].partition("</ul>")[0]
    return lists["No place for it any more"], lists["Stays"]


def answer(app, key):
    return app.button(key=key).click().run()


def let_go_and_send(app, role, label, *files):
    app.button(key=f"let-go-{role}-0").click().run()
    return chooser(app, label).set_value(list(files) if role == "soils" else files[0]).run()


def test_another_soil_file_under_changes_asks_and_nothing_is_planned_unasked():
    app = changed(two_zones())
    before = app.session_state["desk"].now
    app = let_go_and_send(app, "soils", "Soil layers", ONE_SOIL)
    lost, stands = asked(app, "Another file came under what was changed by hand")
    assert lost == ""
    assert "Zone 1, moist: margin target 140 lb" in stands
    assert "by AB on" in stands
    assert "west" in stands
    assert "east" in stands
    assert app.session_state["desk"].now == before
    answer(app, BACK)
    assert app.session_state["desk"].now == before
    assert len(zones(app)) == 2


@pytest.mark.parametrize(("key", "count"), [(KEEP, 2), (WITHOUT, 0)])
def test_the_changes_come_along_or_stay(key, count):
    app = let_go_and_send(changed(two_zones()), "soils", "Soil layers", ONE_SOIL)
    answer(app, key)
    assert len(edits(app)) == count
    assert "came under" not in shown(app)
    (row,) = zones(app)
    assert row[3].startswith("120 lb") is bool(count)  # the later of two that met
    app.button(key="undo").click().run()
    assert (len(edits(app)), len(zones(app))) == (2, 2)


def test_changes_that_the_new_outline_has_no_place_for_are_named_and_left():
    app = changed(two_zones())
    half = upload("west.geojson", features((WEST, {})))
    app = let_go_and_send(app, "boundary", "Boundary", half)
    lost, stands = asked(app, "Another outline came")
    assert "Zone 2, moist: margin target 120 lb" in lost
    assert "Why not: its place is outside the field" in lost
    assert "Zone 1, moist: margin target 140 lb" in stands
    answer(app, KEEP)
    (edit,) = edits(app)
    assert edit.why == "west"
    (row,) = zones(app)
    assert row[3].startswith("140 lb")


def test_nothing_of_a_field_elsewhere_survives():
    app = press(press(by(two_zones()), "Split it by a line…"), "North from south")
    app = let_go_and_send(app, "boundary", "Boundary", upload("e.geojson", features((EAST, {}))))
    lost, stands = asked(app, "Another outline came")
    assert "Split along a line, at zone 3" in lost
    assert stands == ""
    answer(app, WITHOUT)
    assert edits(app) == ()


def test_a_planter_without_the_notch_asks_and_one_that_has_it_does_not():
    app = two_zones()
    notch = read_machine("springs").notches[-1].name
    app.selectbox(key="own_notch_1moist").set_value(notch)
    press(by(app), "Make the change")
    app.selectbox(key="machine").set_value("hydraulic").run()
    assert "Every zone" in shown(app)
    app.selectbox(key="machine").set_value(MACHINE_FILE).run()
    chooser(app, "Machine file").set_value(machine("bottom")).run()
    lost, stands = asked(app, "Another planter came, which cannot do all that was changed by hand")
    assert f"The planter has no notch {notch}" in lost
    assert stands == ""
    answer(app, KEEP)
    assert edits(app) == ()
    assert "Every zone" in shown(app)


@pytest.mark.slow
def test_a_file_that_cannot_be_planned_is_told_and_the_way_back_is_open():
    app = changed(two_zones())
    before = app.session_state["desk"].now
    broken = upload("broken.geojson", b"{")
    app = let_go_and_send(app, "soils", "Soil layers", broken)
    assert "broken.geojson" in shown(app)
    answer(app, BACK)
    assert app.session_state["desk"].now == before
    assert len(edits(app)) == 2


def test_a_saved_plan_brings_its_changes_with_its_files_unasked():
    app = changed(two_zones())
    job = app.session_state["desk"].now
    content = saved(job, plan_of(job))
    other = opened("level")
    other.selectbox(key="field").set_value("a saved plan").run()
    chooser(other, "Open a saved plan").set_value(upload("plan.zip", content)).run()
    assert len(edits(other)) == 2
    assert "came under" not in shown(other)


def test_a_demo_field_takes_no_change_along_and_says_where_they_stay():
    app = opened("level", change=True)
    put(app, moist=140.0)
    app.selectbox(key="field").set_value("creek").run()
    assert edits(app) == ()
    assert "stays with the field before: “Undo” leads back to it." in shown(app)
    app.button(key="undo").click().run()
    assert len(edits(app)) == 1
