"""From a soil at one moisture to a Choice: the number and its chain; and to fit, test or wait."""

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from operator import attrgetter, itemgetter
from typing import NamedTuple

from zoneplan.notices import Notice, notice
from zoneplan.rules.rule import Amount, Choice, Reason, Rule, Rules, RuleSet, Situation
from zoneplan.rules.words import DIGITS, allows, sources_in_words
from zoneplan.soil.texture import GROUP_OF
from zoneplan.terms import Fitness

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
    links, value = _decided(rule_set, situation)
    return Choice(
        value,
        tuple(
            Reason(
                rule.id, rule.kind, adds, rule.why, sources_in_words(rule), rule.confidence, share
            )
            for rule, adds, share in links
        ),
        warned([rule for rule, *_ in links]),
    )


def number_of(rule_set: RuleSet, situation: Situation) -> float:
    """The number of `choose`, without the chain that made it. [N]."""
    return _decided(rule_set, situation)[1]


def warnings_in(rule_set: RuleSet, situation: Situation) -> tuple[Notice, ...]:
    """The notices of `choose`, without its number."""
    if not day_of(rule_set, situation).warns:
        return ()
    return warned([rule for rule, *_ in _decided(rule_set, situation)[0]])


def _decided(
    rule_set: RuleSet, situation: Situation
) -> tuple[list[tuple[Rule, float, float | None]], float]:
    """The rules that have a part in a number, what each adds and at what share; and the number."""
    day = day_of(rule_set, situation)
    shares: dict[str, float] = defaultdict(float)
    bases: dict[str, Rule] = {}
    for texture, share in situation.texture_shares:
        base = day.bases[GROUP_OF[texture]]
        bases[base.id] = base
        shares[base.id] += share
    links: list[tuple[Rule, float, float | None]] = [
        (base, shares[name] * given(base, situation), None if len(bases) == 1 else shares[name])
        for name, base in bases.items()
    ]
    for rule in day.adjusts:
        if share := _share_of(rule, situation):
            adds = share * given(rule.rule, situation)
            if adds or rule.rule.warns:
                links.append((rule.rule, adds, None))
    value = math.fsum(adds for _, adds, _ in links)
    caps = [rule.rule for rule in day.caps if rule.holds(situation, situation.texture)]
    floors = [(rule.least, rule) for rule in caps if rule.least is not None]
    roofs = [(rule.most, rule) for rule in caps if rule.most is not None]
    least, floor = max(floors, key=itemgetter(0), default=(-math.inf, None))
    most, roof = min(roofs, key=itemgetter(0), default=(math.inf, None))
    capped = min(max(value, least), most)
    cap = roof if capped < value else floor
    if cap and abs(capped - value) > _NOISE:
        links.append((cap, capped - value, None))
    return links, capped


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


# What a rule may ask of a day and its ground, whatever soil lies there.
_DAY = (
    "moisture",
    "tillage",
    "speed_mps",
    "depth_m",
    "residue_frac",
    "dense",
    "headland",
    "track",
    "system",
    "closing_wheel",
)


def told_apart(rules: Rules, day: Mapping[str, float]) -> tuple[object, ...]:
    """What tells a day from others by its numbers: days that share it are ruled alike.

    Parameters
    ----------
    rules : Rules
        Those of the swing aside, which is worked out and not ruled.
    day : mapping
        Speed, depth and residue, by the field of `Situation`. SI units.

    Returns
    -------
    tuple
        Whether each limit that a rule sets to one of them is kept, and those that an amount
        grows with.
    """
    stored = [
        rule for decided in rules.sets if decided is not rules.swing for rule in decided.rules
    ]
    limits = [(name, rule.when[name]) for rule in stored for name in day if name in rule.when]
    grows = {rule.amount.measure for rule in stored if rule.amount}
    return (
        *(allows(name, allowed, day[name]) for name, allowed in limits),
        *(value for name, value in day.items() if name in grows),
    )


class Standing(NamedTuple):
    """A rule that holds on a day, but for what it asks of the soil."""

    rule: Rule
    asks: tuple[tuple[str, tuple[object, ...]], ...]  # of the soil
    of_texture: bool  # whether it asks for a class or a group

    def holds(self, situation: Situation, texture: str) -> bool:
        """Whether all that it asks of a soil of a class is so."""
        return all(
            allows(name, allowed, _value(name, situation, texture)) for name, allowed in self.asks
        )


class Day(NamedTuple):
    """The rules of a set that may hold on one day, whatever soil lies there."""

    bases: Mapping[str, Rule]  # by texture group
    adjusts: tuple[Standing, ...]
    caps: tuple[Standing, ...]
    others: tuple[Standing, ...]
    warns: bool  # whether any of them does


class _Key:
    """A rule set as a key of a cache: the same object, not an equal one."""

    def __init__(self, rule_set: RuleSet) -> None:
        self.rule_set = rule_set

    def __hash__(self) -> int:
        return id(self.rule_set)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.rule_set is self.rule_set


def day_of(rule_set: RuleSet, situation: Situation) -> Day:
    """Leave out the rules that cannot hold on the day of a situation."""
    return _day(_Key(rule_set), _day_values(situation))


_day_values: Callable[[Situation], tuple[object, ...]] = attrgetter(*_DAY)


@lru_cache(maxsize=512)
def _day(key: _Key, values: tuple[object, ...]) -> Day:
    day = dict(zip(_DAY, values, strict=True))
    standing: list[Standing] = []
    bases: dict[str, Rule] = {}
    for rule in key.rule_set.rules:
        if not all(allows(name, rule.when[name], day[name]) for name in rule.when if name in day):
            continue
        asks = tuple((name, allowed) for name, allowed in rule.when.items() if name not in day)
        named = {name for name, _ in asks}
        if rule.kind == "base":  # these look at texture group, moisture and tillage only
            groups = rule.when.get("texture_group", tuple(GROUP_OF.values()))
            bases |= dict.fromkeys(map(str, groups), rule)
        else:
            of_texture = not named.isdisjoint(("texture", "texture_group"))
            standing.append(Standing(rule, asks, of_texture))
    adjusts, caps = (
        tuple(one for one in standing if one.rule.kind == kind) for kind in ("adjust", "cap")
    )
    others = tuple(one for one in standing if one.rule.kind not in ("adjust", "cap"))
    warns = any(rule.warns for rule in (*bases.values(), *(one.rule for one in standing)))
    return Day(bases, adjusts, caps, others, warns)


def _value(name: str, situation: Situation, texture: str) -> object:
    if name == "texture":
        return texture
    return GROUP_OF[texture] if name == "texture_group" else getattr(situation, name)


def _share_of(rule: Standing, situation: Situation) -> float:
    """Share of what the soil may be for which a rule holds. [0 to 1]."""
    if not rule.of_texture:
        return float(rule.holds(situation, situation.texture))
    return sum(
        share for texture, share in situation.texture_shares if rule.holds(situation, texture)
    )


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


def factor_of(
    rule_set: RuleSet, acts: str, *, tillage: str | None = None, system: str | None = None
) -> Rule:
    """Find the rule that makes one part of a swing.

    Parameters
    ----------
    rule_set : RuleSet
        That decides the swing, as `read_rules` proved it.
    acts : str
        One of ACTS.
    tillage, system : str, optional
        For the parts that go by it: the bounce by tillage, what is felt by system.
    """
    [rule] = [
        rule
        for rule in rule_set.rules
        if rule.acts == acts
        and tillage in rule.when.get("tillage", (tillage,))
        and system in rule.when.get("system", (system,))
    ]
    return rule
