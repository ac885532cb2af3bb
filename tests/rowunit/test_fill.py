from dataclasses import replace

import pytest

from zoneplan.rowunit.demand import Demand
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rowunit.systems import at_fill, outcome_of
from zoneplan.terms import System


@pytest.mark.parametrize("system", System)
@pytest.mark.parametrize("opener_n", [300.0, 1200.0, 4000.0])
def test_full_and_refill_are_the_ends_of_it(system, opener_n):
    machine = read_machine(system)
    need = Demand(10.0, 500.0, opener_n, 200.0)
    (outcome,) = outcome_of(machine, [need], 2.2).outcomes
    full = at_fill(machine, need, outcome.setting, machine.fill_full)
    refill = at_fill(machine, need, outcome.setting, machine.fill_refill)
    assert full.margin_n == pytest.approx(outcome.margin_full_n)
    assert refill.margin_n == pytest.approx(outcome.margin_refill_n)
    assert full.needed_n == pytest.approx(outcome.downforce_full_n)
    assert refill.needed_n == pytest.approx(outcome.downforce_refill_n)


def test_half_a_hopper_by_hand():
    # WORKED: weight 1000 + 0.5 x (0.05 m3 x 720 kg/m3 x 9.80665 m/s2 = 353.04 N) = 1176.52 N;
    # springs give 500 N: margin = 1176.52 + 500 - 900 - 200 = 576.52 N. For 400 N of margin it
    # would need 400 + 900 + 200 - 1176.52 = 323.48 N.
    machine = replace(
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
