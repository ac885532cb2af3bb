"""The stock rules give the tables that they were written from: our own, not nature's."""

import math

import pytest

from tests.rules.situations import GROUNDS, ONE_OF_EACH_GROUP, situation, warned
from zoneplan.plan.swing_chain import swing_factors
from zoneplan.rowunit.machine_file import SYSTEM_KEYS
from zoneplan.rules.choose import choose, factor_of, judge
from zoneplan.rules.read import read_rules
from zoneplan.rules.words import CHOICES
from zoneplan.soil.texture import GROUP_OF, TEXTURES
from zoneplan.terms import ClosingWheel, Fitness, Moisture, System
from zoneplan.units import MPS_PER_MPH, N_PER_LBF

RULES = read_rules()

# OUR TABLES (the model, sections 3 and 5), lb: dry, moist, wet.
AIM_LB = {
    "coarse": (110, 105, 100),
    "moderately coarse": (110, 105, 100),
    "medium": (120, 105, 100),
    "moderately fine": (130, 105, 100),
    "fine": (135, 105, 100),
}
MOST_LB = {
    "coarse": (200, 200, 160),
    "moderately coarse": (200, 200, 140),
    "medium": (200, 180, 120),
    "moderately fine": (200, 160, 110),
    "fine": (200, 160, 110),
}
# Shares of the span of 20 to 80 lb that a trial set: WORKED to whole pounds, 20 + 60 × share.
CLOSING_SHARE = {
    "coarse": (0.65, 0.45, 0.25),
    "moderately coarse": (0.60, 0.40, 0.20),
    "medium": (0.55, 0.35, 0.10),
    "moderately fine": (0.55, 0.30, 0.05),
    "fine": (0.50, 0.25, 0.0),
}


def pounds(rule_set, at):
    return choose(rule_set, at).value / N_PER_LBF


@pytest.mark.parametrize("texture", TEXTURES)
def test_base_values_are_those_of_the_tables(texture):
    group = GROUP_OF[texture]
    for n, moisture in enumerate(Moisture):
        at = situation(texture, moisture)
        assert pounds(RULES.aim, at) == pytest.approx(AIM_LB[group][n])
        assert pounds(RULES.most, at) == pytest.approx(MOST_LB[group][n])
        assert pounds(RULES.closing, at) == pytest.approx(20 + 60 * CLOSING_SHARE[group][n])


def test_a_soil_between_two_classes_gets_their_mean():
    # WORKED: 3 parts of loam with 1 of clay loam, dry: 0.75 × 120 + 0.25 × 130 = 122.5 lb.
    at = situation("loam", "dry")
    between = at.__class__(
        **at.__dict__ | {"texture_shares": (("loam", 0.75), ("clay loam", 0.25))}
    )
    choice = choose(RULES.aim, between)
    assert choice.value == pytest.approx(122.5 * N_PER_LBF)
    assert [(reason.rule, reason.share) for reason in choice.reasons] == [
        ("aim-medium-dry", 0.75),
        ("aim-moderately-fine-dry", 0.25),
    ]


def test_dense_ground_bears_no_more_than_150_lb():
    choice = choose(RULES.most, situation("clay", "dry", dense=True))
    assert choice.value == pytest.approx(150 * N_PER_LBF)
    assert [(reason.kind, round(reason.adds / N_PER_LBF)) for reason in choice.reasons] == [
        ("base", 200),
        ("cap", -50),
    ]
    assert "no more than 150 lb" in warned(choice)[0]
    # WORKED: wet clay bears 110 lb, less than the cap, so that nothing is held.
    assert warned(choose(RULES.most, situation("clay", "wet", dense=True))) == ()


# WORKED from the rules: wheels of another kind, lb on medium dry soil, 53 on rubber.
@pytest.mark.parametrize(
    ("wheel", "adds"),
    [("rubber", 0), ("chain", 0), ("cast", -3), ("one of each", -3), ("spiked", -9)],
)
def test_the_wheel_moves_the_closing_load(wheel, adds):
    at = situation("loam", "dry", closing_wheel=ClosingWheel(wheel))
    assert pounds(RULES.closing, at) == pytest.approx(53 + adds)


def test_closing_stays_within_what_was_tried():
    # WORKED: wet clay asks for 20 lb and spiked wheels for 9 less: held at 20.
    choice = choose(RULES.closing, situation("clay", "wet", closing_wheel=ClosingWheel.SPIKED))
    assert choice.value == pytest.approx(20 * N_PER_LBF)
    assert choice.reasons[-1].rule == "closing-span"


def test_dry_cloddy_clay_is_to_be_checked_for_closing():
    assert "closes" in warned(choose(RULES.closing, situation("clay", "dry")))[0]


# ---- fit, test, wait -------------------------------------------------------------------------


