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
from zoneplan.soil.texture import GROUP_OF

GROUNDS = math.prod(len(words) for words in GROUND.values())
PROVED = (  # of every rulebook that `read_rules` gives out
    f"Every soil, moisture and tillage ({GROUNDS} in all) has exactly one base rule for the aim, "
    "for what it bears and for closing.",
    "Every base rule lies within the caps that always hold there, and no two caps cross.",
    "Every part of the swing is there once, for every tillage and system.",
    "Something says when to wait.",
)
_EXPLAINED = {"least": "lifts the target", "measured": "in place of all of it"}
_OF = {"uneven": "of the opener load", "felt": "of the unevenness is felt"}
_BEFORE = {"system": "on", "closing_wheel": "closing wheels:"}
HEAD = ("id", "kind", "when", "gives", "why", "source", "confidence", "origin")


def rule_table(rules: Rules) -> list[tuple[str, ...]]:
    """Every rule in the order it acts, under a row of headings.

    Amounts are in the unit that the stock file of the rule set is written in.

    Examples
    --------
    >>> from zoneplan.rules.read import read_rules
    >>> rule_table(read_rules())[1][:4]
    ('aim-coarse-dry', 'aim base', 'sand or loamy sand; dry', '110 lb')
    """
    return [HEAD, *(row for rule_set in rules.sets for row in _rows(rule_set))]


def when_in_words(when: Mapping[str, tuple[object, ...]]) -> str:
    """What a rule asks for, as a grower would say it.

    >>> when_in_words({"moisture": ("dry", "moist"), "residue_frac": (0.3, 0.6)})
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
    if name == "texture_group":  # its textures say more than "moderately fine"
        return either(texture for texture, group in GROUP_OF.items() if group in allowed)
    words = either(map(str, allowed))
    return f"{_BEFORE[name]} {words}" if name in _BEFORE else words


def _bounded(measure: Measure, least: float, below: float) -> str:
    phrases = []
    if least > -math.inf:
        phrases.append(f"{_measured(least, measure)} or more")
    if below < math.inf:
        phrases.append(f"below {_measured(below, measure)}")
    return f"{measure.name} {', '.join(phrases)}"


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
    >>> gives_in_words(read_rules().aim.rules[0], "lbf")
    '110 lb'
    """
    if rule.kind == "factor":
        gives = _factor(rule, unit)
    elif rule.kind == "base" and rule.amount:
        gives = written(rule.amount.fixed, unit)
    elif rule.amount:
        gives = _adds(rule.amount, unit)
    elif rule.kind == "cap":
        limits = (("at least", rule.least), ("at most", rule.most))
        gives = ", ".join(f"{how} {written(n, unit)}" for how, n in limits if n is not None)
    else:
        gives = {"stop": "no number: wait", "test": "squeeze test first"}.get(rule.kind, "a remark")
    return f'{gives}; warns "{rule.warns}"' if rule.warns else gives


def _factor(rule: Rule, unit: str) -> str:
    """What a part of the swing is: a load for the bounce, else a share."""
    amount = rule.amount
    if amount is None:
        return _EXPLAINED.get(rule.acts or "", "through the opener load")
    if rule.acts == "bounce":
        return written(amount.fixed, unit)
    if amount.measure is None:
        return f"{_share(amount.fixed)} {_OF.get(rule.acts or '', '')}".rstrip()
    measure = MEASURE_OF[amount.measure]
    limits = (("never below", rule.least), ("never above", rule.most))
    suffix = "".join(f", {how} {_share(n)}" for how, n in limits if n is not None)
    return (
        f"{_share(amount.each)} more swing for every {_measured(amount.step, measure)} of "
        f"{measure.name} above {_measured(amount.over, measure)}{suffix}"
    )


def _share(value: float) -> str:
    return f"{round(100 * value, 6):g} %"


def _adds(amount: Amount, unit: str) -> str:
    if amount.measure is None:
        return f"add {written(amount.fixed, unit)}" if amount.fixed else "add nothing"
    measure = MEASURE_OF[amount.measure]
    grows = (
        f"add {written(amount.each, unit)} for every {_measured(amount.step, measure)} "
        f"of {measure.name} above {_measured(amount.over, measure)}"
    )
    return grows if amount.most is None else f"{grows}, at most {written(amount.most, unit)}"
