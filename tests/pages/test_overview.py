import re
from dataclasses import replace

import pytest

from tests.export.plans import small_plan
from tests.telling import remark
from zoneplan.errors import ZoneplanError
from zoneplan.pages.fault import fault
from zoneplan.pages.map import zone_legend
from zoneplan.pages.overview import generic, head, notes, whole_field, zone_table
from zoneplan.terms import Fitness


def cells(html):
    return [
        re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in re.findall(r"<tr>.*?</tr>", html)
    ]


def test_the_head_says_what_the_plan_is_made_for():
    # WORKED: 6 ha / 0.40468564 = 14.83 acres; 2.2352 m/s / 0.44704; 0.0508 m / 0.0254
    assert re.findall(r"<li>(.*?)</li>", head(small_plan())) == [
        "14.8 acres",
        "3 zones, 1 without numbers",
        "Eight rows on springs",
        "no-till",
        "5 mph",
        "2 in deep",
        "60 % residue",
    ]


LOAM = "loam <small>L1 Crêt loam, 0 to 2 % slopes</small>"
CLAY = "silty clay <small>C7 Flaque silty clay</small>"


def test_every_zone_is_a_line_of_the_table():
    # WORKED: 3.64, 0.36 and 2 ha / 0.40468564; (350 + 44) N / 4.448222; 556 N / 4.448222, which
    # leaves 1508 + 556 - 600 - 160 = 1304 N full, 1191: 987 N at refill, to 5 lb
    assert cells(zone_table(small_plan(), "wet")) == [
        ["Zones", "Acres", "Soil", "Spring position", "Margin to aim for", "Closing wheels"],
        ["1", "9.0", LOAM, "125 lb <small>leaves 295 to 220 lb</small>", "89 lb", "notch light"],
        ["2", "0.9", CLAY, "WAIT"],
        ["3", "4.9", "no data", "no numbers"],
    ]


def test_zones_of_one_treatment_are_told_once_with_their_places():
    plan = small_plan()
    first, second, third = plan.settings
    twin = replace(
        first, zone=replace(second.zone, treatment=first.zone.treatment), usual_share=None
    )
    _, both, _ = cells(zone_table(replace(plan, settings=(first, twin, third)), "dry"))
    assert both[:2] == ["1, 2", "9.9"]  # WORKED: (3.64 + 0.36) ha / 0.40468564
    assert both[2] == (
        "loam; silty clay <small>L1 Crêt loam, 0 to 2 % slopes; C7 Flaque silty clay</small> "
        "<small>same setting in 2 places</small>"
    )
    assert "<li>3 zones, 1 treatment, 1 without numbers</li>" in head(
        replace(plan, settings=(first, twin, third))
    )


def test_ground_to_be_tested_says_so_in_the_table():
    plan = small_plan()
    first = plan.settings[0]
    tested = replace(first.moistures["dry"], state=Fitness.TEST, wait_chance=0.34)
    one = replace(first, moistures={**first.moistures, "dry": tested})
    _, row, *_ = cells(zone_table(replace(plan, settings=(one, *plan.settings[1:])), "dry"))
    assert row[-1] == "notch firm <small>squeeze first: smears in 3 of 10</small>"


def test_a_machine_that_holds_the_margin_has_nothing_else_to_set():
    plan = replace(small_plan(), setting_kind="margin target")
    assert [len(row) for row in cells(zone_table(plan, "moist"))] == [5, 5, 5, 4]


def test_the_legend_names_every_zone_once():
    for moisture in ("dry", "moist", "wet"):
        listed = re.findall(r"</strong> zones? ([\d, ]+)<", zone_legend(small_plan(), moisture))
        assert sorted(int(number) for zones in listed for number in zones.split(",")) == [1, 2, 3]


def test_one_setting_for_the_field_where_there_is_one():
    plan = small_plan()
    assert "One spring position for the whole field, dry: <strong>125 lb" in whole_field(
        plan, "dry"
    )
    assert whole_field(plan, "wet") == ""
    some_wait = replace(plan, best={"wet": 556.0})
    assert "1 of 3 zones wait" in whole_field(some_wait, "wet")


def test_the_one_setting_says_where_it_suits_and_warns_of_itself():
    text = whole_field(small_plan(), "dry")
    # WORKED: 556 N leaves (514 + 197) / 2 = 356 N half full in zone 1, under its least of 534;
    # zone 2: 1508 + 556 - 1200 - 550 = 314 and -3 N, under 634
    assert "With the hopper half full: too light, zones 1, 2, 9.88 acres." in text
    assert "warnings" not in text
    packed = whole_field(replace(small_plan(), best={**small_plan().best, "wet": 556.0}), "wet")
    # WORKED: 1304 N full, over the 394 + 220 that the soil bears
    assert "It leaves more than the soil bears with the hopper full in zone 1" in packed


def test_a_generic_planter_is_stamped_until_somebody_weighed_it():
    plan = small_plan()
    assert generic(plan) == ""
    stamped = generic(replace(plan, machine=replace(plan.machine, generic=True)))
    assert "invented weights: weigh your own" in stamped


def test_ground_without_data_is_told():
    # WORKED: 2 ha / 0.40468564
    assert "say nothing of 4.94 acres" in notes(small_plan())
    assert "say nothing" not in notes(replace(small_plan(), uncovered_ha=0.0))


@pytest.mark.parametrize("made", [head, notes])
def test_names_are_escaped(made):
    plan = small_plan()
    field = replace(plan.field, name="<script>a</script>")
    html = made(replace(plan, field=field, notices=(remark("<script>a</script>"),)))
    assert "&lt;script&gt;a&lt;/script&gt;" in html
    assert "<script" not in html


def test_an_error_keeps_its_three_parts_and_speaks_of_the_page():
    html = fault(
        ZoneplanError("Found <this>.\nIt stops us.\n  1: a", parameter="pick", example="1")
    )
    assert "<p>Found &lt;this&gt;.</p>" in html
    assert "It stops us.\n  1: a\nSay it in “Which field of the file”: 1" in html
    assert 'role="alert"' in html
