"""A zone's number, edges and name, changed by hand in the app."""

import json
import re

import pytest

from tests.pages.test_app import drawn, opened, own, shown
from tests.pages.uploads import HOSTILE, TWO_SOILS, square
from zoneplan.store.request_json import read_request, request_document


def zones(app):
    """(number, acres, soil, margin target) of every zone, as the table has them."""
    table = re.search(r"<caption>Every zone.*?</table>", shown(app), re.DOTALL).group()
    rows = re.findall(
        r'<th scope="row">(.*?)</th><td>(.*?)</td><td>(.*?)</td><td>.*?</td><td>(.*?)</td>', table
    )
    return [(number, float(acres), soil, margin) for number, acres, soil, margin in rows]


def press(app, label):
    return next(button for button in app.button if button.label == label).click().run()


def by(app, why="wet spot at the outlet", initials="AB"):
    app.text_input(key="own_why").set_value(why)
    return app.text_input(key="own_initials").set_value(initials).run()


def put(app, zone=1, why="wet spot at the outlet", initials="AB", **margins):
    """Put numbers in place, in pounds by moisture."""
    for moisture, pounds in margins.items():
        app.number_input(key=f"own_margin_{zone}{moisture}").set_value(pounds)
    by(app, why, initials)
    return press(app, "Make the change")


def two_zones():
    return own(square(), TWO_SOILS, machine="springs", change=True)


def edits(app):
    return app.session_state["desk"].edits


def listed(app):
    """The changes as the page lists them."""
    return re.findall(r"<p class='zp-change'>(\d+\..*?)</p>", shown(app))


def moved(app):
    """What the last change moved, without its marks."""
    sections = re.findall(r'<div class="zp-changed">.*</div>', shown(app))
    return [re.sub(r"<[^>]+>", "|", block).replace("\xa0", " ") for block in sections]


def test_a_number_of_ones_own_stands_beside_the_one_it_replaced_and_can_be_undone():
    app = two_zones()
    before = zones(app)
    at_first = shown(app)
    put(app, moist=140.0)
    after = zones(app)
    assert after[0][3].startswith("140 lb <small")
    assert after[1:] == before[1:]
    text = shown(app)
    assert "wet spot at the outlet" in text
    assert f"in place of {before[0][3]}" in text
    assert "AB" in text
    # Only at the moisture that was meant.
    app.button_group(key="shown_moisture").set_value("dry").run()
    assert not zones(app)[0][3].startswith("140 lb")
    app.button_group(key="shown_moisture").set_value("moist").run()
    app.button(key="undo").click().run()
    app.text_input(key="own_initials").set_value("").run()
    assert shown(app) == at_first


def test_a_number_for_each_moisture_and_each_is_taken_back_alone():
    app = put(two_zones(), dry=150.0, moist=145.0, wet=140.0)
    assert [(edit.moisture, round(edit.value / 4.448222)) for edit in edits(app)] == [
        ("dry", 150),
        ("moist", 145),
        ("wet", 140),
    ]
    assert [line[:2] for line in listed(app)] == ["3.", "2.", "1."]  # the newest first
    app.button(key="take-back-2").click().run()
    assert [edit.moisture for edit in edits(app)] == ["dry", "wet"]
    assert not zones(app)[0][3].startswith("145 lb")
    assert "145 lb → " in moved(app)[0]


def test_the_boxes_are_empty_once_a_number_is_put_and_hold_nothing_for_another_zone():
    app = two_zones()
    app.number_input(key="own_margin_1moist").set_value(140.0).run()
    app.selectbox(key="zone").set_value(2).run()
    assert app.number_input(key="own_margin_2moist").value is None
    app.selectbox(key="zone").set_value(1).run()
    put(app, moist=140.0)
    assert app.number_input(key="own_margin_1moist").value is None
    assert (app.text_input(key="own_why").value, app.text_input(key="own_initials").value) == (
        "",
        "AB",
    )


def test_a_notch_of_ones_own():
    app = two_zones()
    notch = app.selectbox(key="own_notch_1moist").options[-1]
    app.selectbox(key="own_notch_1moist").set_value(notch)
    press(by(app), "Make the change")
    assert f"<dt>Closing wheels</dt><dd><strong>notch {notch}</strong>" in shown(app)


