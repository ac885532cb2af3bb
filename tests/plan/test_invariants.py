"""What must hold in every cell of the plan, whatever the soil, the day and the planter.

The numbered invariants are those of "How the numbers are made" in DEVELOPERS.md. They are asked
of what a plan is made of, through the stored rules: requirement, settling, hand checks and zones.
The pure functions under them are held by tests of their own.
"""

import datetime
import math
from dataclasses import replace
from functools import cache, lru_cache
from itertools import pairwise, product

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.plan.square import LB, RULES, SAND, layer
from tests.soil.triangle import ANY_STEP, POINTS
from zoneplan.field.shapes import NOWHERE, Marks
from zoneplan.plan.hand_checked import hand_checked
from zoneplan.plan.model import Setting, Wait
from zoneplan.plan.plan_field import plan_field
from zoneplan.plan.requirement import (
    Basis,
    Conditions,
    Requirement,
    demands_n,
    pass_of,
    requirement_of,
)
from zoneplan.plan.settle import answer, instructions, required, ruled
from zoneplan.plan.soil_state import soil_state
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rowunit.observation import Observation
from zoneplan.rules.choose import choose
from zoneplan.rules.rule import Situation
from zoneplan.soil.texture import CLASS_POINT, TEXTURES, SoilFacts, texture_class
from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Fitness, Moisture, System, Tillage
from zoneplan.units import M_PER_IN, MPS_PER_MPH
from zoneplan.zones.edit import Override
from zoneplan.zones.zone import Zone

SPEEDS_MPH, RESIDUES, DEPTHS_IN = (3.0, 5.0, 7.5, 10.0), (0.0, 0.2, 0.7), (1.5, 2.0, 3.0)
DAYS = list(product(Tillage, SPEEDS_MPH, RESIDUES, DEPTHS_IN))
BEST_DRY_N = (178.0, 267.0)  # Appl. Eng. Agric. 22(6):801-808 (2006)


@cache
def machine_of(system: System):
    return read_machine(system)


def day(tillage, mph, residue, inches):
    return Conditions(tillage, mph * MPS_PER_MPH, inches * M_PER_IN, residue)


@lru_cache(maxsize=512)
def basis_of(system: System, at: tuple[Tillage, float, float, float]) -> Basis:
    return Basis(machine_of(system), RULES, day(*at))


def soil_at(sand, clay, **more):
    silt = max(1 - sand - clay, 0.0)
    return SoilFacts(
        texture=texture_class(sand, silt, clay),
        sand_frac=sand,
        silt_frac=silt,
        clay_frac=clay,
        rated_share=1.0,
        **more,
    )


def zone_of(facts, site=NOWHERE, number=1):
    return Zone(number, shapely.box(0, 0, 400, 400), 16.0, facts, site=site)


# ---- one cell ------------------------------------------------------------------------------


def signs(basis: Basis) -> dict[str, int]:
    """Which way each rule's words say that it moves the target on this ground and day."""
    today = basis.conditions

    def toward(here, there):
        return (here > there) - (here < there)

    return {
        "bounce-strip-till": 1,
        "bounce-no-till": 1,
        "swing-speed": toward(today.speed_mps, 5 * MPS_PER_MPH),
        "swing-residue": 1,
        "swing-depth": toward(today.depth_m, 2 * M_PER_IN),
        "swing-traffic": 1,
        "swing-density": 1,
        "felt-closed-loop-air": -1,
        "felt-hydraulic": -1,
        "swing-slope": 1,
        "least-contact": 1,
    }


