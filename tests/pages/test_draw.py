"""The page to draw on, without a browser: what the map sends is put in its place."""

import re

import pytest
import streamlit as st
import streamlit_folium
from shapely.geometry import box, mapping

from tests.pages.test_app import drawn as component
from tests.pages.test_app import opened, own, send, shown, turned_to
from tests.pages.uploads import DEMOS, HOSTILE, SQUARE, TWO_SOILS, WEST, square, tif
from zoneplan.demo import plan_demo
from zoneplan.pages.state import OWN_FIELD

KNOLL = "42.001, -93.003\n42.001, -93.001\n42.002, -93.001\n42.002, -93.003"
CROSSED = "42.001, -93.003\n42.002, -93.001\n42.001, -93.001\n42.002, -93.003"


def drawing(what="boundary", app=None, **chosen):
    """Open the page of a field of one's own, or of what is given."""
    app = turned_to("draw", app or own(square(name="Home"), TWO_SOILS, **chosen))
    return turn(app, what)


def turn(app, what):
    return app.button_group(key="draw_what").set_value(what).run()


def corners(app, text):
    return app.text_area(key="draw_corners").set_value(text).run()


def use(app):
    return app.button(key="draw_use").click().run()


def desk(app):
    return app.session_state["desk"]


def faults(app):
    return re.findall(r'role="alert"><p>(.*?)</p>', shown(app))


def acres(app):
    """Of the field, on its own page; which is shown."""
    return re.search(r"<li>([\d.,]+) acres</li>", shown(turned_to("field", app))).group(1)


@pytest.fixture
def pencil(monkeypatch):
    """A map that sends what is put on it, once."""
    sent = []

    def folium(_map, key, on_change=None, **_):
        if key.startswith("draw-") and sent:
            st.session_state[key] = {"all_drawings": sent.pop()}
            on_change()

    monkeypatch.setattr(streamlit_folium, "st_folium", folium)

    def send(app, *shapes):
        """Draw shapes, or (shape, name) as the map had them before."""
        named = [shape if isinstance(shape, tuple) else (shape, None) for shape in shapes]
        sent.append(
            [
                {
                    "type": "Feature",
                    "geometry": mapping(shape),
                    "properties": {"mark": str(hash(shape.wkt))}
                    if name is None
                    else {"name": name},
                }
                for shape, name in named
            ]
        )
        return app.run().run()

    return send


def test_nothing_drawn_asks_nothing_of_the_internet():
    sent = component(drawing())
    assert {link[:5] for link in sent["js_links"] + sent["css_links"]} == {"data:"}
    assert not re.search(r"https?:|//[a-z]", sent["script"])
    app = drawing()
    app.toggle(key="web_map").set_value(True).run()
    assert "openstreetmap.org" in component(app)["script"]


def test_the_boundary_of_a_file_is_taken_to_move_its_edges_and_let_go_again():
    app = opened("bottom")
    plan = plan_demo(DEMOS["bottom"])
    before = acres(app)
    app = drawing(app=app)
    app.button(key="draw_take").click().run()
    assert {mark.name for mark in desk(app).drawn} == {plan.field.name}
    assert len(desk(app).drawn) == len(plan.field.shape.geoms)
    assert acres(app) == before
    drawing(app=app).button(key="drawn-go-0").click().run()
    assert acres(app) != before
    app.button(key="undo").click().run()
    assert acres(app) == before


def test_a_moved_corner_changes_the_field_once_it_is_used(pencil):
    app = drawing()
    app.button(key="draw_take").click().run()
    whole = acres(app)
    pencil(drawing(app=app), (WEST, "Home"))
    assert "Drawn, and not used yet." in shown(app)
    assert acres(app) == whole
    use(drawing(app=app))
    assert "Boundary: 1 is in use." in shown(app)
    # WORKED: half the square
    assert float(acres(app)) == pytest.approx(float(whole) / 2, abs=0.1)
    assert "<h1>Home</h1>" in shown(app)