def test_who_and_why_are_asked_for_and_nothing_typed_is_lost():
    app = two_zones()
    before = zones(app)
    put(app, moist=140.0, why=" ", initials="")
    assert "Still to give: why, your initials." in shown(app)
    assert app.number_input(key="own_margin_1moist").value == 140.0
    assert zones(app) == before
    press(by(app), "Make the change")
    assert zones(app)[0][3].startswith("140 lb")
    press(by(app), "Make the change")
    assert "Still to give: a number, a notch or a name." in shown(app)
    for label in ("Join it with…", "Split it by a line…"):
        app.text_input(key="own_why").set_value("").run()
        assert "Still to give: why." in shown(press(app, label))


def test_a_number_far_outside_its_window_asks_first():
    app = two_zones()
    put(app, moist=400.0)
    text = shown(app)
    assert "400 lb lies far outside the window there" in text
    assert "common practice, no source" in text
    assert edits(app) == ()
    press(app, "Go back")
    assert "far outside" not in shown(app)
    assert app.number_input(key="own_margin_1moist").value == 400.0
    press(app, "Make the change")
    # Another number that is not far is not asked about, and the old one is not used.
    app.number_input(key="own_margin_1moist").set_value(150.0).run()
    assert "far outside" not in shown(app)
    app.number_input(key="own_margin_1moist").set_value(400.0).run()
    press(app, "Make the change")
    press(app, "Use it anyway")
    (edit,) = edits(app)
    assert (edit.sure, round(edit.value / 4.448222)) == (True, 400)
    assert "(far outside its window, asked and meant)" in listed(app)[0]


def test_after_a_change_the_page_says_what_it_moved_and_what_holds_no_longer():
    app = two_zones()
    assert moved(app) == []
    was = zones(app)[0]
    put(app, moist=400.0)
    press(app, "Use it anyway")
    (sentence,) = moved(app)
    assert f"{was[3]} → |400 lb|" in sentence
    assert f"|{was[1]}|" in sentence  # its acres
    assert "One spring position for the whole field, moist: " in sentence
    assert "What no longer holds" in sentence
    assert "Sheets and files made before this: make them again." in sentence
    assert re.search(r"Moist, zones 1, 2, [\d.]+ acres: ", sentence)
    # Something else done since, and it is gone.
    app.selectbox(key="tillage").set_value("no-till").run()
    assert moved(app) == []


def test_a_number_survives_a_split_on_both_parts():
    app = put(two_zones(), moist=140.0)
    press(press(by(app), "Split it by a line…"), "North from south")
    table = zones(app)
    assert [row[0] for row in table if row[3].startswith("140 lb")] == ["1, 3"]
    assert "Zone 1 was split: zones 1 (" in moved(app)[0]
    assert "now." in moved(app)[0]


def test_two_zones_are_joined_by_their_button_and_keep_all_the_ground():
    app = two_zones()
    (one, other) = zones(app)
    press(by(app), "Join it with…")
    labels = [button.label for button in app.button]
    assert [label for label in labels if label.startswith("Zone ")] == [f"Zone 2: {other[1]} acres"]
    press(app, f"Zone 2: {other[1]} acres")
    (both,) = zones(app)
    assert both[1] == pytest.approx(one[1] + other[1], abs=0.11)  # printed to a tenth
    (line,) = listed(app)
    assert line.startswith("1. Joined with its neighbour: zone 1, by AB on ")
    assert line.endswith(": wet spot at the outlet")
    assert "Zones 1 and 2 were joined: zone 1 now" in moved(app)[0]
    app.button(key="undo").click().run()
    assert zones(app) == [one, other]


def test_nothing_more_is_asked_of_the_map_once_a_person_goes_back_or_elsewhere():
    app = press(by(two_zones()), "Join it with…")
    assert drawn(app)["asks"]["near"] == [2]
    press(app, "Go back")
    assert drawn(app)["asks"] is None
    press(app, "Split it by a line…")
    assert drawn(app)["asks"]["kind"] == "split"
    app.selectbox(key="zone").set_value(2).run()
    assert drawn(app)["asks"] is None


