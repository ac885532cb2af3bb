"""What a zone's owner is told: how it lies, why it has its figures, what to look out for."""

from dataclasses import replace

import pytest
from shapely.geometry import box

from tests.export.plans import (
    CLAY,
    FIRM,
    LIGHT,
    LOAM,
    RULES,
    SETTINGS,
    settled,
    small_plan,
)
from tests.export.test_picture import strips
from tests.export.test_webpage import with_zone
from tests.marking import drawn_zone
from zoneplan.export.webpage import touching
from zoneplan.field.shapes import Marks
from zoneplan.notices import notice
from zoneplan.plan.model import ZoneSetting
from zoneplan.rules.read import read_rules
from zoneplan.rules.rule import Reason, Rules
from zoneplan.say import landowner_zones
from zoneplan.terms import Moisture
from zoneplan.units import MPS_PER_MPH
from zoneplan.zones.zone import Zone


def test_neighbours_that_differ_alike_are_told_together_and_corners_do_not_touch() -> None:
    shapes = {1: box(0, 0, 10, 10), 2: box(10, 0, 20, 10), 3: box(0, 10, 10, 20)}
    shapes[4] = box(10, 10, 20, 20)  # meets zone 1 in a point
    moist, other = settled(456.0, 800.0, LIGHT), settled(556.0, 800.0, LIGHT)
    settings = [
        ZoneSetting(
            Zone(number, shape, 0.01, LOAM, site=Marks(headland=number == 1)),
            dict.fromkeys(Moisture, moist if number == 1 else other),
        )
        for number, shape in shapes.items()
    ]
    plan = replace(small_plan(), settings=tuple(settings))
    # WORKED: 500 N = 112 lb, 600 N = 135 lb
    assert landowner_zones.beside(plan, settings[0], touching(plan)[1], "us") == [
        "Beside zones 2 and 3, loam: 23 lb less when dry, moist and wet. Here the planter turns."
    ]


def test_the_same_numbers_next_door_are_said_to_be_the_same() -> None:
    plan = strips([100, 100])
    assert landowner_zones.beside(plan, plan.settings[0], touching(plan)[1], "us") == [
        "Beside zone 2, loam: the same numbers."
    ]


def test_tells_how_a_zone_lies() -> None:
    site = Marks(headland=True, track=True, part=drawn_zone("low"), gathers_water=True, steep=True)
    plan = with_zone(1, site=site)
    text = " ".join(landowner_zones.ground(plan, plan.settings[0]))
    for words in ("the planter turns", "other wheels run", "“low”", "water gathers", "sheds water"):
        assert f"{words}" in text


def test_tells_where_no_press_is_right_and_where_the_wheels_may_lift() -> None:
    first = SETTINGS[0]
    five_mph = 5 * MPS_PER_MPH
    crossed = replace(
        first.moistures["moist"],
        notices=(
            notice(
                "no-good-margin",
                speed_mps=five_mph,
                least_n=800.0,
                most_n=490.0,
                contact_share=0.85,
                steady_mps=None,
            ),
        ),
    )
    bounces = notice("wheels-lift", up_share=0.09)
    lifted = replace(first.moistures["moist"], notices=(bounces, notice("openers-float")))
    shown = [
        landowner_zones.watch(
            small_plan(), replace(first, moistures={**first.moistures, "moist": each}), "us"
        )
        for each in (crossed, lifted)
    ]
    # WORKED: 800 N = 180 lb, 490 N = 110 lb
    assert (
        "When moist: No press is right at 5 mph: to keep the wheels down takes 180 lb, and the "
        "soil bears 110 lb. Drive slower, or wait." in shown[0]
    )
    assert (
        "When moist: Near-empty seed boxes let the wheels off the ground about 9 % of the time, "
        "and seed dropped then lies shallow. The wheels may lift off the ground" in shown[1][0]
    )


@pytest.mark.parametrize(
    ("full_n", "refill_n", "words"),  # too much, where it is above 0
    [
        (356.0, 156.0, "presses harder here than is wanted"),
        (-144.0, -244.0, "cannot press as hard here as is wanted"),
        (156.0, -144.0, "changes here as the seed boxes empty"),
    ],
)
def test_tells_where_the_planter_misses_its_figure(
    full_n: float, refill_n: float, words: str
) -> None:
    missed = notice(
        "misses-target",
        target_n=544.0,
        full_n=544.0 + full_n,
        full_gap_n=full_n,
        refill_n=544.0 + refill_n,
        refill_gap_n=refill_n,
    )
    moist = replace(SETTINGS[0].moistures["moist"], notices=(missed,))
    setting = replace(SETTINGS[0], moistures={"moist": moist})
    assert words in " ".join(landowner_zones.watch(small_plan(), setting, "us"))


