"""Proof that laid-together rules answer once, and only once, for every ground."""

import math
from collections.abc import Mapping, Sequence
from itertools import product

from zoneplan.rules.rule import Rule
from zoneplan.rules.words import GROUND, MEASURE_OF, bounds, written


def faults_of(rules: Sequence[Rule], unit: str) -> list[str]:
    """Every hole, double and crossing of one rule set; none when it is sound.

    Each texture group, wetness and tillage needs exactly one base rule, whose aim lies
    within the caps that always hold there. No cap may ask for more than another allows
    where both can hold.

    Parameters
    ----------
    rules : sequence of Rule
        All that decide one thing, in SI.
    unit : str
        What to write amounts in.
    """
    bases = [rule for rule in rules if rule.kind == "base"]
    caps = [rule for rule in rules if rule.kind == "cap"]
    return [
        *_holes_and_doubles(bases),
        *_bottomless(caps),
        *_outside(bases, caps, unit),
        *_crossing(caps, unit),
    ]


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


def _bottomless(caps: Sequence[Rule]) -> list[str]:
    """Where no cap keeps a sum from falling below nothing."""
    floors = [
        cap
        for cap in caps
        if cap.when.keys() <= GROUND.keys() and cap.least is not None and cap.least >= 0
    ]
    bare = [
        ", ".join(ground)
        for ground in product(*GROUND.values())
        if not any(_covers(floor, ground) for floor in floors)
    ]
    if not bare:
        return []
    where = bare[0] if len(bare) == 1 else f"{bare[0]} and {len(bare) - 1} more"
    return [f"{where}: no cap with a least of 0 or more, so a sum may fall below nothing. Add one."]


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
