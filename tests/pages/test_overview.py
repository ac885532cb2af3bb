import re
from dataclasses import replace

import pytest

from tests.export.plans import small_plan
from tests.telling import remark
from zoneplan.errors import ZoneplanError
from zoneplan.pages.overview import fault, head, legend, notes, whole_field, zone_table


def cells(html):
    return [
        re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in re.findall(r"<tr>.*?</tr>", html)
    ]


def test_the_head_says_what_the_plan_is_made_for():
    # WORKED: 6 ha / 0.40468564 = 14.83 acres; 2.2352 m/s / 0.44704; 0.0508 m / 0.0254
    assert re.findall(r"<li>(.*?)</li>", head(small_plan())) == [
        "14.8 acres",
        "3 zones",
        "Eight rows on springs",
        "no-till",
        "5 mph",
        "2 in deep",
        "60 % residue",
    ]


def test_every_zone_is_a_line_of_the_table():
    # WORKED: 3.64, 0.36 and 2 ha / 0.40468564; (350 + 44) N / 4.448222; 556 N / 4.448222, which
    # leaves 1508 + 556 - 600 - 160 = 1304 N full, 1191: 987 N at refill
    assert cells(zone_table(small_plan(), "wet")) == [
        ["Zone", "Acres", "Soil", "Spring position", "Margin to aim for", "Closing wheels"],
        ["1", "9.0", "loam", "125 lb <small>leaves 293 to 222 lb</small>", "89 lb", "notch light"],
        ["2", "0.9", "silty clay", "WAIT"],
        ["3", "4.9", "no data", "no numbers"],
    ]


def test_a_machine_that_holds_the_margin_has_nothing_else_to_set():
    plan = replace(small_plan(), setting_kind="margin target")
    assert [len(row) for row in cells(zone_table(plan, "moist"))] == [5, 5, 5, 4]


def test_the_legend_names_every_zone_once():
    for wetness in ("dry", "moist", "wet"):
        listed = re.findall(r"</strong> zones? ([\d, ]+)<", legend(small_plan(), wetness))
        assert sorted(int(it) for zones in listed for it in zones.split(",")) == [1, 2, 3]


def test_one_setting_for_the_field_where_there_is_one():
    plan = small_plan()
    assert "One spring position for the whole field, dry: <strong>125 lb" in whole_field(
        plan, "dry"
    )
    assert whole_field(plan, "wet") == ""
    some_wait = replace(plan, best={"wet": 556.0})
    assert "1 of 3 zones wait" in whole_field(some_wait, "wet")


def test_ground_without_data_is_told():
    # WORKED: 2 ha / 0.40468564
    assert "say nothing of 4.9 acres" in notes(small_plan())
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
    assert "It stops us.\n  1: a\nSay it in “Which feature”: 1" in html
    assert 'role="alert"' in html
