import dataclasses

import pytest
from scipy import constants

from tests.rowunit.planters import LB, PLANTER
from zoneplan.rowunit.balance import downforce_needed_n, margin_left_n, seed_weight_n, weight_n
from zoneplan.rowunit.machine import CORN_KG_M3, SPRING_POSITIONS_N
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