def assert_requirement(basis: Basis, asked: Requirement) -> None:
    target = asked.target
    # 1: inside, or it says which side gave way; all of it in steps of 5 lb.
    inside = target.least_n <= target.margin_n + 1e-9 and target.margin_n <= target.most_n + 1e-9
    assert inside == (target.gave_way is None)
    if not inside:
        assert (target.gave_way, target.margin_n) == ("least", target.most_n)
        assert target.least_n > target.most_n
    for load_n in (target.least_n, target.margin_n, target.most_n):
        assert load_n / (5 * LB) == pytest.approx(round(load_n / (5 * LB)), abs=1e-6)
    # The chain adds up to it.
    assert math.fsum(reason.adds for reason in asked.reasons) == pytest.approx(
        target.margin_n, abs=1e-6
    )
    # 5: each reason pushes the way that its words say.
    known = signs(basis)
    for each in asked.reasons:
        if each.kind == "base":
            assert each.adds > 0
        elif each.kind == "most":
            assert each.adds < 0
        elif each.kind == "rounding":
            assert abs(each.adds) <= 2.6 * LB  # and a step of a tenth of a pound, too small to tell
        else:
            assert math.copysign(1, each.adds) == known[each.rule], each.rule
            assert each.factor is None or (each.factor > 1) == (each.adds > 0)
    # 9: a dry closing load outside the best of the trial is said.
    least_n, most_n = BEST_DRY_N
    outside = not least_n <= asked.closing.notch.load_n <= most_n
    assert asked.closing.outside_best == (outside and asked.moisture is Moisture.DRY)
    # A chance is one; only wet ground waits, and then it says why.
    assert 0 <= asked.smear_chance <= 1
    assert asked.fitness is not Fitness.WAIT or asked.moisture is Moisture.WET
    assert bool(asked.stop_reasons) == (asked.fitness is not Fitness.FIT)
    assert 0.5 <= asked.light_to_heavy <= 2


def assert_column(asked: dict[Moisture, Requirement]) -> None:
    # 3: a drier soil pushes no less; it smears no sooner; it bears no less.
    for drier, wetter in pairwise(asked.values()):
        assert drier.opener_load_n >= wetter.opener_load_n
        assert drier.attachments_load_n >= wetter.attachments_load_n
        assert drier.smear_chance <= wetter.smear_chance
        assert drier.target.most_n >= wetter.target.most_n
        assert drier.closing.notch.load_n >= wetter.closing.notch.load_n


@pytest.mark.parametrize("system", System)
@pytest.mark.parametrize("texture", TEXTURES)
def test_every_cell_of_the_grid(texture, system):
    facts, cells = SoilFacts(texture=texture, rated_share=1.0), 0
    for at in DAYS:
        basis = basis_of(system, at)
        asked = {moisture: requirement_of(basis, facts, NOWHERE, moisture) for moisture in Moisture}
        for each in asked.values():
            assert_requirement(basis, each)
            cells += 1
        assert_column(asked)
    assert cells == 3 * 3 * 4 * 3 * 3  # moisture, tillage, speed, residue, depth


def instruction_of(zone, basis, moisture, overrides=None):
    own = (overrides or {}).get(zone.id, ())
    asked = required(zone, ruled(zone, basis, moisture), basis, {}, own)
    answers, _ = answer([zone], [asked], basis)
    [instruction] = instructions([zone], answers, basis, moisture, {})
    return instruction


def assert_setting(setting: Setting) -> None:
    # 11: the chances are whole.
    chances = (setting.inside_chance, setting.light_chance, setting.heavy_chance)
    assert min(chances) >= 0
    assert math.fsum(chances) == pytest.approx(1)
    for share in (setting.contact_share, setting.contact_full_share, setting.contact_refill_share):
        assert 0 <= share <= 1
    assert 0 <= setting.shallow_share <= 1
    assert setting.opener_least_n < setting.opener_load_n < setting.opener_most_n
    # 8: the seed that is gone is margin that is gone, and contact goes by what is left.
    assert setting.margin_full_n >= setting.margin_refill_n - 1e-6
    assert setting.contact_full_share >= setting.contact_refill_share - 1e-9
    assert (setting.gave_way is None) == (
        setting.margin_least_n <= setting.margin_n + 1e-9 <= setting.margin_most_n + 2e-9
    )
    # 1, 10: what gave way is said beside the number.
    codes = {notice.code for notice in setting.notices}
    warned = codes & {"bears-little", "no-good-margin", "own-number-outside"}
    assert bool(warned) == (setting.gave_way is not None)
    assert ("own-number-outside" in warned) == (
        setting.gave_way is not None and setting.by_hand is not None
    )
    # What is left beyond what the soil bears is packing, and said.
    over_n = max(setting.margin_full_n, setting.margin_refill_n) - setting.margin_most_n
    assert ("packs" in codes) == (over_n > 2.5 * LB)
    assert ("squeeze-test" in codes) == (setting.state is Fitness.TEST)


