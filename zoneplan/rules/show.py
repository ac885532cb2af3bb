"""The rulebook in plain words, a row a rule."""

import math
from collections.abc import Mapping

from zoneplan.forms import either
from zoneplan.rules.rule import Amount, Rule, Rules, RuleSet
from zoneplan.rules.words import (
    FLAGS,
    GROUND,
    MEASURE_OF,
    Measure,
    bounds,
    sources_in_words,
    written,
)

GROUNDS = math.prod(len(words) for words in GROUND.values())
PROVED = (  # of every rulebook that `read_rules` gives out
    f"Every soil, moisture and tillage ({GROUNDS} in all) has exactly one base rule.",
    "Every base rule aims within the caps that always hold there.",
    "No sum can fall below nothing.",
    "No two caps leave room for no number.",
)
HEAD = ("id", "kind", "when", "gives", "why", "source", "confidence", "origin")


def rule_table(rules: Rules) -> list[tuple[str, ...]]:
    """Every rule in the order it acts, under a row of headings.

    Amounts are in the unit that the stock file of the rule set is written in.

    Examples
    --------
    >>> from zoneplan.rules.read import read_rules
    >>> rule_table(read_rules())[1][:4]
    ('coarse-dry', 'margin base', 'coarse soil; dry', 'aim for 90 lb')
    """
    return [HEAD, *_rows(rules.margin), *_rows(rules.closing)]


def when_in_words(when: Mapping[str, tuple[object, ...]]) -> str:
    """What a rule asks for, as a grower would say it.

    >>> when_in_words({"wetness": ("dry", "moist"), "residue_frac": (0.3, 0.6)})
    'dry or moist; residue 30 % or more, below 60 %'
    >>> when_in_words({})
    'always'
    """
    return "; ".join(_asked(name, allowed) for name, allowed in when.items()) or "always"


def _asked(name: str, allowed: tuple[object, ...]) -> str:
    if name in MEASURE_OF:
        return _bounded(MEASURE_OF[name], *bounds(allowed))
    if name in FLAGS:
        return FLAGS[name] if allowed == (True,) else f"not {FLAGS[name]}"
    words = either(map(str, allowed))
    if name in ("texture", "texture_group"):
        return f"{words} soil"
    return f"on {words}" if name == "system" else words


def _bounded(measure: Measure, least: float, below: float) -> str:
    said = []
    if least > -math.inf:
        said.append(f"{_measured(least, measure)} or more")
    if below < math.inf:
        said.append(f"below {_measured(below, measure)}")
    return f"{measure.name} {', '.join(said)}"


def _measured(value: float, measure: Measure) -> str:
    return f"{round(value / measure.si, 6):g} {measure.unit}"


def _rows(rule_set: RuleSet) -> list[tuple[str, ...]]:
    return [
        (
            rule.id,
            f"{rule_set.decides} {rule.kind}",
            when_in_words(rule.when),
            gives_in_words(rule, rule_set.unit),
            rule.why,
            sources_in_words(rule),
            rule.confidence,
            rule.origin,
        )
        for rule in rule_set.rules
    ]


def gives_in_words(rule: Rule, unit: str) -> str:
    """Say what a rule does, in the unit of its set, and what it warns of.

    >>> from zoneplan.rules.read import read_rules
    >>> gives_in_words(read_rules().margin.rules[0], "lbf")
    'aim for 90 lb'
    """
    if rule.kind == "base" and rule.amount:
        gives = f"aim for {written(rule.amount.fixed, unit)}"
    elif rule.amount:
        gives = _adds(rule.amount, unit)
    elif rule.kind == "cap":
        limits = (("at least", rule.least), ("at most", rule.most))
        gives = ", ".join(f"{how} {written(n, unit)}" for how, n in limits if n is not None)
    else:
        gives = "no number: wait"
    return f'{gives}; warns "{rule.warns}"' if rule.warns else gives


def _adds(amount: Amount, unit: str) -> str:
    if amount.measure is None:
        return f"add {written(amount.fixed, unit)}" if amount.fixed else "add nothing"
    measure = MEASURE_OF[amount.measure]
    grows = (
        f"add {written(amount.each, unit)} for every {_measured(amount.step, measure)} "
        f"of {measure.name} above {_measured(amount.over, measure)}"
    )
    return grows if amount.most is None else f"{grows}, at most {written(amount.most, unit)}"
