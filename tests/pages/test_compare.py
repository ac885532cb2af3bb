"""The page that holds two plans against each other, without a browser."""

import base64
import re

import pytest

from tests.helpers.jobs import demo_job, plan_of
from tests.pages.test_app import opened, own, shown, turned_to
from tests.pages.test_state import press, reloaded, slow  # noqa: F401
from tests.pages.uploads import DEMOS, HOSTILE, TWO_SOILS, machine, square, upload
from zoneplan.demo import plan_demo
from zoneplan.pages import compare as page
from zoneplan.pages.compare_tables import _row
from zoneplan.pages.state import MACHINE_FILE
from zoneplan.pages.words import acres, pounds
from zoneplan.plan.compare import compare
from zoneplan.sources import Upload

SPRINGS = "This plan with a generic springs planter"
ROUNDS = ("right", "too light", "too heavy")


OURS = b"""
decides = "aim"
unit = "lbf"
revised = 2026-12-01

[[base]]
id = "aim-medium-moist"
title = "Medium soil, moist"
when = { texture_group = ["medium"], moisture = ["moist"] }
aim = 140
why = "<b>ours</b>"
confidence = "judged"
source = [{ cite = "judgement" }]
"""


def compared(app, title):
    """Turn to the page and choose A."""
    app = turned_to("compare", app)
    return app.selectbox(key="compare-with").set_value(title).run()


def table(text, name):
    """The rows of one of the page's tables, as text."""
    [markup] = re.findall(rf'<table class="zp-zones zp-compare {name}">.*?</table>', text)
    rows = re.findall(r"<tr>(.*?)</tr>", markup)
    return [
        [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)]
        for row in rows
    ]


def pictures(text):
    """The two maps."""
    links = re.findall(r'<img src="data:image/svg\+xml;base64,([^"]+)" alt="[^"]', text)
    return [base64.b64decode(link).decode() for link in links]


def test_nothing_is_compared_before_it_is_chosen():
    app = turned_to("compare", opened("bottom"))
    assert "Choose what to compare this plan with" in shown(app)
    assert app.selectbox(key="compare-with").options == [
        f"This plan with a generic {system} planter"
        for system in ("springs", "set-air", "closed-loop-air", "hydraulic")
    ]
    assert {button.key for button in app.button} >= {"compare-keep"}
    assert not {button.key for button in app.button} & {"compare-put", "compare-let-go"}


def test_another_machine_stands_beside_the_plan():
    text = shown(compared(opened("bottom"), SPRINGS))
    one, other = plan_of(demo_job("bottom", "springs")), plan_demo(DEMOS["bottom"])
    comparison = compare(one, other, "moist")
    sums = {row[0]: row[1:] for row in table(text, "sums")}
    for label, mine, theirs in (
        ("Margin to aim for, mean", comparison.one.margin_n, comparison.other.margin_n),
        (
            "Margin left, hopper full, mean",
            comparison.one.left_full_n,
            comparison.other.left_full_n,
        ),
    ):
        assert sums[label][:2] == [pounds(mine), pounds(theirs)]
    assert sums["Acres where the margin target holds, full to refill"][:2] == [
        acres(comparison.one.reached_ha),
        acres(comparison.other.reached_ha),
    ]
    assert sums["One setting for the field"][1:] == ["–", "–"]
    assert sums["One setting for the field"][0].startswith("springs ")
    values = {row[0]: row[1:] for row in table(text, "asked")}
    assert values["Machine"] == [one.machine.name, other.machine.name]
    assert values["Downforce"] == ["springs at fixed positions", "hydraulic cylinder on each row"]
    heads, *rows = table(text, "pieces")
    assert heads[3] == "Set to"
    shows = [
        piece for piece in comparison.pieces if acres(piece.area_ha) != "0.0" and piece.gap_n > 0
    ]
    assert [(int(a.split(",")[0]), int(b.split(",")[0])) for a, b, *_ in rows] == [
        piece.zones for piece in shows
    ]
    assert f"{acres(comparison.common_ha - comparison.meant_ha)} acres are left out" in text


def test_the_difference_is_that_of_the_figures_as_they_read():
    seen = 0
    for label, *cells in table(shown(compared(opened("creek"), SPRINGS)), "sums")[2:]:
        figures = [
            re.sub(" (lb|%)$", "", cell).replace("−", "-").replace("same", "0") for cell in cells
        ]
        if label.startswith("Seed"):  # told as 1 in so many
            continue
        one, other, gap = map(float, figures)
        assert other - one == pytest.approx(gap), label
        seen += gap != 0
    assert seen > 2


def test_a_figure_that_rounds_to_zero_has_no_sign():
    assert _row("Margin", [-0.3, 0.2], unit=" lb") == ["Margin", "0 lb", "0 lb", "same"]


