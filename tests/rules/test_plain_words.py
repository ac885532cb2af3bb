"""Every stock rule, its warning and every texture group has words for a landowner."""

import re

import pytest

from zoneplan.rules.read import read_rules
from zoneplan.rules.words import GROUND

RULES = read_rules()
# Words of the trade: a landowner's page has its own for each.
TRADE = (
    "margin|opener|gauge|downforce|closing wheel|plastic|target|notch|texture|lb|mph|judge|swing"
)


@pytest.mark.parametrize("rule", RULES.every, ids=lambda each: each.id)
def test_every_stock_rule_has_plain_words(rule):
    told_already = rule.kind == "stop"  # its plain words say why to wait
    for words in (
        [rule.plain, rule.warns_plain] if rule.warns and not told_already else [rule.plain]
    ):
        assert words is not None
        assert words == words[:1].lower() + words[1:]  # a clause, to be put into a sentence
        assert not words.endswith(".")
        assert not re.search(rf"\b({TRADE})|\d", words)


def test_every_texture_group_has_plain_words():
    assert tuple(RULES.aim.soils) == GROUND["texture_group"]
