"""The order in which rules act, on rule sets small enough to add up in the head."""

import datetime
from dataclasses import replace

import pytest

from tests.rules.situations import situation, warned
from zoneplan.rules.choose import choose, judge, told_apart
from zoneplan.rules.read import read_rules
from zoneplan.rules.rule import Amount, Rule, RuleSet, Source
from zoneplan.terms import Fitness

AT = situation("loam", "moist")


def rule(id, kind, *, when=None, confidence="measured", sources=None, **gives):
    return Rule(
        id=id,
        kind=kind,
        title=f"Title of {id}",
        when=when or {},
        why=f"why {id}",
        sources=sources or (Source("A trial (2020)", backs="value"),),
        confidence=confidence,
        **gives,
    )


def base(newtons):
    return rule("base", "base", amount=Amount(newtons))


def rule_set(*rules, decides="aim"):
    return RuleSet(decides, "N", datetime.date(2026, 1, 1), rules)


def decide(*rules, at=AT):
    return choose(rule_set(*rules), at)


def links(choice):
    return [(reason.rule, reason.adds) for reason in choice.reasons]


def test_adjustments_are_added_in_file_order():
    choice = decide(
        rule("second", "adjust", amount=Amount(-30)),
        base(400),
        rule("third", "adjust", amount=Amount(7)),
    )
    assert choice.value == 377
    assert links(choice) == [("base", 400), ("second", -30), ("third", 7)]
    assert choice.notices == ()


def test_a_rule_that_does_not_hold_is_not_heard():
    choice = decide(
        base(400),
        rule("wet", "adjust", when={"moisture": ("wet",)}, amount=Amount(50), warns="wet"),
        rule("sand", "adjust", when={"texture": ("sand",)}, amount=Amount(50)),
        rule("lane", "adjust", when={"headland": (True,)}, amount=Amount(50)),
        rule("fast", "adjust", when={"speed_mps": (3.0, 4.0)}, amount=Amount(50)),
        rule("cap", "cap", when={"system": ("hydraulic",)}, most=10.0),
    )
    assert links(choice) == [("base", 400)]


def test_a_number_that_nobody_knows_meets_no_rule():
    asked = {"survey_smear_chance": (float("-inf"), 1.0)}
    one_rule = rule("survey", "adjust", when=asked, amount=Amount(1))
    assert links(decide(base(400), one_rule)) == [("base", 400)]
    known = situation("loam", "moist", survey_smear_pct=50)
    assert links(decide(base(400), one_rule, at=known))[1:] == [("survey", 1)]


def test_near_a_line_each_rule_speaks_by_its_share():
    # WORKED: 0.6 × 100 + 0.4 × 200 = 140, and 0.4 of what is added on clay alone: 0.4 × 10 = 4.
    between = AT.__class__(**AT.__dict__ | {"texture_shares": (("loam", 0.6), ("clay", 0.4))})
    choice = decide(
        rule("medium", "base", when={"texture_group": ("medium",)}, amount=Amount(100)),
        rule("fine", "base", when={"texture_group": ("fine",)}, amount=Amount(200)),
        rule("clay", "adjust", when={"texture": ("clay",)}, amount=Amount(10)),
        at=between,
    )
    assert choice.value == pytest.approx(144)
    assert links(choice) == [
        ("medium", pytest.approx(60)),
        ("fine", pytest.approx(80)),
        ("clay", pytest.approx(4)),
    ]
    assert [reason.share for reason in choice.reasons] == [0.6, 0.4, None]


def test_adding_nothing_is_listed_only_with_a_warning():
    choice = decide(
        base(400),
        rule("silent", "adjust", amount=Amount(0)),
        rule("warns", "adjust", amount=Amount(0), warns="look out"),
    )
    assert links(choice) == [("base", 400), ("warns", 0)]
    assert warned(choice) == ("look out",)


# WORKED: -10 N a m/s above 2 m/s. At 2.5 m/s -5; at 9 m/s -70, held at -25.
@pytest.mark.parametrize(("speed", "adds"), [(2.5, -5), (9, -25)])
def test_an_amount_that_takes_away_stops_at_its_most(speed, adds):
    slow = Amount(each=-10, measure="speed_mps", over=2, step=1, most=25)
    at = situation("loam", "moist", mph=speed / 0.44704)
    choice = decide(base(400), rule("slow", "adjust", amount=slow), at=at)
    assert links(choice)[1] == ("slow", pytest.approx(adds))


def test_the_narrowest_caps_hold_and_only_the_one_that_bites_is_listed():
    choice = decide(
        base(400),
        rule("wide", "cap", least=100.0, most=500.0),
        rule("narrow", "cap", most=350.0, warns="held"),
        rule("high", "cap", least=200.0, warns="lifted"),
    )
    assert choice.value == 350
    assert links(choice) == [("base", 400), ("narrow", -50)]
    assert warned(choice) == ("held",)