@pytest.mark.parametrize("system", System)
@pytest.mark.parametrize("texture", ["sand", "loam", "clay loam", "clay"])
def test_every_cell_that_is_settled(texture, system):
    facts = SoilFacts(texture=texture, rated_share=1.0)
    states = set()
    for at in DAYS[::5]:
        basis = basis_of(system, at)
        for moisture in Moisture:
            asked = requirement_of(basis, facts, NOWHERE, moisture)
            result = instruction_of(zone_of(facts), basis, moisture)
            states.add(type(result))
            if asked.fitness is Fitness.WAIT:
                assert isinstance(result, Wait)
                continue
            assert isinstance(result, Setting)
            assert_setting(result)
    assert Setting in states


# ---- any cell ------------------------------------------------------------------------------


@st.composite
def cells(draw):
    """Any soil on any ground, on any day, under any planter."""
    clay = draw(st.floats(0, 1))
    sand = draw(st.floats(0, 1)) * (1 - clay)
    measured = draw(st.booleans())
    facts = soil_at(
        sand,
        clay,
        organic_pct=draw(st.none() | st.floats(0, 19)),
        density_mg_m3=draw(st.floats(0.9, 1.95)) if measured else None,
        density_measured=measured,
        fragments_frac=draw(st.none() | st.floats(0, 0.9)),
        drainage=draw(st.sampled_from([None, "Well drained", "Very poorly drained"])),
        liquid_limit_pct=draw(st.none() | st.floats(0, 90)),
        plasticity_index_pct=draw(st.none() | st.floats(0, 60)),
        third_bar_pct=draw(st.none() | st.floats(1, 60)),
    )
    site = Marks(
        headland=draw(st.booleans()),
        track=draw(st.booleans()),
        slope_frac=draw(st.none() | st.floats(0, 0.4)),
        gathers_water=draw(st.booleans()),
        steep=draw(st.booleans()),
    )
    at = (
        draw(st.sampled_from(Tillage)),
        draw(st.floats(2, 12)),
        draw(st.floats(0, 1)),
        draw(st.floats(1, 4)),
    )
    return draw(st.sampled_from(System)), at, facts, site


@given(cells())
@settings(max_examples=120)
def test_any_cell(cell):
    system, at, facts, site = cell
    basis = basis_of(system, at)
    asked = {moisture: requirement_of(basis, facts, site, moisture) for moisture in Moisture}
    for each in asked.values():
        assert_requirement(basis, each)
    assert_column(asked)


@given(cells(), st.sampled_from(Moisture), st.none() | st.floats(0, 2000))
@settings(max_examples=80)
def test_any_cell_that_is_settled_with_a_person_s_number_or_without(cell, moisture, own_n):
    system, at, facts, site = cell
    basis = basis_of(system, at)
    zone = zone_of(facts, site)
    edit = Override((0.0, 0.0), "margin", moisture, own_n, "We dug.", "AB", datetime.date.min)
    by_hand = {} if own_n is None else {1: [edit]}
    result = instruction_of(zone, basis, moisture, by_hand)
    asked = requirement_of(basis, facts, site, moisture)
    if asked.fitness is Fitness.WAIT:
        assert isinstance(result, Wait)
        return
    assert_setting(result)
    assert (result.by_hand is None) == (own_n is None)
    if own_n is not None:
        assert result.margin_n == own_n
        assert math.fsum(reason.adds for reason in result.reasons) == pytest.approx(own_n, abs=1e-6)


