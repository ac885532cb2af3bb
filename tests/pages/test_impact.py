"""What a change of rules moved, zone by zone."""

import functools
import re

import pytest

from tests.helpers.jobs import demo_job, plan_of
from zoneplan.pages.impact import HAIRLINE_HA, impact_table
from zoneplan.plan.compare import compare
from zoneplan.sources import Upload
from zoneplan.terms import Moisture

HEAD = 'decides = "{}"\nunit = "{}"\nrevised = 2026-12-01\n'
BASE = """[[base]]
id = "{}"
title = "Ours"
when = {{ texture_group = ["{}"], moisture = ["{}"] }}
aim = {}
why = "We dug."
confidence = "judged"
source = [{{ cite = "judgement" }}]
"""


@pytest.fixture(scope="module")
def planned():
    """A demo field's plan by some rules of one's own."""

    @functools.cache
    def plan(field, *files):
        rules = tuple(Upload(f"{n}.toml", text.encode()) for n, text in enumerate(files))
        return plan_of(demo_job(field, rules=rules))

    return plan


def rows(table):
    """Each row's cells as they read."""
    body = table.partition("<tbody>")[2].partition("</tbody>")[0]
    return [
        [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<t[hd].*?</t[hd]>", row)]
        for row in re.findall(r"<tr>.*?</tr>", body)
    ]


def test_each_zone_that_moved_has_a_row_and_no_other(planned):
    own = HEAD.format("aim", "lbf") + BASE.format("aim-medium-dry", "medium", "dry", 150)
    before, after = planned("level"), planned("level", own)
    assert len(before.settings) == len(after.settings)
    more_lb = {
        old.zone.id: round(
            (new.moistures["dry"].margin_n - old.moistures["dry"].margin_n) / 4.448222
        )
        for old, new in zip(before.settings, after.settings, strict=True)
    }
    moves = rows(impact_table(before, after, "It moves"))
    assert [int(row[0]) for row in moves] == [zone for zone, more in more_lb.items() if more]
    # WORKED: 150 lb in place of 120 lb, at most: less where the soil lies between two rules
    assert 20 <= max(more_lb.values()) <= 30
    for zone, _acres, dry, moist, wet in moves:
        assert dry.endswith(f"(+{more_lb[int(zone)]}\u00a0lb)")
        assert (moist, wet) == ("as before", "as before")


def test_a_notch_that_moved_is_told(planned):
    own = HEAD.format("closing", "lbf") + BASE.format("closing-medium-dry", "medium", "dry", 25)
    moves = rows(impact_table(planned("level"), planned("level", own), "It moves"))
    assert moves
    assert all("notch " in row[2] and " → " in row[2] for row in moves)


def test_ground_that_went_to_another_zone_says_which_it_was_in(planned):
    apart = HEAD.format("aim", "lbf") + "".join(
        BASE.format(f"aim-{group.replace(' ', '-')}-{moisture}", group, moisture, aim_lb)
        for group, aim_lb in (("moderately coarse", 100), ("medium", 150), ("moderately fine", 105))
        for moisture in ("dry", "moist")
    )
    before, after = planned("creek"), planned("creek", apart)
    assert len(before.settings) != len(after.settings)
    table = impact_table(before, after, "It moves")
    assert (
        f"The zones were drawn again: {len(before.settings)} before, {len(after.settings)} now."
        in table
    )
    assert any(" was " in row[0] for row in rows(table))


def test_a_hairline_between_edges_that_were_straightened_has_no_row(planned):
    own = HEAD.format("aim", "N") + BASE.format("aim-medium-dry", "medium", "dry", 720)
    before, after = planned("bottom"), planned("bottom", own)
    pieces = compare(before, after, Moisture.DRY).pieces
    hairlines = [piece for piece in pieces if piece.area_ha <= HAIRLINE_HA]
    assert hairlines
    moves = rows(impact_table(before, after, "It moves"))
    assert moves
    assert all(float(row[1]) > 0.04 for row in moves)  # WORKED: 0.02 ha is 0.049 acres


def test_no_change_moves_nothing(planned):
    table = impact_table(planned("level"), planned("level"), "It moves")
    assert "It moves: no zone's numbers." in table


def test_what_the_planter_is_set_to_is_told(planned):
    own = HEAD.format("aim", "lbf") + BASE.format("aim-medium-dry", "medium", "dry", 160)
    plans = planned("creek"), planned("creek", own)
    us, si = (impact_table(*plans, "It moves", system) for system in ("us", "si"))
    assert re.search(r"air pressure \d+\u00a0psi → <strong>\d+\u00a0psi</strong>", us)
    assert re.search(r"air pressure \d+\u00a0kPa → <strong>\d+\u00a0kPa</strong>", si)


def test_how_much_ground_moves_is_told_in_either_unit(planned):
    own = HEAD.format("aim", "lbf") + BASE.format("aim-medium-dry", "medium", "dry", 150)
    before, after = planned("level"), planned("level", own)
    us, si = (impact_table(before, after, "It moves", system) for system in ("us", "si"))
    moved_ha = sum(
        new.zone.area_ha
        for old, new in zip(before.settings, after.settings, strict=True)
        if old.moistures["dry"].margin_n != new.moistures["dry"].margin_n
    )
    assert f"{moved_ha:.1f} of {before.field.area_ha:.1f} ha" in si
    assert "\u00a0lb" in us
    assert "\u00a0N" in si
    assert "lb" not in si


def test_what_gives_way_is_told(planned):
    own = HEAD.format("most", "lbf") + BASE.format("most-medium-dry", "medium", "dry", 60)
    table = impact_table(planned("level"), planned("level", own), "It moves")
    # WORKED: 96 % of the time needs some 95 lb; the soil is said to bear 60
    assert "less than keeps the wheels down" in table