def test_a_sum_too_small_is_lifted():
    choice = decide(base(100), rule("band", "cap", least=180.0))
    assert links(choice) == [("base", 100), ("band", 80)]


def test_a_sum_that_only_just_meets_its_cap_is_not_clamped():
    # 0.1 + 0.2 is a hair more than 0.3 to a computer.
    choice = decide(base(0.1), rule("a", "adjust", amount=Amount(0.2)), rule("c", "cap", most=0.3))
    assert [reason.kind for reason in choice.reasons] == ["base", "adjust"]


def test_each_link_is_as_sure_as_its_rule_and_what_is_not_used_is_no_link():
    guess = rule("guess", "adjust", confidence="judged", amount=Amount(5))
    unused = rule("cap", "cap", confidence="judged", most=500.0)
    for others, sure in (((), ["measured"]), ((guess,), ["measured", "judged"])):
        reasons = decide(base(101), *others, unused).reasons
        assert [reason.confidence for reason in reasons] == sure


def test_a_reason_names_every_source_and_what_it_backs():
    sources = (Source("One (2001)", backs="value"), Source("Two (2002)"), Source("judgement"))
    [reason] = decide(rule("base", "base", amount=Amount(1), sources=sources)).reasons
    assert reason.source == (
        "One (2001) (backs the value); Two (2002) (backs the direction); judgement"
    )
    assert reason.why == "why base"


def test_a_stop_is_heard_before_a_test_and_every_warning_is_told():
    rules = (
        rule("squeeze", "test", warns="squeeze it"),
        rule("one", "stop"),
        rule("two", "stop"),
        rule("stones", "warn", warns="stones"),
        rule("wet", "stop", when={"moisture": ("wet",)}, warns="not here"),
    )
    fitness, reasons, notices = judge(rule_set(*rules, decides="stop"), AT)
    assert (fitness, [reason.rule for reason in reasons]) == (Fitness.WAIT, ["one", "two"])
    assert warned(notices) == ("squeeze it", "stones")
    fitness, reasons, _ = judge(rule_set(rules[0], rules[3], decides="stop"), AT)
    assert (fitness, [(reason.rule, reason.adds) for reason in reasons]) == (
        Fitness.TEST,
        [("squeeze", None)],
    )
    assert judge(rule_set(rules[3], decides="stop"), AT)[:2] == (Fitness.FIT, ())


# 35/100 and 1.5 in, reached by other roads than the rule's, still sit on the limit.
@pytest.mark.parametrize(
    ("name", "limit", "same"),
    [("fragments_frac", 35 * 0.01, 0.35), ("depth_m", 0.0381, 1.5 * 0.0254)],
)
def test_noise_from_conversion_never_tips_a_limit(name, limit, same):
    assert limit != same
    at = AT.__class__(**{**AT.__dict__, name: same})
    over = rule("over", "adjust", when={name: (limit, 9.0)}, amount=Amount(1))
    under = rule("under", "adjust", when={name: (0.0, limit)}, amount=Amount(1))
    assert links(decide(base(400), over, under, at=at))[1:] == [("over", 1)]


SLOW = rule("slow", "adjust", when={"speed_mps": (0.0, 2.0)}, amount=Amount(-10))
BY_SPEED = rule("by-speed", "adjust", amount=Amount(each=-10, measure="speed_mps", over=2))


@pytest.mark.parametrize(
    ("extra", "speeds", "one"),
    [
        ((), (1.5, 3.0), True),  # no stored rule looks at the speed
        ((SLOW,), (1.5, 1.9), True),
        ((SLOW,), (1.9, 2.0), False),  # its limit is below the second
        ((BY_SPEED,), (3.0, 3.1), False),
        ((BY_SPEED,), (3.1, 3.1), True),
    ],
)
def test_days_are_told_apart_by_what_the_rules_ask_of_them(extra, speeds, one):
    stored = read_rules()
    rules = replace(stored, aim=replace(stored.aim, rules=(*stored.aim.rules, *extra)))
    days = [told_apart(rules, {"speed_mps": speed, "depth_m": 0.05}) for speed in speeds]
    assert (days[0] == days[1]) is one
    at = [replace(AT, speed_mps=speed, depth_m=0.05) for speed in speeds]
    assert (choose(rules.aim, at[0]) == choose(rules.aim, at[1])) is one
    shallow, deep = ({"speed_mps": 2.0, "depth_m": depth} for depth in (0.03, 0.05))
    assert told_apart(rules, shallow) != told_apart(rules, deep)  # one warns below 1.5 in
