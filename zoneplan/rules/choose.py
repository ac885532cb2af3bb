"""From a soil at one moisture to a Choice: the number, and the whole chain that made it."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from operator import itemgetter

from zoneplan.notices import Notice, notice
from zoneplan.rules.rule import CONFIDENCES, Amount, Choice, Reason, Rule, RuleSet, Situation
from zoneplan.rules.words import DIGITS, allows, sources_in_words
from zoneplan.soil.texture import GROUP_OF

_NOISE = 1e-9


def choose(rule_set: RuleSet, situation: Situation) -> Choice:
    """Decide one number for one soil at one moisture.

    The base is the mean of the base rules over the classes that the soil may be; then every
    adjustment that holds, in file order, then the narrowest caps. Nothing is rounded.

    Parameters
    ----------
    rule_set : RuleSet
        As `read_rules` proved it: one base rule for every texture group and moisture. [N]
    situation : Situation
        What the rules may look at.

    Returns
    -------
    Choice
        The reasons add up to the value. A soil near a line of the triangle has a base link
        for each rule that it lies between, with the share of each.
    """
    shares: dict[str, float] = defaultdict(float)
    bases: dict[str, Rule] = {}
    for texture, share in situation.texture_shares:
        base = _base(rule_set, texture, situation)
        bases[base.id] = base
        shares[base.id] += share
    chain = [
        replace(
            _reason(base, shares[name] * given(base, situation)),
            share=None if len(bases) == 1 else shares[name],
        )
        for name, base in bases.items()
    ]
    spoke = [*bases.values()]
    for rule in rule_set.rules:
        if rule.kind == "adjust" and (share := _share_held(rule, situation)):
            adds = share * given(rule, situation)
            if adds or rule.warns:
                chain.append(_reason(rule, adds))
                spoke.append(rule)
    value = math.fsum(reason.adds or 0.0 for reason in chain)
    caps = [rule for rule in rule_set.rules if rule.kind == "cap" and holds(rule, situation)]
    floors = [(rule.least, rule) for rule in caps if rule.least is not None]
    roofs = [(rule.most, rule) for rule in caps if rule.most is not None]
    least, floor = max(floors, key=itemgetter(0), default=(-math.inf, None))
    most, roof = min(roofs, key=itemgetter(0), default=(math.inf, None))
    capped = min(max(value, least), most)
    cap = roof if capped < value else floor
    if cap and abs(capped - value) > _NOISE:
        chain.append(_reason(cap, capped - value))
        spoke.append(cap)
    confidence = max((reason.confidence for reason in chain), key=CONFIDENCES.index)
    return Choice(capped, tuple(chain), confidence, warned(spoke))


def holds(rule: Rule, situation: Situation, texture: str | None = None) -> bool:
    """Whether all that a rule asks for is so.

    Parameters
    ----------
    rule, situation : Rule, Situation
        What is asked of what.
    texture : str, optional
        The class to look at; else the one that most of the soil is.
    """
    here = texture or situation.texture
    for name, allowed in rule.when.items():
        if name == "texture":
            value: object = here
        elif name == "texture_group":
            value = GROUP_OF[here]
        else:
            value = getattr(situation, name)
        if not allows(name, allowed, value):
            return False
    return True


def given(rule: Rule, situation: Situation) -> float:
    """What a base or adjust rule gives here. [N]."""
    amount = rule.amount or Amount()
    if amount.measure is None:
        return amount.fixed
    measured: float = getattr(situation, amount.measure)
    beyond = max(0.0, round(measured - amount.over, DIGITS))
    total = amount.each * beyond / amount.step
    if amount.most is not None and abs(total) > amount.most:
        total = math.copysign(amount.most, total)
    return amount.fixed + total


def warned(rules: Sequence[Rule]) -> tuple[Notice, ...]:
    """What rules that hold say to look out for."""
    return tuple(
        notice("rule-warns", rule=rule.id, words=rule.warns) for rule in rules if rule.warns
    )


def _base(rule_set: RuleSet, texture: str, situation: Situation) -> Rule:
    """The base rule of a class. Base rules look at texture group, moisture and tillage only."""
    return _base_of(_Key(rule_set), GROUP_OF[texture], situation.moisture, situation.tillage)


class _Key:
    """A rule set as a key of a cache: the same object, not an equal one."""

    def __init__(self, rule_set: RuleSet) -> None:
        self.rule_set = rule_set

    def __hash__(self) -> int:
        return id(self.rule_set)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.rule_set is self.rule_set


@lru_cache(maxsize=512)
def _base_of(key: _Key, group: str, moisture: str, tillage: str) -> Rule:
    asked = {"texture_group": group, "moisture": moisture, "tillage": tillage}
    [base] = [
        rule
        for rule in key.rule_set.rules
        if rule.kind == "base"
        and all(asked[name] in allowed for name, allowed in rule.when.items())
    ]
    return base


def _share_held(rule: Rule, situation: Situation) -> float:
    """Share of what the soil may be for which a rule holds. [0 to 1]."""
    if not rule.when.keys() & {"texture", "texture_group"}:
        return float(holds(rule, situation))
    return sum(
        share for texture, share in situation.texture_shares if holds(rule, situation, texture)
    )


def _reason(rule: Rule, adds: float | None) -> Reason:
    return Reason(rule.id, rule.kind, adds, rule.why, sources_in_words(rule), rule.confidence)