@given(cells(), st.sampled_from(Moisture), st.floats(0.4, 2.9), st.integers(1, 4))
@settings(max_examples=80)
def test_after_a_check_drier_ground_still_pushes_no_less(cell, moisture, factor, spots):
    # 3, and 12: the level moves towards what was found and never past it.
    system, at, facts, site = cell
    basis = basis_of(system, at)
    other = zone_of(SAND, number=2)
    zones = [zone_of(facts, site), other]
    standing_n = pass_of(basis, facts, site, AVAILABLE_SHARE[moisture], speed_mps=0.0).opener_load_n
    found_n, machine = factor * standing_n, basis.machine
    notch = machine.notches[0]
    seen = Observation(1, moisture, 1.0, notch.load_n, 0.0, 0.0, spots=spots)
    resting_n = seen.opener_load_n(machine)  # with nothing on the wheels
    seen = replace(seen, margin_n=resting_n - found_n)
    checked, _ = hand_checked(zones, basis, [seen])
    for zone in zones:
        loads_n = [
            checked[zone.id, moisture][0]
            * requirement_of(basis, zone.facts, zone.site, moisture).opener_load_n
            for moisture in Moisture
        ]
        assert loads_n[0] >= loads_n[1] - 1e-6
        assert loads_n[1] >= loads_n[2] - 1e-6
    moved = checked[1, moisture][0]
    assert min(1, factor) - 1e-9 <= moved <= max(1, factor) + 1e-9


# ---- from one soil to the next -------------------------------------------------------------


EASY, HARD = (Tillage.TILLED, 5.0, 0.0, 2.0), (Tillage.NO_TILL, 8.0, 0.6, 2.0)
NEEDED = (System.SPRINGS, System.HYDRAULIC)
TO_HALF_A_PER_CENT = [
    point for point in POINTS if round(200 * point[0]) % 20 == 0 or round(200 * point[1]) % 20 == 0
]


def along(points):
    """Pairs of points half a per cent apart, of these."""
    here = set(points)
    return [
        (POINTS[one], POINTS[other])
        for one, other in ANY_STEP
        if POINTS[one] in here and POINTS[other] in here
    ]


LINES = along(TO_HALF_A_PER_CENT)


def widest_lb(pairs, number):
    values = {point: number(point) / LB for pair in pairs for point in pair}
    return max(abs(values[one] - values[other]) for one, other in pairs)


@pytest.mark.parametrize("moisture", Moisture)
@pytest.mark.parametrize("at", [EASY, HARD], ids=["easy", "hard"])
def test_no_step_between_soils_half_a_per_cent_apart(moisture, at):
    # 7: along every tenth per cent of sand and of clay, in the three directions.
    assert len(LINES) == 2300
    for system in NEEDED:
        basis = basis_of(system, at)
        asked = {
            point: demands_n(basis, soil_at(*point), NOWHERE, [AVAILABLE_SHARE[moisture]])[0]
            for point in TO_HALF_A_PER_CENT
        }
        assert widest_lb(LINES, lambda point, asked=asked: asked[point][0]) < 6  # the target
        assert widest_lb(LINES, lambda point, asked=asked: sum(asked[point])) < 11  # the need


@pytest.mark.parametrize("moisture", Moisture)
@pytest.mark.parametrize("decides", ["aim", "most", "closing"])
def test_no_step_in_what_the_rules_say(moisture, decides):
    # 7: the aim, the ceiling and the closing load, before anything acts on them.
    def number(point):
        at = Situation(
            texture_shares=soil_state(soil_at(*point)).shares,
            moisture=moisture,
            tillage="tilled",
            speed_mps=2.2,
            depth_m=0.05,
        )
        return choose(getattr(RULES, decides), at).value

    assert widest_lb(LINES, number) < 6


@pytest.mark.slow
@pytest.mark.parametrize("moisture", Moisture)
def test_no_step_anywhere_on_the_triangle(moisture):
    pairs = along(POINTS)
    basis = basis_of(System.SPRINGS, HARD)
    asked = {
        point: demands_n(basis, soil_at(*point), NOWHERE, [AVAILABLE_SHARE[moisture]])[0]
        for point in POINTS
    }
    assert widest_lb(pairs, lambda point: asked[point][0]) < 6
    assert widest_lb(pairs, lambda point: sum(asked[point])) < 11


