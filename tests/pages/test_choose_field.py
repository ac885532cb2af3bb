"""A file of many fields: some are taken, and planned one after the other, each with its own."""

import json

import pytest
from shapely.geometry import box, mapping

from tests.pages.test_start import drop, pressed, start, taken, texts
from tests.pages.uploads import SQUARE, TWO_SOILS, features, machine, square, upload
from zoneplan.pages.state import files_sent
from zoneplan.request import Drawn, TitleBlock

# Four fields side by side: the second lies on both soils, the others on one.
EDGES = [(-93.004, -93.0032), (-93.003, -93.0016), (-93.0014, -93.0008), (-93.0007, -93.0001)]
FIELDS = [box(west, 42, east, 42.003) for west, east in EDGES]
NAMES = ["Home", "Far", "Creek", "Hill"]
MANY = upload(
    "many.geojson",
    features(*((shape, {"name": name}) for shape, name in zip(FIELDS, NAMES, strict=True))),
)


def desk(app):
    return app.session_state["desk"]


def ticked(app, *numbers):
    for number in numbers:
        app.checkbox(key=f"field-{number}").check().run()
        assert not app.exception
    return app


def planned(*numbers):
    """On the field page, with the first of these fields."""
    app = ticked(drop(start(), MANY, TWO_SOILS, machine("creek")), *numbers)
    return pressed(pressed(app, "take-fields"), "plan-it")


def drawn_on(app, number):
    """A zone drawn by hand on one field."""
    zone = FIELDS[number - 1].buffer(-0.0002)
    desk(app).drawn = (Drawn("zone", "knoll", json.dumps(mapping(zone))),)
    app.run()
    assert not app.exception
    return desk(app).drawn


def test_all_fields_are_listed_and_none_is_taken_unasked():
    app = drop(start(), MANY, TWO_SOILS, machine("creek"))
    assert "4 fields: click yours on the map" in texts(app)
    labels = [one.label for one in app.checkbox if str(one.key).startswith("field-")]
    assert [label.split(",")[0] for label in labels] == ["1. Home", "2. Far", "3. Creek", "4. Hill"]
    assert all("acres" in label for label in labels)
    assert app.button(key="take-fields").disabled
    assert "Still to give: which field it is." in texts(app)


def test_one_field_needs_no_queue():
    app = planned(3)
    assert desk(app).now.request.pick == "3"
    assert desk(app).queue is None
    assert "<h1>Creek</h1>" in texts(app)
    assert not [one for one in app.button if str(one.key).startswith("queue")]


def test_whose_field_it_is_comes_along_and_is_told():
    app = planned(1, 2)
    desk(app).title = TitleBlock("A. Reed", "Mud Farm", "2027")
    app = pressed(app.run(), "queue-done")
    assert desk(app).title.grower == "A. Reed"
    assert "So did the grower A. Reed and the farm Mud Farm" in texts(app)


@pytest.mark.slow
def test_fields_are_planned_one_after_the_other_and_each_keeps_its_own():
    app = planned(1, 2, 4)
    assert "Field 1 of 3: <b>Home</b>" in texts(app)
    app.number_input(key="speed_mps").set_value(6.5).run()
    app.text_input(key="name").set_value("Home, the old part").run()
    knoll = drawn_on(app, 1)
    before = desk(app).now

    app = pressed(app, "queue-done")
    assert "Field 2 of 3: <b>Far</b>" in texts(app)
    now = desk(app).now
    assert now.request.drawn == ()
    assert now.request.name is None
    assert now.request.speed_mps == before.request.speed_mps  # conditions came along
    assert now.sources.machine == before.sources.machine
    assert "what was done by hand stayed on its field" in texts(app)

    # What is changed here changes nothing there.
    app.number_input(key="speed_mps").set_value(4.0).run()
    app = pressed(app, "queue-Previous field")
    assert desk(app).now == before
    assert desk(app).drawn == knoll
    assert "Home, as you left it." in texts(app)
    assert "✓ done; 1 done" in texts(app)
    app = pressed(app, "queue-Next field")
    assert app.number_input(key="speed_mps").value == 4.0

    app = pressed(app, "queue-done")
    assert "Field 3 of 3: <b>Hill</b>" in texts(app)
    app = pressed(app, "queue-done")
    assert "All 3 fields are done." in texts(app)


def test_undo_leads_back_to_the_field_before():
    app = planned(1, 2)
    app = pressed(pressed(app, "queue-Next field"), "undo")
    assert "Field 1 of 2: <b>Home</b>" in texts(app)


