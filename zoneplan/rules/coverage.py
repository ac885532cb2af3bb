"""Proof that laid-together rules answer once, and only once, for every ground."""

import math
from collections.abc import Mapping, Sequence
from itertools import product

from zoneplan.rules.factors import ACTS
from zoneplan.rules.rule import TILLAGES, Rule
from zoneplan.rules.words import GROUND, MEASURE_OF, SYSTEMS, bounds, written

MOST_N = 5000.0  # judged: several times what any gauge or closing wheel carries


def faults_of(decides: str, rules: Sequence[Rule], unit: str) -> list[str]:
    """Every hole, double and crossing of one rule set; none when it is sound.

    Where loads are decided, each texture group, moisture and tillage needs exactly one base
    rule, whose load is above nothing and within the caps that always hold there; no
    adjustment may be past reason, and no cap may ask for more than another allows where both
    can hold. A swing needs each of its parts exactly once: its bounce for every tillage, what
    is felt for every system. When to stop needs a stop rule, and tests that end where it begins.

    Parameters
    ----------
    decides : str
        What the rules decide.
    rules : sequence of Rule
        All that decide one thing, in SI.
    unit : str
        What to write amounts in.
    """
    if decides == "swing":
        return _parts(rules)
    if decides == "stop":
        return _stops(rules)
    bases = [rule for rule in rules if rule.kind == "base"]
    caps = [rule for rule in rules if rule.kind == "cap"]
    return [
        *_holes_and_doubles(bases),
        *_past_reason(rules, unit),
        *_outside(bases, caps, unit),
        *_crossing(caps, unit),
    ]


def _parts(rules: Sequence[Rule]) -> list[str]:
    """Where a part of a swing is missing, is there twice, or cannot be."""
    faults = []
    for acts in ACTS:
        which = {"bounce": ("tillage", TILLAGES), "felt": ("system", SYSTEMS)}.get(acts)
        for word in which[1] if which else ("",):
            found = [
                f'"{it.id}"'
                for it in rules
                if it.acts == acts and (not which or word in it.when.get(which[0], (word,)))
            ]
            part = f"{acts}, {word}" if word else acts
            if not found:
                faults.append(f"{part}: no factor. Add one.")
            elif len(found) > 1:
                faults.append(f"{part}: {len(found)} factors, {', '.join(found)}. Leave one.")
    for rule in rules:
        value = (rule.amount.fixed or rule.amount.each) if rule.amount else None
        if value is not None and value < 0:
            faults.append(f'rule "{rule.id}" has a value below 0: no part of a swing is.')
    return faults


def _stops(rules: Sequence[Rule]) -> list[str]:
    """Where nothing says wait, or a test begins where a stop has said it."""
    stops = [rule for rule in rules if rule.kind == "stop"]
    if not stops:
        return ["no stop rule, so no soil is ever too wet. Add one."]
    return []


def _past_reason(rules: Sequence[Rule], unit: str) -> list[str]:
    """Loads that no row unit could carry: a slip of the keyboard."""
    faults = []
    for rule in rules:
        amount = rule.amount
        loads = [] if amount is None else [amount.fixed, amount.each]
        loads += [it for it in (rule.least, rule.most) if it is not None]
        worst = max(loads, key=abs, default=0.0)
        if abs(worst) > MOST_N:
            faults.append(
                f'rule "{rule.id}" says {written(worst, unit)}, which no row unit carries: the '
                f"most that may be said is {written(MOST_N, unit)}. Check the unit."
            )
        elif rule.kind == "base" and amount is not None and amount.fixed < 0:
            faults.append(
                f'rule "{rule.id}" aims for {written(amount.fixed, unit)}. Aim for 0 or more.'
            )
    return faults


def _holes_and_doubles(bases: Sequence[Rule]) -> list[str]:
    faults = []
    for ground in product(*GROUND.values()):
        found = [f'"{base.id}"' for base in bases if _covers(base, ground)]
        where = ", ".join(ground)
        if not found:
            faults.append(f"{where}: no base rule. Add one.")
        elif len(found) > 1:
            faults.append(f"{where}: {len(found)} base rules, {', '.join(found)}. Leave one.")
    return faults


def _outside(bases: Sequence[Rule], caps: Sequence[Rule], unit: str) -> list[str]:
    faults = []
    everywhere = [cap for cap in caps if cap.when.keys() <= GROUND.keys()]
    for base, cap in product(bases, everywhere):
        aim = base.amount.fixed if base.amount else 0.0
        least, most = _bounds(cap)
        if _can_meet(base.when, cap.when) and not least <= aim <= most:
            allowed = f"at least {written(least, unit)}" if aim < least else ""
            allowed = allowed or f"at most {written(most, unit)}"
            faults.append(
                f'rule "{base.id}" aims for {written(aim, unit)}, but cap "{cap.id}" '
                f"allows {allowed} there. Change one."
            )
    return faults


def _crossing(caps: Sequence[Rule], unit: str) -> list[str]:
    return [
        f'cap "{low.id}" wants at least {written(_bounds(low)[0], unit)} where cap '
        f'"{high.id}" allows at most {written(_bounds(high)[1], unit)}. Change one.'
        for low, high in product(caps, caps)
        if _can_meet(low.when, high.when) and _bounds(low)[0] > _bounds(high)[1]
    ]


def _bounds(cap: Rule) -> tuple[float, float]:
    return (
        -math.inf if cap.least is None else cap.least,
        math.inf if cap.most is None else cap.most,
    )


def _covers(rule: Rule, ground: Sequence[str]) -> bool:
    return all(
        value in rule.when.get(name, (value,)) for name, value in zip(GROUND, ground, strict=True)
    )


def _can_meet(
    one: Mapping[str, tuple[object, ...]], other: Mapping[str, tuple[object, ...]]
) -> bool:
    """Whether two rules can hold at once: nothing that both look at keeps them apart."""
    for name in one.keys() & other.keys():
        if name in MEASURE_OF:
            (least, below), (also_least, also_below) = bounds(one[name]), bounds(other[name])
            if not max(least, also_least) < min(below, also_below):
                return False
        elif not set(one[name]) & set(other[name]):
            return False
    return True
