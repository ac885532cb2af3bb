"""From a soil at one wetness to a Choice: the number, and the whole chain that made it."""

import math
from collections.abc import Sequence
from operator import itemgetter

from zoneplan.notices import Notice, notice
from zoneplan.rules.rule import CONFIDENCES, Amount, Choice, Reason, Rule, RuleSet, Situation
from zoneplan.rules.words import MEASURE_OF, bounds, sources_in_words, written

DIGITS = 9  # kept in comparisons, so that noise from unit conversion never tips a limit


def choose(rule_set: RuleSet, situation: Situation) -> Choice:
    """Decide one number for one soil at one wetness.

    A stop rule that holds ends it: no number, no caps, only its reason. Otherwise the one
    base rule, every adjustment that holds, in file order, then the narrowest caps, then
    rounding to the rule set's step (a half goes up; never past a cap).

    Parameters
    ----------
    rule_set : RuleSet
        As `read_rules` proved it: one base rule for every ground. [N, or share 0 to 1]
    situation : Situation
        What the rules may look at.

    Returns
    -------
    Choice
        `value`, `least`, `most` and what each reason adds in the rule set's SI unit: N for
        the margin, share for closing. The reasons add up to the value.
    """
    held = [rule for rule in rule_set.rules if holds(rule, situation)]
    for rule in held:
        if rule.kind == "stop":
            return Choice(
                None, None, None, (_reason(rule, None),), rule.confidence, _warned([rule])
            )

    [base] = [rule for rule in held if rule.kind == "base"]
    chain = [_reason(base, given(base, situation))]
    spoke = [base]
    for rule in held:
        if rule.kind == "adjust":
            adds = given(rule, situation)
            if adds or rule.warns:
                chain.append(_reason(rule, adds))
                spoke.append(rule)
    value = math.fsum(reason.adds or 0.0 for reason in chain)

    caps = [rule for rule in held if rule.kind == "cap"]
    floors = [(rule.least, rule) for rule in caps if rule.least is not None]
    roofs = [(rule.most, rule) for rule in caps if rule.most is not None]
    least, floor = max(floors, key=itemgetter(0), default=(None, None))
    most, roof = min(roofs, key=itemgetter(0), default=(None, None))
    notices = _warned([*spoke, *caps])
    clamped = _clamp(value, least, most)
    cap = roof if clamped < value else floor
    if cap and round(clamped - value, DIGITS):
        chain.append(_reason(cap, clamped - value))
        notices += (_clamped(value, clamped, cap, rule_set.decides),)

    confidence = max((reason.confidence for reason in chain), key=CONFIDENCES.index)
    rounded = _clamp(_round(clamped, rule_set.rounding), least, most)
    if round(rounded - clamped, DIGITS):
        step = written(rule_set.rounding, rule_set.unit)
        why = f"Rounded to {step}: finer than this nobody knows it."
        chain.append(
            Reason("rounding", "rounding", rounded - clamped, why, "judgement", confidence)
        )
    return Choice(rounded, least, most, tuple(chain), confidence, notices)


def holds(rule: Rule, situation: Situation) -> bool:
    """Whether all that a rule asks for is so."""
    for name, asked in rule.when.items():
        found = getattr(situation, name)
        if name in MEASURE_OF:
            least, below = bounds(asked)
            if not round(least, DIGITS) <= round(found, DIGITS) < round(below, DIGITS):
                return False
        elif found not in asked:
            return False
    return True


def given(rule: Rule, situation: Situation) -> float:
    """What a base or adjust rule gives here, in N or share."""
    amount = rule.amount or Amount()
    if amount.measure is None:
        return amount.fixed
    measured: float = getattr(situation, amount.measure)
    beyond = max(0.0, round(measured - amount.over, DIGITS))
    total = amount.each * beyond / amount.step
    if amount.most is not None and abs(total) > amount.most:
        total = math.copysign(amount.most, total)
    return amount.fixed + total


def _reason(rule: Rule, adds: float | None) -> Reason:
    return Reason(rule.id, rule.kind, adds, rule.why, sources_in_words(rule), rule.confidence)


def _warned(rules: Sequence[Rule]) -> tuple[Notice, ...]:
    return tuple(
        notice("rule-warns", rule=rule.id, words=rule.warns) for rule in rules if rule.warns
    )


def _clamped(asked: float, got: float, cap: Rule, decides: str) -> Notice:
    is_load = decides == "margin"
    return notice(
        "held-by-a-cap",
        rule=cap.id,
        cap=cap.title,
        asked_n=asked if is_load else None,
        held_n=got if is_load else None,
        asked_share=None if is_load else asked,
        held_share=None if is_load else got,
    )


def _clamp(value: float, least: float | None, most: float | None) -> float:
    if most is not None and value > most:
        return most
    if least is not None and value < least:
        return least
    return value


def _round(value: float, step: float) -> float:
    """To the nearest step; a half goes up."""
    return step * math.floor(round(value / step, DIGITS) + 0.5) if step else value