@pytest.mark.parametrize(
    ("load_n", "words"), [(160.0, "lightly"), (350.0, "middling"), (550.0, "firmly")]
)
def test_closing_is_told_by_its_place_on_the_lever(load_n: float, words: str) -> None:
    # WORKED: on 160 to 550 N, 350 N is 0.49 of the way
    moist = replace(SETTINGS[0].moistures["moist"], closing_load_n=load_n)
    assert landowner_zones.closing(small_plan(), moist) == words


def chained(chain: dict[str, list[Reason]]) -> ZoneSetting:
    return ZoneSetting(
        Zone(1, box(0, 0, 1, 1), 1.0, CLAY),
        {
            moisture: replace(settled(556.0, 800.0, FIRM), reasons=tuple(links))
            for moisture, links in chain.items()
        },
    )


def link(rule: str, kind: str, adds: float, **how: float) -> Reason:
    return Reason(rule, kind, adds, "", "", "judged", **how)


def test_a_reason_is_told_once_with_what_it_adds_at_each_moisture() -> None:
    rules = read_rules()
    plain = {rule.id: rule.plain for rule in rules.every}
    setting = chained(
        {
            "dry": [
                link("aim-fine-dry", "base", 600.0),
                link("bounce-no-till", "swing", 142.3, factor=1.24),
                link("most-fine-dry", "most", -9.0),
            ],
            "moist": [
                link("aim-fine-moist", "base", 467.0),
                link("bounce-no-till", "swing", 142.3, factor=1.3),
                link("rounding", "rounding", 2.0),
            ],
        }
    )
    # WORKED: 600 N = 134.9 lb, 467 = 105.0, 142.3 = 32.0, 9 = 2.0
    assert landowner_zones.reasons(replace(small_plan(), rules=rules), setting, "us") == [
        f"{_begun(plain['aim-fine-dry'])} The plan starts from 135 lb when dry.",
        f"{_begun(plain['bounce-no-till'])} That adds 32 lb when dry and moist.",
        f"{_begun(plain['most-fine-dry'])} That takes away 2 lb when dry.",
        f"{_begun(plain['aim-fine-moist'])} The plan starts from 105 lb when moist.",
        "The sums are rounded.",
    ]


def _begun(plain: str | None) -> str:
    assert plain
    return f"{plain[0].upper()}{plain[1:]}."


def test_between_two_soils_each_tells_its_share_and_one_told_in_the_same_words_is_whole() -> None:
    rules = read_rules()
    shares = [
        link("aim-coarse-dry", "base", 444.8, share=0.75),
        link("aim-moderately-coarse-dry", "base", 111.2, share=0.25),
    ]
    same = [
        link("aim-coarse-moist", "base", 311.4, share=0.75),
        link("aim-moderately-coarse-moist", "base", 111.2, share=0.25),
    ]
    setting = chained({"dry": shares, "moist": same})
    text = " ".join(landowner_zones.reasons(replace(small_plan(), rules=rules), setting, "us"))
    # WORKED: 444.8 N = 100 lb, 111.2 = 25 lb; 311.4 + 111.2 = 422.6 N = 95 lb
    assert "lies between two kinds, and 75 % of this one gives 100 lb when dry." in text
    assert "lies between two kinds, and 25 % of this one gives 25 lb when dry." in text
    assert "The plan starts from 95 lb when moist." in text


def test_a_rule_of_ones_own_speaks_for_itself_and_warns_in_its_own_words() -> None:
    (speed,) = (rule for rule in read_rules().swing.rules if rule.id == "swing-speed")
    own = replace(speed, why="Our hills.", warns="Mind the ditch.", plain=None)
    rules: Rules = replace(RULES, swing=replace(RULES.swing, rules=(own,)))
    dry = replace(
        settled(556.0, 800.0, FIRM, "Not from a rule: 3 N."),
        notices=(notice("rule-warns", rule="swing-speed", words="Mind the ditch."),),
        reasons=(Reason("swing-speed", "swing", 44.48, "Our hills.", "judgement", "judged"),),
    )
    setting = ZoneSetting(Zone(1, box(0, 0, 1, 1), 1.0, CLAY), {"dry": dry})
    plan = replace(small_plan(), rules=rules)
    assert landowner_zones.reasons(plan, setting, "us") == ["Our hills. That adds 10 lb when dry."]
    assert landowner_zones.watch(plan, setting, "us") == ["Mind the ditch."]
    words = replace(own, plain="it is hilly", warns_plain="mind the water")
    plan = replace(plan, rules=replace(RULES, swing=replace(RULES.swing, rules=(words,))))
    assert landowner_zones.reasons(plan, setting, "us") == [
        "It is hilly. That adds 10 lb when dry."
    ]
    assert landowner_zones.watch(plan, setting, "us") == ["Mind the water."]