def test_the_first_boundary_is_drawn_where_soil_lies_or_at_a_place(pencil):
    app = opened(OWN_FIELD)
    app.file_uploader(key="soils").set_value([TWO_SOILS]).run()
    turned_to("draw", app)
    assert app.number_input(key="draw_north")
    pencil(app, SQUARE)
    app.text_input(key="draw_field").set_value("Home")
    use(app)
    assert [mark.name for mark in desk(app).drawn] == ["drawn field"]
    assert "<h1>drawn field</h1>" in shown(turned_to("field", app))


def test_a_field_can_be_drawn_from_nothing_soil_and_all():
    app = turned_to("draw", opened(OWN_FIELD))
    assert "Say where the field lies" in shown(app)
    assert not app.get("component_instance")
    app.number_input(key="draw_north").set_value(42.0)
    app.number_input(key="draw_east").set_value(-93.0)
    app.number_input(key="draw_acres").set_value(160.0).run()
    app.button(key="draw_square").click().run()
    assert component(app)
    use(app)
    turn(app, "soil")
    app.selectbox(key="draw_soil").set_value("silt loam").run()
    corners(app, "silt loam:\n41.9, -93.1\n41.9, -92.9\n42.1, -92.9\n42.1, -93.1")
    use(app)
    text = shown(turned_to("field", app))
    assert "<li>160.0 acres</li>" in text
    assert app.selectbox(key="zone").options == ["1: silt loam"]


def test_a_zone_that_is_typed_is_a_zone_of_its_own():
    app = drawing("zone")
    corners(app, f"Knoll:\n{KNOLL}")
    assert not faults(app)
    use(app)
    assert [(mark.what, mark.name) for mark in desk(app).drawn] == [("zone", "Knoll")]
    shown(turned_to("field", app))
    assert len(app.selectbox(key="zone").options) == 4  # two soils, in the knoll and around it
    assert "zones or edges: drawn zones" in app.selectbox(key="show").options


def test_what_is_drawn_next_has_the_name_in_the_box_and_keeps_it(pencil):
    app = drawing("zone")
    app.text_input(key="draw_zone").set_value("Knoll").run()
    one, other = box(-93.0035, 42.001, -93.003, 42.002), box(-93.001, 42.001, -93.0005, 42.002)
    pencil(app, one)
    app.text_input(key="draw_zone").set_value("Outlet").run()
    pencil(app, one, other)
    use(app)
    assert [mark.name for mark in desk(app).drawn] == ["Knoll", "Outlet"]
    app.text_input(key="drawn-name-0").set_value("Hill").run()
    assert [mark.name for mark in desk(app).drawn] == ["Hill", "Outlet"]
    app.button(key="undo").click().run()
    assert [mark.name for mark in desk(app).drawn] == ["Knoll", "Outlet"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (CROSSED, "crosses itself near 42.00150, -93.00200"),
        ("42.001, -93.003\n42.001, -93.001", "has 2 corners"),
        ("42.101, -93.003\n42.101, -93.001\n42.102, -93.001", "km from the field"),
        ("42.001, -93.003\n42.001 -93.001 W\n42.102, -93.001", "Line 2, “42.001 -93.001 W”"),
    ],
)
def test_what_is_wrong_is_one_sentence_and_nothing_is_lost(text, words):
    app = drawing("zone")
    corners(app, text)
    use(app)
    (fault,) = faults(app)
    assert words in fault
    assert app.text_area(key="draw_corners").value == text
    assert desk(app).drawn == ()
    turn(turn(app, "soil"), "zone")  # nor is it by looking elsewhere
    turned_to("draw", turned_to("field", app))
    assert app.text_area(key="draw_corners").value == text
    corners(app, KNOLL)
    assert faults(app) == []
    use(app)
    assert len(desk(app).drawn) == 1


def test_what_is_not_used_can_be_put_back(pencil):
    app = drawing("zone")
    use(corners(app, KNOLL))
    (used,) = desk(app).drawn
    first = component_script(app)
    pencil(app, WEST)
    app.button(key="draw_back").click().run()
    assert "not used yet" not in shown(app)
    assert KNOLL in app.text_area(key="draw_corners").value
    assert desk(app).drawn == (used,)
    assert first is None or component_script(app) != first


