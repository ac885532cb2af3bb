"""The order in which rules act, on rule sets small enough to add up in the head."""

import datetime

import pytest

from tests.rules.situations import situation, warned
from zoneplan.rules.choose import choose
from zoneplan.rules.rule import Amount, Rule, RuleSet, Source
from zoneplan.say.notices import words

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


def decide(*rules, at=AT, rounding=0.0):
    return choose(RuleSet("margin", "N", datetime.date(2026, 1, 1), rounding, rules), at)


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
    assert (choice.least, choice.most, choice.notices) == (None, None, ())


def test_a_rule_that_does_not_hold_is_not_heard():
    choice = decide(
        base(400),
        rule("wet", "adjust", when={"wetness": ("wet",)}, amount=Amount(50), warns="wet"),
        rule("sand", "adjust", when={"texture": ("sand",)}, amount=Amount(50)),
        rule("lane", "adjust", when={"headland": (True,)}, amount=Amount(50)),
        rule("fast", "adjust", when={"speed_mps": (3.0, 4.0)}, amount=Amount(50)),
        rule("cap", "cap", when={"system": ("hydraulic",)}, most=10.0),
    )
    assert links(choice) == [("base", 400)]
    assert choice.most is None


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


def test_the_first_stop_ends_it():
    choice = decide(
        base(400),
        rule("cap", "cap", most=300.0, warns="capped"),
        rule("one", "stop", confidence="advised", warns="wait"),
        rule("two", "stop", warns="wait longer"),
    )
    assert choice.stopped
    assert links(choice) == [("one", None)]
    assert choice.confidence == "advised"
    assert warned(choice) == ("wait",)
    assert (choice.least, choice.most) == (None, None)


def test_the_narrowest_caps_hold_and_only_the_one_that_bites_is_listed():
    choice = decide(
        base(400),
        rule("wide", "cap", least=100.0, most=500.0),
        rule("narrow", "cap", most=350.0),
        rule("high", "cap", least=200.0),
    )
    assert (choice.value, choice.least, choice.most) == (350, 200, 350)
    assert links(choice) == [("base", 400), ("narrow", -50)]
    (told,) = choice.notices
    # WORKED: 400 N / 4.44822 = 89.9 lb; 350 N = 78.7 lb
    assert words(told) == (
        "The rules add up to 90 lb (400 N); held at 79 lb (350 N): Title of narrow allows no more."
    )


def test_a_sum_too_small_is_lifted_and_said():
    choice = decide(base(100), rule("band", "cap", least=180.0))
    assert links(choice) == [("base", 100), ("band", 80)]
    assert "held at 40 lb (180 N): Title of band allows no less" in words(choice.notices[0])


def test_a_sum_that_only_just_meets_its_cap_is_not_clamped():
    # 0.1 + 0.2 is a hair more than 0.3 to a computer.
    choice = decide(base(0.1), rule("a", "adjust", amount=Amount(0.2)), rule("c", "cap", most=0.3))
    assert [reason.kind for reason in choice.reasons] == ["base", "adjust"]
    assert choice.notices == ()


# WORKED: to the nearest 5; a half goes up; 198 would go to 200, past its cap.
@pytest.mark.parametrize(
    ("aim", "cap", "value"),
    [(102.4, 198, 100), (102.5, 198, 105), (107.5, 198, 110), (100, 198, 100), (230, 198, 198)],
)
def test_rounding_is_the_last_link(aim, cap, value):
    choice = decide(base(aim), rule("cap", "cap", most=float(cap)), rounding=5.0)
    assert choice.value == pytest.approx(value)
    rounded = [reason.adds for reason in choice.reasons if reason.kind == "rounding"]
    assert rounded == ([pytest.approx(value - aim)] if value != aim and aim < cap else [])


def test_a_choice_is_as_sure_as_its_least_sure_link():
    sure = decide(base(101), rounding=5.0)
    assert {reason.confidence for reason in sure.reasons} == {"measured"}  # rounding adds no doubt
    assert sure.confidence == "measured"
    guess = rule("guess", "adjust", confidence="judged", amount=Amount(5))
    assert decide(base(101), guess).confidence == "judged"
    unused = rule("cap", "cap", confidence="judged", most=500.0)
    assert decide(base(101), unused).confidence == "measured"


def test_a_reason_names_every_source_and_what_it_backs():
    sources = (Source("One (2001)", backs="value"), Source("Two (2002)"), Source("judgement"))
    [reason] = decide(rule("base", "base", amount=Amount(1), sources=sources)).reasons
    assert reason.source == (
        "One (2001) (backs the value); Two (2002) (backs the direction); judgement"
    )
    assert reason.why == "why base"


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