def test_nothing_steps_by_20_lb_between_soils_a_tenth_of_a_per_cent_apart():
    # Continuity in sand and in clay, along lines through the triangle and across its corners.
    basis = basis_of(System.SPRINGS, HARD)
    for fixed in (0.01, 0.27):
        steps = range(round(1000 * (1 - fixed)) + 1)
        for line in ([(n / 1000, fixed) for n in steps], [(fixed, n / 1000) for n in steps]):
            for moisture in (Moisture.DRY, Moisture.WET):
                share = AVAILABLE_SHARE[moisture]
                needs = [
                    sum(demands_n(basis, soil_at(*each), NOWHERE, [share])[0]) / LB for each in line
                ]
                assert max(abs(b - a) for a, b in pairwise(needs)) < 20


@given(cells(), st.floats(0, 19.9))
@settings(max_examples=30)
def test_organic_matter_moves_no_number(cell, organic_pct):
    # Up to where ground is organic, at 20 %, it is no argument of level, odds or rules. From 8 %
    # a rule warns of it.
    system, at, facts, site = cell
    basis = basis_of(system, at)
    other = replace(facts, organic_pct=organic_pct)
    for moisture in Moisture:
        one, two = (requirement_of(basis, each, site, moisture) for each in (facts, other))
        assert replace(one, notices=()) == replace(two, notices=())


@given(cells(), st.floats(0.9, 1.9))
@settings(max_examples=30)
def test_a_survey_s_density_moves_no_number(cell, density_mg_m3):
    # 6: only density that was measured on this field says what a disc meets.
    system, at, facts, site = cell
    basis = basis_of(system, at)
    bare = replace(facts, density_measured=False, density_mg_m3=None)
    other = replace(bare, density_mg_m3=density_mg_m3)
    for moisture in Moisture:
        one, two = (requirement_of(basis, each, site, moisture) for each in (bare, other))
        assert one == two


@given(cells(), st.floats(0, 1))
@settings(max_examples=100)
def test_more_clay_at_the_same_sand_smears_no_less_and_pushes_no_less_when_dry(cell, more):
    # 2 and 6.
    system, at, facts, _ = cell
    basis = basis_of(system, at)
    clayier = soil_at(facts.sand_frac, facts.clay_frac + more * facts.silt_frac)
    plain = soil_at(facts.sand_frac, facts.clay_frac)
    for moisture in Moisture:
        one, two = (requirement_of(basis, each, NOWHERE, moisture) for each in (plain, clayier))
        assert two.smear_chance >= one.smear_chance - 1e-12
        if moisture is Moisture.DRY:
            assert two.opener_load_n >= one.opener_load_n * (1 - 1e-12)


def test_moist_loads_spread_little_over_textures():
    # 4: by no more than 1.28.
    basis = basis_of(System.SPRINGS, EASY)
    loads = [
        requirement_of(basis, soil_at(*point), NOWHERE, Moisture.MOIST).opener_load_n
        for point in [*CLASS_POINT.values(), (0.98, 0.0), (0.1, 0.9)]
    ]
    assert max(loads) / min(loads) <= 1.28


# ---- zones of a field ----------------------------------------------------------------------


@given(
    st.lists(st.sampled_from(sorted(CLASS_POINT.values())), min_size=2, max_size=5),
    st.sampled_from([System.SPRINGS, System.HYDRAULIC]),
)
@settings(max_examples=12)
def test_kept_never_rises_and_ground_that_hardly_differs_is_one_zone(square, points, system):
    # 13 and 14, on strips of soil over a square field.
    soils = [soil_at(*point) for point in points]
    plan = plan_field(
        square, [layer(*soils)], machine_of(system), RULES, day(*EASY), planned=Moisture.MOIST
    )
    values = [count.share for count in plan.counts]
    assert values == sorted(values, reverse=True)
    assert [count.zones for count in plan.counts] == sorted(
        {count.zones for count in plan.counts}, reverse=True
    )
    whole = plan.counts[-1]
    if whole.zones == 1 and whole.rms_n <= 6 * LB:
        assert plan.treatments == 1
    if plan.treatments > 1:
        assert plan.counts[-1].rms_n > 6 * LB or plan.stop == "step"
