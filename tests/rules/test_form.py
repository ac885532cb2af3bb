"""Numbers that no rule can mean are refused, in words, whatever the rule is for."""

import pytest

from zoneplan.errors import RuleError
from zoneplan.rules.read import parse

HEAD = 'decides = "aim"\nunit = "{unit}"\nrevised = 2027-03-01\n'
RULE = (
    '[[{kind}]]\nid = "ours"\n{key} = {value}\ntitle = "Ours"\nwhy = "We dug."\n'
    'confidence = "judged"\nsource = [{{ cite = "judgement" }}]\n'
)


def read(kind, key, value, unit="lbf"):
    text = HEAD.format(unit=unit) + RULE.format(kind=kind, key=key, value=value)
    return parse("ours.toml", text.encode(), "ours")


@pytest.mark.parametrize(
    ("kind", "key", "value", "unit", "words"),
    [
        ("adjust", "add", "-100_000", "lbf", "add = -100000 lbf, which no row unit can carry. Wri"),
        ("base", "aim", "1001", "lbf", "aim = 1001 lbf, which no row unit can carry. Write 1,000"),
        ("base", "aim", "4449", "N", "aim = 4449 N, which no row unit can carry. Write 4,448 N"),
        ("cap", "most", "5e6", "lbf", "most = 5e+06 lbf, which no row unit can carry"),
        ("cap", "least", "-5e6", "lbf", "least = -5e+06 lbf, which no row unit can carry"),
    ],
)
def test_a_load_that_cannot_be_is_refused(kind, key, value, unit, words):
    with pytest.raises(RuleError) as caught:
        read(kind, key, value, unit)
    assert str(caught.value).startswith('ours.toml has 1 fault:\n  rule "ours" says ' + words)


@pytest.mark.parametrize(
    ("kind", "key", "value"), [("adjust", "add", "-1000"), ("base", "aim", "1000")]
)
def test_a_load_that_can_be_is_read(kind, key, value):
    (rule,) = read(kind, key, value).rules
    assert abs(rule.amount.fixed) == pytest.approx(4448.2216)  # WORKED: 1000 x 4.4482216 N