def test_both_maps_are_drawn_in_the_same_shades():
    text = shown(compared(opened("bottom"), SPRINGS))
    legend = text[text.index("zp-compare zp-legend") :]
    shades = [  # of the legend, and the zones that have them: ("#f4f1d6", {"A": {4, 8}, ...})
        (
            re.search(r'" fill="(#[0-9a-f]{6})"/>', base64.b64decode(swatch).decode())[1],
            {entry[0]: set(map(int, re.findall(r"\d+", entry))) for entry in entries.split("; ")},
        )
        for swatch, entries in re.findall(
            r'svg\+xml;base64,([^"]+)"><span><strong>.*?</strong> (.*?)</span>', legend
        )
    ]
    assert {frozenset(zones) for _, zones in shades} >= {frozenset("AB")}  # some are in both
    for letter, drawing in zip("AB", pictures(text), strict=True):
        zones = map(int, re.findall(r">(\d+)</text>", drawing))
        fills = re.findall(r'fill="(#[0-9a-f]{6})" stroke="#ffffff"', drawing)
        drawn = dict(zip(zones, fills, strict=True))
        assert drawn == {zone: fill for fill, numbers in shades for zone in numbers.get(letter, ())}
    assert len(drawn) == len(plan_demo(DEMOS["bottom"]).settings)  # of B, the last


def test_contact_and_the_odds_are_those_of_the_margin_that_each_planter_leaves():
    text = shown(compared(opened("level"), "This plan with a generic hydraulic planter"))
    sums = {row[0]: row[1:] for row in table(text, "sums")}
    comparison = compare(
        plan_of(demo_job("level", "hydraulic")), plan_demo(DEMOS["level"]), "moist"
    )
    for label, shares in (
        ("Wheels on the ground, hopper full, mean", "contact_full_share"),
        ("Wheels on the ground, at refill, mean", "contact_refill_share"),
    ):
        one, other = (getattr(totals, shares) for totals in (comparison.one, comparison.other))
        assert sums[label][:2] == [f"{100 * one:.0f} %", f"{100 * other:.0f} %"]
    # A cylinder holds what springs let slide with the seed, so at refill they are not alike.
    hydraulic, springs = (
        float(cell[:-2]) for cell in sums["Wheels on the ground, at refill, mean"][:2]
    )
    assert hydraulic >= springs + 1
    right = [int(cell) for cell in sums["Of 10 rounds right"][:2]]
    assert right[0] > right[1]
    for place in (0, 1):  # right, too light and too heavy are ten
        assert sum(int(sums[f"Of 10 rounds {outcome}"][place]) for outcome in ROUNDS) == 10


def test_ground_too_small_to_tell_is_left_out_and_told():
    text = shown(compared(opened("bottom"), SPRINGS))
    comparison = compare(
        plan_of(demo_job("bottom", "springs")), plan_demo(DEMOS["bottom"]), "moist"
    )
    small = [piece for piece in comparison.pieces if acres(piece.area_ha) == "0.0"]
    assert len(small) > 1
    assert f"Not listed: {len(small)} strips between edges that nearly meet, " in text


def test_each_moisture_has_its_own_numbers():
    app = compared(opened("bottom"), SPRINGS)
    seen = set()
    for moisture in ("dry", "moist", "wet"):
        app.button_group(key="compare-moisture").set_value(moisture).run()
        text = shown(app)
        assert f"Margin to aim for, {moisture}" in text
        seen.add(str(table(text, "sums")))
    assert len(seen) == 3
    waits = [row for row in table(text, "sums") if row[0].startswith("Acres that wait")]
    assert waits[0][1] != "0.0"


def test_a_plan_is_kept_changed_and_put_back():
    app = turned_to("compare", opened("level"))
    app.text_input(key="compare-name").set_value("as it was").run()
    press(app, "compare-keep")
    assert "Kept as “as it was”" in shown(app)
    assert "Both plans are made from the same." in shown(app)
    assert "zp-compare pieces" not in shown(app)  # for nothing differs
    app.number_input(key="speed_mps").set_value(7.0).run()
    values = table(shown(app), "asked")
    assert ["Speed", "4.5 mph", "7 mph"] in values
    assert {row[0] for row in values[1:]} <= {"Speed", "Zones"}
    assert "<strong>as it was</strong>" in shown(app)
    press(app, "compare-put")
    assert app.number_input(key="speed_mps").value is None
    assert "Both plans are made from the same." in shown(app)
    press(app, "undo")
    assert app.number_input(key="speed_mps").value == 7.0
    assert table(shown(app), "asked") == values
    press(app, "compare-let-go")
    assert app.session_state["desk"].beside == {}
    assert app.selectbox(key="compare-with").value is None


