"""The base rules of a set as a grid."""

from dataclasses import replace

import pytest

from zoneplan.rules.coverage import GROUPS, MOISTURES, grids
from zoneplan.rules.read import read_rules

RULES = read_rules()


@pytest.mark.parametrize("decides", ["aim", "most", "closing"])
def test_the_stock_rules_are_one_grid_with_a_rule_a_cell(decides):
    rule_set = getattr(RULES, decides)
    (grid,) = grids(rule_set)
    assert list(grid.cells) == [(group, moisture) for group in GROUPS for moisture in MOISTURES]
    ids = [cell.rule.id for cell in grid.cells.values()]
    assert sorted(ids) == sorted(rule.id for rule in rule_set.rules if rule.kind == "base")


def test_each_tillage_has_a_grid_where_a_rule_looks_at_it():
    stock = RULES.by_id["aim-medium-dry"]
    tilled = replace(stock, when={**stock.when, "tillage": ("tilled",)})
    other = replace(stock, id="other", when={**stock.when, "tillage": ("strip-till", "no-till")})
    others = [rule for rule in RULES.aim.rules if rule is not stock]
    first, second = grids(replace(RULES.aim, rules=(*others, tilled, other)))
    assert (first.tillages, second.tillages) == (("tilled",), ("strip-till", "no-till"))
    assert first.cells["medium", "dry"].rule is tilled
    assert second.cells["medium", "dry"].rule is other
    assert first.cells["fine", "dry"].rule is second.cells["fine", "dry"].rule


def test_what_is_more_particular_is_told_where_it_may_hold_and_nowhere_else():
    add = replace(RULES.by_id["closing-spiked"], id="silt")
    wet = replace(add, when={"texture": ("silt",), "moisture": ("wet",)})
    (grid,) = grids(replace(RULES.aim, rules=(*RULES.aim.rules, wet)))
    assert [at for at, cell in grid.cells.items() if cell.also] == [("medium", "wet")]
    assert grid.cells["medium", "wet"].also == (wet,)
    no_till = replace(add, when={"tillage": ("no-till",)})
    (grid,) = grids(replace(RULES.aim, rules=(*RULES.aim.rules, no_till)))
    assert all(cell.also == (no_till,) for cell in grid.cells.values())
