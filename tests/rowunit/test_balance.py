import dataclasses

import pytest
from scipy import constants

from tests.rowunit.planters import CHART, LB, PLANTER, PSI
from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.balance import (
    Demand,
    at_fill,
    downforce_needed_n,
    load_at,
    margin_left_n,
    pressure_for,
    refill_fill,
    seed_weight_n,
    weight_n,
)
from zoneplan.rowunit.machine import CORN_KG_M3, SPRING_POSITIONS_N
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rowunit.systems import outcome_of
from zoneplan.terms import System
from zoneplan.units import M3_PER_BU

# Any one unit of force will do for the balance: the hand cases are in pounds.


def test_downforce_needed_with_seed_and_without():
    # WORKED. 100 + 250 + 60 - (180 + 40) = 190; with the seed gone 230.
    assert downforce_needed_n(100, 250, 60, 180 + 40) == 190
    assert downforce_needed_n(100, 250, 60, 180) == 230


def test_margin_left_by_two_spring_positions():
    # WORKED. 220 + 250 - 250 - 60 = 160; 220 + 125 - 250 - 60 = 35. The positions are common
    # practice, no source.
    assert margin_left_n(220, 250, 250, 60) == 160
    assert margin_left_n(220, 125, 250, 60) == 35


def test_closing_load_comes_off_the_margin_one_for_one():
    # WORKED. Statics: parallel links carry no moment, so 20 lb more here is 20 lb less there.
    before, after = margin_left_n(220, 190, 250, 60), margin_left_n(220, 190, 250, 80)
    assert (before, after) == (100, 80)


def test_a_surprising_answer_is_still_an_answer():
    # WORKED. Soft soil: 40 + 50 + 20 - 220 = -110, a lift. Hard soil: 180 - 400 - 20 = -240.
    assert downforce_needed_n(40, 50, 20, 220) == -110
    assert margin_left_n(180, 0, 400, 20) == -240


def test_seed_weighs_what_its_bushels_weigh():
    # WORKED. 1.6 bu × 56 lb/bu = 89.6 lb; × 4.44822 N/lbf = 398.6 N.
    machine = dataclasses.replace(PLANTER, hopper_m3=1.6 * M3_PER_BU)
    assert seed_weight_n(machine, 1.0) == pytest.approx(89.6 * constants.lbf, rel=1e-9)
    assert seed_weight_n(machine, 1.0) == pytest.approx(398.6, abs=0.05)
    assert seed_weight_n(machine, 0.25) == pytest.approx(89.6 / 4 * constants.lbf, rel=1e-9)


def test_a_bushel_of_corn_by_the_cubic_metre():
    # WORKED. 56 lb in 2150.42 cubic inches: 25.401 kg in 35.239 L, 720.8 kg/m³.
    bushel_m3 = 2150.42 * constants.inch**3
    assert bushel_m3 * 1000 == pytest.approx(35.239, abs=0.001)
    assert pytest.approx(56 * constants.lb / bushel_m3, rel=1e-9) == CORN_KG_M3
    assert pytest.approx(720.8, abs=0.05) == CORN_KG_M3


def test_weight_is_the_unit_what_hangs_on_it_and_the_seed():
    # WORKED. 180 lb + 25 lb + 40 lb of seed, half of it gone: 225 lb.
    machine = dataclasses.replace(PLANTER, attachments_n=25 * LB)
    assert weight_n(machine, 0.5) == pytest.approx(225 * constants.lbf)


def test_spring_positions_in_newtons():
    # WORKED. 100, 200, 300 and 400 lb × 4.44822 N/lbf.
    assert pytest.approx([0, 444.8, 889.6, 1334.5, 1779.3], abs=0.05) == SPRING_POSITIONS_N
    even = [pounds * constants.lbf for pounds in range(0, 401, 100)]
    assert pytest.approx(even) == SPRING_POSITIONS_N


# common practice, no source. A bare row unit on scales, at three notches of the closing
# wheels: load in lb on the closing wheels, and on the gauge wheels.
WEIGHED = {"lowest": (19, 145), "first": (80, 96), "highest": (124, 45)}


def test_the_weighed_row_unit_keeps_one_weight():
    sums = [closing + gauge for closing, gauge in WEIGHED.values()]
    mean = sum(sums) / len(sums)
    assert sums == pytest.approx([mean] * 3, rel=0.05)


@pytest.mark.parametrize("notch", WEIGHED)
def test_the_balance_gives_each_weighed_gauge_load_from_one_weight(notch):
    weight = sum(closing + gauge for closing, gauge in WEIGHED.values()) / len(WEIGHED)
    closing, gauge = WEIGHED[notch]
    # On scales the openers hang free: no opener load, no downforce.
    assert margin_left_n(weight, 0, 0, closing) == pytest.approx(gauge, abs=10)