@pytest.mark.parametrize("way", ["North from south", "East from west"])
def test_a_zone_is_split_and_the_other_is_not(way):
    app = two_zones()
    before = zones(app)
    press(press(by(app), "Split it by a line…"), way)
    after = zones(app)
    assert "<li>3 zones, 2 treatments</li>" in shown(app)  # its parts are still set alike
    assert len(after) == 2
    soil = before[0][2]
    both = f"{soil} <small>same setting in 2 places</small>"
    assert sum(row[1] for row in after if row[2] == both) == pytest.approx(before[0][1], abs=0.11)
    assert [row[1] for row in after if row[2] != both] == [before[1][1]]
    assert "left out" not in shown(app)


def test_a_line_is_typed_too_and_one_that_parts_nothing_is_told_and_kept():
    app = press(by(two_zones()), "Split it by a line…")
    short = "42.0015, -93.0035\n42.0015, -93.003"
    app.text_area(key="own_line").set_value(short).run()
    press(app, "Split by these corners")
    assert "The line does not split zone 1: it crosses it nowhere from edge to edge." in shown(app)
    assert app.text_area(key="own_line").value == short
    app.text_area(key="own_line").set_value("42.0015, -193.0035\n42.0015, -93.003").run()
    press(app, "Split by these corners")
    assert "which is no place on earth" in shown(app)
    app.text_area(key="own_line").set_value("north\n42.0015, -93.003").run()
    press(app, "Split by these corners")
    assert "is no corner" in shown(app)
    # WORKED: drawn across both zones, it parts the one that was chosen.
    app.text_area(key="own_line").set_value("42.0015, -93.005\n42.0015, -92.999").run()
    press(app, "Split by these corners")
    (edit,) = edits(app)
    assert (edit.line, edit.initials) == (((-93.005, 42.0015), (-92.999, 42.0015)), "AB")
    assert "<li>3 zones" in shown(app)


def test_a_number_stays_with_its_ground_when_zones_are_drawn_anew():
    app = two_zones()
    app.selectbox(key="zone").set_value(2).run()
    soil = zones(app)[1][2]
    put(app, zone=2, moist=120.0)
    app.number_input(key="headland_passes").set_value(1).run()
    own = [row for row in zones(app) if row[3].startswith("120 lb")]
    assert {row[2] for row in own} == {soil}


def test_a_change_that_does_not_hold_says_so_in_the_list():
    app = put(two_zones(), moist=140.0)
    put(app, moist=150.0, why="dug again")
    assert "Change 2 took its place." in listed(app)[1]
    press(press(by(app), "Join it with…"), f"Zone 2: {zones(app)[1][1]} acres")
    press(press(by(app), "Split it by a line…"), "North from south")
    app.button(key="take-back-3").click().run()  # of the union alone: the split is of it
    assert len(edits(app)) == 3
    assert [line[:2] for line in listed(app)] == ["3.", "2.", "1."]


def test_a_name_is_shown_and_html_in_it_does_nothing():
    app = two_zones()
    app.text_input(key="own_name_1").set_value(HOSTILE[:60])
    put(app, moist=140.0, why=HOSTILE, initials="<b>A")
    text = shown(app)
    assert "&lt;b&gt;A" in text
    assert "<img src=x" not in text
    assert "<script" not in text
    assert [type(edit).__name__ for edit in edits(app)] == ["Override", "Rename"]


def test_ground_without_numbers_takes_none_but_a_name():
    app = opened("bottom", change=True)
    app.selectbox(key="zone").set_value(3).run()
    assert "Zone 3 is water: it has no numbers." in shown(app)
    assert not [box for box in app.number_input if box.key.startswith("own_margin")]
    app.text_input(key="own_name_3").set_value("Pond")
    press(by(app), "Make the change")
    assert "3: Pond, water" in app.selectbox(key="zone").options


def test_changes_are_saved_and_opened_equal():
    app = put(two_zones(), moist=140.0)
    app = put(app, dry=400.0)
    press(app, "Use it anyway")
    press(press(by(app), "Split it by a line…"), "North from south")
    request = app.session_state["desk"].now.request
    content = json.dumps(request_document(request)).encode()
    assert read_request(content, "request.json") == request
    assert [type(edit).__name__ for edit in request.edits] == ["Override", "Override", "Split"]
