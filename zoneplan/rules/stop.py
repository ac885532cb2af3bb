"""Whether a soil at a moisture is fit to plant, to be tested, or to wait for; by stored rules."""

from collections.abc import Sequence

from zoneplan.notices import Notice
from zoneplan.rules.choose import day_of, warned
from zoneplan.rules.rule import Reason, Rule, RuleSet, Situation
from zoneplan.rules.words import sources_in_words
from zoneplan.terms import Fitness


def judge(
    rule_set: RuleSet, situation: Situation
) -> tuple[Fitness, tuple[Reason, ...], tuple[Notice, ...]]:
    """Judge one soil at one moisture.

    Parameters
    ----------
    rule_set : RuleSet
        That decides when to stop.
    situation : Situation
        What the rules may look at.

    Returns
    -------
    tuple
        Wait where a stop rule holds, test where a test rule does, else fit; the rules that
        say so; and what rules that hold warn of.
    """
    texture = situation.texture
    standing = day_of(rule_set, situation).others
    rules = [rule.rule for rule in standing if rule.holds(situation, texture)]
    fitness, kind = verdict(rules)
    reasons = tuple(
        Reason(rule.id, rule.kind, None, rule.why, sources_in_words(rule), rule.confidence)
        for rule in rules
        if rule.kind == kind
    )
    return fitness, reasons, warned(rules)


def verdict(rules: Sequence[Rule]) -> tuple[Fitness, str | None]:
    """What rules that hold come to, and the kind of those that say so."""
    kinds = {rule.kind for rule in rules}
    if "stop" in kinds:
        return Fitness.WAIT, "stop"
    return (Fitness.TEST, "test") if "test" in kinds else (Fitness.FIT, None)