def test_air_added_on_scales_is_found_again():
    # common practice, no source. Without air 90 lb on the gauge and 70 on the closing wheels;
    # with 30 psi more the gauge wheels carry 114: the air adds 24 lb.
    weight = 90 + 70
    assert margin_left_n(weight, 0, 0, 70) == 90
    assert downforce_needed_n(114, 0, 70, weight) == 24


def test_force_down_less_what_the_soil_takes_is_the_margin():
    # common practice, no source. 300 lb down against 100 lb of soil leaves 200 lb.
    assert margin_left_n(0, 300, 100, 0) == 200


def test_the_fill_to_refill_at():
    # WORKED: full leaves 160 lb; 64 lb of seed later, 64 / 89.6 = .714 of a hopper, it is 96 lb.
    assert refill_fill(1.0, 0.1, 89.6, 160.0, 96.0, 160.0) == pytest.approx(1 - 64 / 89.6)
    # Full leaves 20 lb too much: filled to 1 − 20 / 89.6 it bears 64 lb of seed less, as above.
    assert refill_fill(1.0, 0.0, 89.6, 180.0, 96.0, 160.0) == pytest.approx(1 - 84 / 89.6)
    assert refill_fill(0.8, 0.1, 89.6, 160.0, 96.0, 160.0) is None  # .7 of it are planned
    assert refill_fill(1.0, 0.1, 40.0, 160.0, 96.0, 160.0) is None
    assert refill_fill(1.0, 0.1, 89.6, 160.0, 160.0, 110.0) is None
    assert refill_fill(1.0, 0.1, 89.6, 90.0, 96.0, 160.0) is None  # too light at any fill


def test_a_weighed_point_is_given_back():
    # common practice, no source. 30 psi more brought the gauge wheels from 90 to 114 lb: 24 lb.
    assert load_at(CHART, 30 * PSI) == pytest.approx(24 * LB)
    assert pressure_for(CHART, 24 * LB) == pytest.approx(30 * PSI)


def test_between_points_the_line_is_straight():
    # WORKED. A third of the way from (30 psi, 24 lb) to (60 psi, 144 lb): (40 psi, 64 lb).
    assert load_at(CHART, 40 * PSI) == pytest.approx(64 * LB)
    assert pressure_for(CHART, 64 * LB) == pytest.approx(40 * PSI)


@pytest.mark.parametrize("psi", [0, 5, 30, 47.5, 60, 99, 100])
def test_there_and_back(psi):
    assert pressure_for(CHART, load_at(CHART, psi * PSI)) == pytest.approx(psi * PSI)


@pytest.mark.parametrize("psi", [-1, 100.5])
def test_a_pressure_outside_the_chart_is_refused(psi):
    with pytest.raises(OutOfRangeError, match=r"outside this machine's chart.*0 psi.*100 psi"):
        load_at(CHART, psi * PSI)


@pytest.mark.parametrize("pounds", [-5, 401])
def test_a_load_outside_the_chart_is_refused(pounds):
    with pytest.raises(OutOfRangeError, match=r"cannot be reached.*0 lb.*400 lb"):
        pressure_for(CHART, pounds * LB)


@pytest.mark.parametrize("system", System)
@pytest.mark.parametrize("opener_n", [300.0, 1200.0, 4000.0])
def test_full_and_refill_are_the_ends_of_it(system, opener_n):
    machine = read_machine(system)
    demand = Demand(10.0, 500.0, opener_n, 200.0)
    (outcome,) = outcome_of(machine, [demand], 2.2).outcomes
    full = at_fill(machine, demand, outcome.setting, machine.fill_full)
    refill = at_fill(machine, demand, outcome.setting, machine.fill_refill)
    assert full.margin_n == pytest.approx(outcome.margin_full_n)
    assert refill.margin_n == pytest.approx(outcome.margin_refill_n)
    assert full.needed_n == pytest.approx(outcome.downforce_full_n)
    assert refill.needed_n == pytest.approx(outcome.downforce_refill_n)


def test_half_a_hopper_by_hand():
    # WORKED: weight 1000 + 0.5 x (0.05 m3 x 720 kg/m3 x 9.80665 m/s2 = 353.04 N) = 1176.52 N;
    # springs give 500 N: margin = 1176.52 + 500 - 900 - 200 = 576.52 N. For 400 N of margin it
    # would need 400 + 900 + 200 - 1176.52 = 323.48 N.
    machine = dataclasses.replace(
        read_machine("springs"),
        unit_weight_n=1000.0,
        attachments_n=0.0,
        hopper_m3=0.05,
        test_weight_kg_m3=720.0,
    )
    half = at_fill(machine, Demand(1.0, 400.0, 900.0, 200.0), 500.0, 0.5)
    assert half.weight_n == pytest.approx(1176.52, abs=0.01)
    assert half.needed_n == pytest.approx(323.48, abs=0.01)
    assert half.margin_n == pytest.approx(576.52, abs=0.01)