# WORKED from the model, section 4: p > .75 waits, under .2 is fit, between is tested; PI < 4 never
# waits; moderately fine and fine are tested at least; moist is tested past even odds.
@pytest.mark.parametrize(
    ("texture", "moisture", "smear_pct", "plasticity", "survey", "fitness"),
    [
        ("loam", "wet", 19.9, 10, None, "fit"),
        ("loam", "wet", 20, 10, None, "test"),
        ("loam", "wet", 74.9, 10, None, "test"),
        ("loam", "wet", 75, 10, None, "wait"),
        ("silt", "wet", 90, 3.9, None, "test"),
        ("silt", "wet", 90, 4, None, "wait"),
        ("clay loam", "wet", 5, 20, None, "test"),
        ("clay", "wet", 5, 20, None, "test"),
        ("loam", "moist", 49.9, 10, None, "fit"),
        ("loam", "moist", 50, 10, None, "test"),
        ("clay", "moist", 99, 30, None, "test"),
        ("clay", "dry", 99, 30, None, "fit"),
        ("loam", "wet", 10, 10, (50, 4), "test"),
        ("loam", "wet", 10, 10, (49, 4), "fit"),
        ("loam", "wet", 10, 10, (50, 3.9), "fit"),
        ("loam", "wet", 80, 10, (1, 20), "wait"),  # the survey only ever turns fit into test
    ],
)
def test_fit_test_or_wait(texture, moisture, smear_pct, plasticity, survey, fitness):
    smears, index = survey or (None, None)
    at = situation(
        texture,
        moisture,
        smear_pct=smear_pct,
        plasticity_pct=plasticity,
        survey_smear_pct=smears,
        survey_plasticity_pct=index,
    )
    result, reasons, _ = judge(RULES.stop, at)
    assert result == Fitness(fitness)
    assert bool(reasons) == (result is not Fitness.FIT)
    assert {reason.kind for reason in reasons} <= {"stop" if result is Fitness.WAIT else "test"}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, []),
        ({"inches": 1.5}, []),
        ({"inches": 1.4}, ["shallower than 1.5 in (3.8 cm)"]),
        ({"fragments_pct": 14}, []),
        ({"fragments_pct": 15}, ["Stony ground"]),
        ({"fragments_pct": 35}, ["do not apply"]),
        ({"organic_pct": 7.9}, []),
        ({"organic_pct": 8}, ["Much organic matter"]),
        ({"organic_pct": 20}, []),
    ],
)
@pytest.mark.parametrize("moisture", Moisture)
def test_what_warns(moisture, changes, words):
    warnings = warned(judge(RULES.stop, situation("loam", moisture, **changes))[2])
    assert len(warnings) == len(words)
    for warning, word in zip(warnings, words, strict=True):
        assert word in warning


# ---- the whole book --------------------------------------------------------------------------


@pytest.mark.parametrize("texture", TEXTURES)
@pytest.mark.parametrize("wheel", ClosingWheel)
def test_wetter_ground_never_gets_more(texture, wheel):
    for dense in (False, True):
        for rule_set in (RULES.aim, RULES.most, RULES.closing):
            loads = [
                choose(
                    rule_set, situation(texture, moisture, dense=dense, closing_wheel=wheel)
                ).value
                for moisture in Moisture
            ]
            assert loads == sorted(loads, reverse=True)


@pytest.mark.parametrize(("texture", "moisture", "tillage"), GROUNDS)
def test_every_chain_adds_up(texture, moisture, tillage):
    for dense in (False, True):
        for wheel in ClosingWheel:
            at = situation(texture, moisture, tillage, dense=dense, closing_wheel=wheel)
            for rule_set in (RULES.aim, RULES.most, RULES.closing):
                choice = choose(rule_set, at)
                total = math.fsum(reason.adds for reason in choice.reasons)
                assert total == pytest.approx(choice.value, abs=1e-9)


def test_the_stored_swing_is_the_one_that_was_judged():
    # WORKED: pounds, mph and per cent, as they are judged, into SI.
    mph = MPS_PER_MPH
    bounce_lb = {"tilled": 50, "strip-till": 52, "no-till": 62}
    expected = {
        "bounce_n": {tillage: pounds * N_PER_LBF for tillage, pounds in bounce_lb.items()},
        "speed_mps": 5 * mph,
        "per_mps": 0.05 / mph,
        "least_speed_factor": 0.85,
        "bare_pct": 20.0,
        "per_residue_pct": 0.0025,
        "most_residue_factor": 1.15,
        "uneven_share": 0.15,
        "felt_share": {"springs": 1, "set-air": 1, "closed-loop-air": 0.8, "hydraulic": 0.5},
        "per_slope": 1.0,
        "most_slope_frac": 0.10,
    }
    stored = vars(swing_factors(RULES))
    assert stored.keys() == expected.keys()
    for name, value in expected.items():
        assert stored[name] == pytest.approx(value), name


@pytest.mark.parametrize("system", System)
def test_every_system_feels_its_own_share(system):
    assert factor_of(RULES.swing, "felt", system=system).id == f"felt-{system}"


def test_no_stock_number_claims_more_than_judgement():
    # Every cited source gives a direction at most; the day one gives a number, this changes.
    for rule in RULES.every:
        assert rule.confidence == "judged"
        assert all(source.backs == "direction" for source in rule.sources)
        assert rule.origin == "stock"


def test_rules_and_row_units_name_the_same_systems():
    assert tuple(SYSTEM_KEYS) == CHOICES["system"]


def test_one_texture_stands_for_each_group():
    assert [GROUP_OF[each] for each in ONE_OF_EACH_GROUP] == list(AIM_LB)
