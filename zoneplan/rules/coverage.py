"""Which rule decides where: what a rule set leaves open, and the grid of its base rules.

Every hole, double and crossing of its rules is told at once.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from zoneplan.rules.choose import verdict
from zoneplan.rules.rule import Rule, RuleSet
from zoneplan.rules.words import ACTS, BY, CHOICES, GROUND, MEASURE_OF, allows, bounds, written
from zoneplan.soil.texture import GROUP_OF, textures_of
from zoneplan.terms import Fitness

MOST_CASES = 100_000
SMEAR = "smear_chance"
UNKNOWN = ("survey_smear_chance", "survey_plasticity_pct")  # where a survey does not say it
GROUPS, MOISTURES = GROUND["texture_group"], GROUND["moisture"]
_RANK = {Fitness.FIT: 0, Fitness.TEST: 1, Fitness.WAIT: 2}

Ground = tuple[str, ...]  # a word for each of GROUND


def faults_of(decides: str, rules: Sequence[Rule], unit: str) -> list[str]:
    """Every hole, double and crossing of one rule set; none when it is sound.

    Where loads are decided, each texture group, moisture and tillage needs exactly one base
    rule, whose load is above nothing and within the caps that always hold there; no cap may
    ask for more than another allows where both can hold. A swing needs each of its parts
    exactly once: its bounce for every tillage, what is felt for every system. When to stop
    needs a stop rule, and thresholds in order: of two soils alike but for their chance to
    smear, the one that smears more is never the fitter.

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
        *_below_zero(bases, unit),
        *_outside(bases, caps, unit),
        *_crossing(caps, unit),
    ]


def _parts(rules: Sequence[Rule]) -> list[str]:
    """Where a part of a swing is missing, is there twice, or cannot be."""
    faults = []
    for acts in ACTS:
        by = BY.get(acts, "")
        for word in CHOICES[by] if by else ("",):
            ids = [
                f'"{rule.id}"'
                for rule in rules
                if rule.acts == acts and word in rule.when.get(by, (word,))
            ]
            part = f"{acts}, {word}" if word else acts
            if not ids:
                faults.append(f"{part}: no factor. Add one.")
            elif len(ids) > 1:
                faults.append(f"{part}: {len(ids)} factors, {', '.join(ids)}. Leave one.")
    for rule in rules:
        value = (rule.amount.fixed or rule.amount.each) if rule.amount else None
        if value is not None and value < 0:
            faults.append(f'rule "{rule.id}" has a value below 0: no part of a swing is.')
    return faults


def _stops(rules: Sequence[Rule]) -> list[str]:
    """Where nothing says wait, or more chance to smear gets a milder answer."""
    rules = [rule for rule in rules if rule.kind in ("stop", "test")]
    if not any(rule.kind == "stop" for rule in rules):
        return ["no stop rule, so no soil is ever too wet. Add one."]
    faults: dict[str, None] = {}
    cases = {name: _cases(name, rules) for name in {name for rule in rules for name in rule.when}}
    if math.prod(map(len, cases.values())) > MOST_CASES:
        return ["stop and test rules look at too many things to be proved. Write fewer of them."]
    cases.pop(SMEAR, None)
    odds = [-math.inf, *_limits(SMEAR, rules)]
    for ground in product(*cases.values()):
        situation = dict(zip(cases, ground, strict=True))
        group = GROUP_OF.get(str(situation.get("texture")))
        if group and situation.get("texture_group", group) != group:
            continue  # there is no such soil
        here = [rule for rule in rules if _holds(rule, situation)]
        before, spoke = Fitness.FIT, ""
        for chance in odds:
            matches = [rule for rule in here if _holds(rule, {SMEAR: chance})]
            fitness, kind = verdict(matches)
            if _RANK[fitness] < _RANK[before]:
                faults[
                    f'rule "{spoke}" says {before} and ends at {100 * chance:g} % chance to smear, '
                    f"where the rules say {fitness}. What smears more is never fitter: let one "
                    "begin where the other ends."
                ] = None
            before = fitness
            spoke = next((rule.id for rule in matches if rule.kind == kind), "")
    return list(faults)