def test_other_fields_of_the_file_are_taken_later_and_nothing_is_lost():
    app = planned(1, 2)
    knoll = drawn_on(app, 1)
    app = pressed(app, "queue-Next field")
    app.switch_page("zoneplan/pages/start.py").run()
    app = pressed(app, "choose-again")
    assert [n for n in range(1, 5) if app.checkbox(key=f"field-{n}").value] == [1, 2]
    app = pressed(ticked(app, 3), "take-fields")
    assert [*desk(app).queue.names.values()] == ["Home", "Far", "Creek"]
    assert desk(app).now.request.pick == "2"
    app.switch_page("zoneplan/pages/field.py").run()
    app = pressed(app, "queue-Previous field")
    assert desk(app).now.request.drawn == knoll


def test_a_queue_is_of_its_own_file_alone():
    app = planned(1, 2, 3)
    app.switch_page("zoneplan/pages/start.py").run()
    others = [(shape, {"name": f"other {at}"}) for at, shape in enumerate(FIELDS)]
    app = pressed(drop(app, upload("others.geojson", features(*others))), "unclear-boundary-0")
    app.session_state["pick"] = "2"  # as it is typed at the side
    app.run()
    assert "other 1" in texts(app)
    assert "fields, one after the other" not in texts(app)
    app = pressed(app, "choose-again")
    assert [n for n in range(1, 5) if app.checkbox(key=f"field-{n}").value] == [2]


@pytest.mark.parametrize(
    ("answer", "stays"), [("swap-other", False), ("swap-same", True), ("swap-back", True)]
)
def test_another_outline_asks_before_what_was_done_by_hand_follows(answer, stays):
    app = drop(start(), square(name="First"), TWO_SOILS, machine("creek"))
    app = pressed(app, "plan-it")
    zone = json.dumps(mapping(SQUARE.buffer(-0.0005)))
    desk(app).drawn = (Drawn("zone", "knoll", zone),)
    app.run()
    before = desk(app).now
    app.switch_page("zoneplan/pages/start.py").run()
    wider = upload("wider.geojson", features((SQUARE.buffer(-0.0001), {"name": "Second"})))
    app = drop(app, wider)
    assert "wider.geojson holds one outline" in texts(app)
    assert taken(app)["square.geojson"] == "boundary"  # until somebody says so
    app = pressed(app, "unclear-boundary-0")
    assert "On the field before there are: 1 change by hand." in texts(app)
    assert desk(app).now == before  # no plan was made of it
    assert [one for one in app.button if one.key == "plan-it"] == []

    app = pressed(app, answer)
    now = desk(app).now
    name = files_sent(now.sources)["boundary"][0].name
    assert name == ("square.geojson" if answer == "swap-back" else "wider.geojson")
    assert bool(now.request.drawn) is stays
    assert "Another outline came" not in texts(app)
    if answer == "swap-other":
        app = pressed(app, "undo")
        assert desk(app).now == before


def test_an_outline_that_is_swapped_at_the_side_asks_too():
    app = drop(start(), square(name="First"), TWO_SOILS, machine("creek"))
    app = pressed(app, "plan-it")
    desk(app).drawn = (Drawn("zone", "knoll", json.dumps(mapping(SQUARE.buffer(-0.0005)))),)
    app.run()
    (chooser,) = [one for one in app.file_uploader if one.label == "Boundary"]
    chooser.set_value(upload("wider.geojson", features((SQUARE.buffer(0.0001), {})))).run()
    assert "On the field before there are: 1 change by hand." in texts(app)
    assert "<h1>" not in texts(app).split("Another outline came")[1]  # no plan below
    app = pressed(app, "swap-other")
    assert desk(app).now.request.drawn == ()
    assert "<h1>wider</h1>" in texts(app)


def test_more_outlines_can_be_zones():
    app = drop(start(), square(), TWO_SOILS, machine("creek"))
    app = drop(app, upload("knoll.geojson", features((SQUARE.buffer(-0.0005), {}))))
    app = pressed(app, "unclear-zones-0")
    assert taken(app)["knoll.geojson"] == "zones"
    assert "What is it?" not in texts(app)


def test_the_demo_takes_nothing_of_the_field_before():
    app = drop(start(), square(), TWO_SOILS, machine("creek"))
    app = pressed(app, "plan-it")
    desk(app).drawn = (Drawn("zone", "knoll", json.dumps(mapping(SQUARE.buffer(-0.0005)))),)
    app.run()
    app.switch_page("zoneplan/pages/start.py").run()
    app = pressed(app, "demo-level")
    assert desk(app).now.request.drawn == ()
    assert "Another outline came" not in texts(app)
    assert "Level eighty" in texts(app)
