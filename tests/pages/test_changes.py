"""A zone's number, edges and name, changed by hand in the app."""

import re

import pytest

from tests.pages.test_app import opened, own, shown
from tests.pages.uploads import HOSTILE, TWO_SOILS, square


def zones(app):
    """(number, acres, soil, margin target) of every zone, as the table has them."""
    table = re.search(r'<table class="zp-zones">.*?</table>', shown(app), re.DOTALL).group()
    rows = re.findall(
        r'<th scope="row">(.*?)</th><td>(.*?)</td><td>(.*?)</td><td>.*?</td><td>(.*?)</td>', table
    )
    return [(number, float(acres), soil, margin) for number, acres, soil, margin in rows]


def press(app, label):
    return next(it for it in app.button if it.label == label).click().run()


def put(app, margin=None, notch=None, why="wet spot at the outlet", initials="AB"):
    if notch:
        app.selectbox(key="own_what").set_value("closing notch").run()
        app.selectbox(key="own_notch").set_value(notch)
    else:
        app.number_input(key="own_margin").set_value(margin)
    app.text_input(key="own_why").set_value(why)
    app.text_input(key="own_initials").set_value(initials)
    return press(app, "Put it in place")


def test_a_number_of_ones_own_stands_beside_the_one_it_replaced_and_can_be_undone():
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    before = zones(app)
    said = shown(app)
    put(app, 140.0)
    after = zones(app)
    assert after[0][3].startswith("140 lb <small")
    assert after[1:] == before[1:]
    told = shown(app)
    assert "wet spot at the outlet" in told
    assert f"in place of {before[0][3]}" in told
    assert "AB" in told
    # Only at the moisture that was meant.
    app.button_group(key="shown_moisture").set_value("dry").run()
    assert not zones(app)[0][3].startswith("140 lb")
    app.button_group(key="shown_moisture").set_value("moist").run()
    app.button(key="undo").click().run()
    assert shown(app) == said


def test_every_moisture_can_be_meant_and_each_taken_back():
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    app.selectbox(key="own_when").set_value("every moisture")
    put(app, 150.0)
    told = {}
    for moisture in ("dry", "moist", "wet"):
        app.button_group(key="shown_moisture").set_value(moisture).run()
        told[moisture] = zones(app)[0][3]
    assert told["dry"] == told["moist"]
    assert told["dry"].startswith("150 lb")
    assert len([it for it in app.button if it.label == "Take back"]) == 3
    app.button(key="take-back-0").click().run()
    app.button_group(key="shown_moisture").set_value("dry").run()
    assert not zones(app)[0][3].startswith("150 lb")


def test_a_notch_of_ones_own():
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    app.selectbox(key="own_what").set_value("closing notch").run()
    notch = app.selectbox(key="own_notch").options[-1]
    put(app, notch=notch)
    assert f"<dt>Closing wheels</dt><dd><strong>notch {notch}</strong>" in shown(app)


def test_who_and_why_are_asked_for_and_nothing_typed_is_lost():
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    before = zones(app)
    put(app, 140.0, why=" ", initials="")
    assert "Still to give: why, your initials." in shown(app)
    assert app.number_input(key="own_margin").value == 140.0
    assert zones(app) == before
    app.text_input(key="own_why").set_value("knoll")
    app.text_input(key="own_initials").set_value("C")
    press(app, "Put it in place")
    assert zones(app)[0][3].startswith("140 lb")


def test_two_zones_are_joined_and_keep_all_the_ground():
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    (one, other) = zones(app)
    press(app, "Join zones 1 and 2")
    (both,) = zones(app)
    assert both[1] == pytest.approx(one[1] + other[1], abs=0.11)  # printed to a tenth
    assert "Joined with its neighbour: zone 1" in shown(app)
    app.button(key="undo").click().run()
    assert zones(app) == [one, other]


@pytest.mark.parametrize("way", ["north from south", "east from west"])
def test_a_zone_is_parted_and_the_other_is_not(way):
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    before = zones(app)
    app.selectbox(key="part_way").set_value(way).run()
    press(app, "Part zone 1")
    after = zones(app)
    assert "<li>3 zones, 2 treatments</li>" in shown(app)  # its parts are still set alike
    assert len(after) == 2
    soil = before[0][2]
    both = f"{soil} <small>same setting in 2 places</small>"
    assert sum(it[1] for it in after if it[2] == both) == pytest.approx(before[0][1], abs=0.11)
    assert [it[1] for it in after if it[2] != both] == [before[1][1]]
    assert "left out" not in shown(app)


def test_a_number_stays_with_its_ground_when_zones_are_drawn_anew():
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    app.selectbox(key="zone").set_value(2).run()
    soil = zones(app)[1][2]
    put(app, 145.0)
    app.number_input(key="headland_passes").set_value(1).run()
    told = [it for it in zones(app) if it[3].startswith("145 lb")]
    assert {it[2] for it in told} == {soil}


def test_a_name_is_shown_and_html_in_it_does_nothing():
    app = own(square(), TWO_SOILS, machine="springs", change=True)
    app.text_input(key="zone_name").set_value(HOSTILE[:60])
    press(app, "Name zone 1")
    app.text_input(key="own_why").set_value(HOSTILE)
    put(app, 140.0, why=HOSTILE, initials="<b>A")
    said = shown(app)
    assert "&lt;b&gt;A" in said
    assert "<img src=x" not in said
    assert "<script" not in said


def test_ground_without_numbers_takes_none():
    app = opened("bottom", change=True)
    app.selectbox(key="zone").set_value(3).run()
    assert "Zone 3 has no soil data" in shown(app)
    assert "own_put" not in {it.key for it in app.button}