def _cases(name: str, rules: Sequence[Rule]) -> list[object]:
    """Every word that may be; of a number the limits, one below them all, and unknown."""
    if name not in MEASURE_OF:
        return [*CHOICES.get(name, (True, False))]
    return [None] * (name in UNKNOWN) + [-math.inf, *_limits(name, rules)]


def _limits(name: str, rules: Sequence[Rule]) -> list[float]:
    pairs = [bounds(rule.when[name]) for rule in rules if name in rule.when]
    return sorted({limit for pair in pairs for limit in pair if math.isfinite(limit)})


def _holds(rule: Rule, situation: Mapping[str, object]) -> bool:
    """Whether all holds that a rule asks of what is known of a situation."""
    return all(
        allows(name, allowed, situation[name])
        for name, allowed in rule.when.items()
        if name in situation
    )


def _below_zero(bases: Sequence[Rule], unit: str) -> list[str]:
    return [
        f'rule "{base.id}" aims for {written(base.amount.fixed, unit)}. Aim for 0 or more.'
        for base in bases
        if base.amount is not None and base.amount.fixed < 0
    ]


def _holes_and_doubles(bases: Sequence[Rule]) -> list[str]:
    faults = []
    for ground in product(*GROUND.values()):
        ids = [f'"{base.id}"' for base in bases if _covers(base, ground)]
        where = ", ".join(ground)
        if not ids:
            faults.append(f"{where}: no base rule. Add one.")
        elif len(ids) > 1:
            faults.append(f"{where}: {len(ids)} base rules, {', '.join(ids)}. Leave one.")
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


def _covers(rule: Rule, ground: Ground) -> bool:
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


# ---- the grid ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Cell:
    """What decides one number of the grid."""

    rule: Rule  # the base rule
    also: tuple[Rule, ...]  # more particular ones, that may add to it or hold it there


@dataclass(frozen=True)
class Grid:
    """A cell for every texture group and moisture, on ground of these tillages."""

    tillages: tuple[str, ...]
    cells: Mapping[tuple[str, str], Cell]  # by texture group and moisture


def grids(rule_set: RuleSet) -> tuple[Grid, ...]:
    """Lay the base rules of a set out: one grid, or one a tillage where rules differ by it.

    >>> from zoneplan.rules.read import read_rules
    >>> (grid,) = grids(read_rules().aim)
    >>> grid.tillages, grid.cells["coarse", "dry"].rule.id
    (('tilled', 'strip-till', 'no-till'), 'aim-coarse-dry')
    """
    places = [*product(GROUPS, MOISTURES)]
    tillages: dict[tuple[str, ...], list[str]] = {}
    for tillage in GROUND["tillage"]:
        bases = [_base(rule_set, (*place, tillage)).id for place in places]
        tillages.setdefault(tuple(bases), []).append(tillage)
    return tuple(
        Grid(
            tuple(alike),
            {
                place: Cell(
                    _base(rule_set, (*place, alike[0])),
                    tuple(
                        rule
                        for rule in rule_set.rules
                        if rule.kind != "base"
                        and any(_may_hold(rule, (*place, tillage)) for tillage in alike)
                    ),
                )
                for place in places
            },
        )
        for alike in tillages.values()
    )


def _base(rule_set: RuleSet, ground: Ground) -> Rule:
    [base] = [  # as `read_rules` proved
        rule for rule in rule_set.rules if rule.kind == "base" and _covers(rule, ground)
    ]
    return base


def _may_hold(rule: Rule, ground: Ground) -> bool:
    textures = textures_of(ground[0])
    asked = rule.when.get("texture", textures)
    return _covers(rule, ground) and not set(textures).isdisjoint(asked)