def test_several_plans_are_kept_and_none_takes_the_place_of_another():
    app = turned_to("compare", opened("level"))
    press(app, "compare-keep")
    app.number_input(key="speed_mps").set_value(7.0).run()
    press(app, "compare-keep")
    first, second = app.session_state["desk"].beside
    assert second == f"{first} (2)"
    assert [job.request.speed_mps for job in app.session_state["desk"].beside.values()] == [
        None,
        7 * 0.44704,
    ]
    again = turned_to("compare", reloaded(app))
    assert again.selectbox(key="compare-with").options[:2] == [f"Kept: {first}", f"Kept: {second}"]


def test_the_plan_before_the_last_change_is_at_hand():
    app = opened("level")
    app.selectbox(key="tillage").set_value("no-till").run()
    text = shown(compared(app, page.BEFORE))
    assert ["Tillage", "tilled", "no-till"] in table(text, "asked")


def test_own_rules_are_held_against_the_stock_ones():
    app = opened("level")
    app.session_state["desk"].rules = (Upload("ours.toml", OURS),)
    text = shown(compared(app.run(), page.STOCK_RULES))
    values = {row[0]: row[1:] for row in table(text, "asked")}
    assert values["Rule aim-medium-moist"] == ["105 lb; stock", "140 lb; ours.toml"]
    heads, *rows = table(text, "pieces")
    assert heads[3] == "Spring position"
    assert rows
    assert all("loam" in row[0] for row in rows)


def test_a_plan_of_another_field_is_told_and_this_one_stays():
    app = turned_to("compare", opened("level"))
    press(app, "compare-keep")
    app.selectbox(key="field").set_value("creek").run()
    text = shown(app)
    assert 'class="zp-fault" role="alert"' in text
    assert "Level eighty and Creek field have hardly any ground in common." in text
    [stands] = pictures(text)
    assert len(re.findall(r"</text>", stands)) == len(plan_demo(DEMOS["creek"]).settings)
    assert app.button(key="compare-put")


def test_a_fault_of_the_other_plan_is_told_and_this_one_stays():
    app = own(square(), TWO_SOILS, machine=MACHINE_FILE)
    broken = upload("machine.toml", b'name = "x"\n')
    app.file_uploader(key="machine_file").set_value(broken).run()
    app.selectbox(key="machine").set_value("springs").run()
    text = shown(compared(app, page.BEFORE))
    assert "machine.toml has" in text
    assert len(pictures(text)) == 1


def test_work_on_both_plans_is_watched_and_can_be_stopped(slow):  # noqa: F811
    app = compared(opened("level"), SPRINGS)
    app.number_input(key="speed_mps").set_value(7.0).run()  # both are made anew, in one run
    shown(app)
    assert slow.count("Settling every zone") == 4
    desk = app.session_state["desk"]
    desk.stopped = demo_job("level", "springs", speed_mps=7 * 0.44704)  # as the button does
    app.run()
    assert "Stopped. Nothing was changed." in shown(app)
    assert "zp-compare pair" not in shown(app)
    next(button for button in app.button if button.label == "Go on").click().run()
    assert "zp-compare pair" in shown(app)


def test_what_the_jobs_hold_beyond_the_plan_is_told():
    app = turned_to("compare", opened("level"))
    press(app, "compare-keep")
    app.number_input(key="headland_passes").set_value(1).run()
    app.multiselect(key="headland_sides").set_value(["north"]).run()
    app.number_input(key="most_zones").set_value(2).run()
    values = {row[0]: row[1:] for row in table(shown(app), "asked")}
    assert values["Headland passes"] == ["0", "1"]
    assert values["Headland sides"] == ["all round, holes too", "north"]
    assert values["Most zones"] == ["as many as the ground asks for", "2"]


def test_names_that_hold_html_are_only_letters():
    notches = machine("level")[1].decode().replace("name = ", f'name = "{HOSTILE}" #', 1)
    app = own(square(name=HOSTILE), TWO_SOILS, machine=MACHINE_FILE)
    app.file_uploader(key="machine_file").set_value(upload("m.toml", notches.encode())).run()
    app = turned_to("compare", app)
    app.text_input(key="compare-name").set_value(HOSTILE[:60]).run()
    press(app, "compare-keep")
    app.selectbox(key="machine").set_value("springs").run()
    text = shown(app)
    assert text.count("&lt;script&gt;") >= 3
    assert "<script" not in text
    assert "<img src=x" not in text


def test_the_choice_is_there_when_one_comes_back():
    app = compared(opened("level"), SPRINGS)
    text = shown(app)
    app = turned_to("field", app)
    app = turned_to("compare", app)
    assert shown(app) == text