def component_script(app):
    return None if not app.get("component_instance") else component(app)["script"]


def test_the_map_loads_anew_only_for_what_does_not_come_from_it():
    app = drawing("zone")
    first = component(app)["script"]
    app.run()
    assert component(app)["script"] == first
    app.text_input(key="draw_zone").set_value("Knoll").run()
    assert component(app)["script"] == first
    corners(app, KNOLL)
    second = component(app)["script"]
    assert second != first
    app.button(key="draw_back").click().run()
    assert component(app)["script"] not in (first, second)


def test_a_headland_and_soil_are_ground_too(pencil):
    app = drawing("headland")
    pencil(app, box(-93.004, 42.0025, -93.0, 42.003))
    use(app)
    turn(app, "soil")
    app.selectbox(key="draw_soil").set_value("sand").run()
    pencil(app, box(-93.004, 42.0, -93.0, 42.001))
    use(app)
    assert [(mark.what, mark.name) for mark in desk(app).drawn] == [
        ("headland", "headland"),
        ("soil", "sand"),
    ]
    app.selectbox(key="drawn-name-1").set_value("loamy sand").run()
    assert [mark.name for mark in desk(app).drawn] == ["headland", "loamy sand"]
    shown(turned_to("field", app))
    options = app.selectbox(key="show").options
    assert {"soil: drawn soil", "headland: drawn headland"} <= {*options}
    assert any("loamy sand" in option for option in app.selectbox(key="zone").options)


def test_each_field_has_its_own_drawing_table():
    app = corners(drawing("zone", opened("level")), KNOLL)
    assert "not used yet" in shown(app)
    app.selectbox(key="field").set_value("creek").run()
    assert "not used yet" not in shown(app)
    assert app.text_area(key="draw_corners").value == ""
    app.selectbox(key="field").set_value("level").run()
    assert "not used yet" in shown(app)


def test_fewer_corners_are_easier_to_move():
    app = drawing(app=opened("bottom"))
    app.button(key="draw_take").click().run()
    many = app.text_area(key="draw_corners").value.count("\n")
    before = acres(app)
    drawing(app=app).button(key="draw_thin").click().run()
    assert app.text_area(key="draw_corners").value.count("\n") < 0.8 * many
    use(app)
    assert float(acres(app)) == pytest.approx(float(before), abs=0.5)


def test_names_that_hold_html_are_only_letters():
    app = drawing("zone")
    use(corners(app, f"{HOSTILE}:\n{KNOLL}"))
    (used,) = desk(app).drawn
    assert used.name == HOSTILE
    text = shown(app)
    assert "<script" not in text
    assert "<img src=x" not in text
    sent = component(app)["script"]
    assert "<script" not in sent
    assert "<img" not in sent
    assert "\\u0026lt;img" in sent  # the pointer's words are HTML, and these are only letters


def test_a_drawn_boundary_away_from_the_soil_is_told_at_once():
    app = drawing()
    far = "43.001, -93.003\n43.001, -93.001\n43.002, -93.001"
    use(corners(app, far))
    (fault,) = faults(app)
    assert "km from the soil layers" in fault


def test_the_soil_layers_of_a_raster_show_where_to_draw():
    app = opened(OWN_FIELD)
    app.file_uploader(key="soils").set_value([tif("clay.tif", 20, 50), tif("sand.tif", 40, 10)])
    turned_to("draw", app.run())
    assert component(app)


def test_a_boundary_file_shows_where_to_draw_soil():
    app = opened(OWN_FIELD)
    send(app, square(name="Home"))
    turn(turned_to("draw", app), "soil")
    assert component(app)
    use(corners(app, "loam:\n41.9, -93.1\n41.9, -92.9\n42.1, -92.9\n42.1, -93.1"))
    assert "<h1>Home</h1>" in shown(turned_to("field", app))
