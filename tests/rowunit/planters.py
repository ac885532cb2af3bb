"""One small planter to test with, on any downforce system."""

import dataclasses

from zoneplan.plan.swing_chain import swing_factors
from zoneplan.rowunit.balance import Demand
from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, Machine, Notch, SetAir, Springs
from zoneplan.rules.read import read_rules
from zoneplan.units import KPA_PER_PSI, M3_PER_BU, MPS_PER_MPH, N_PER_LBF, quantity

LB = N_PER_LBF
PSI = KPA_PER_PSI
FIVE_MPH = 5 * MPS_PER_MPH
SWING = swing_factors(read_rules())  # of the stock rules

CHART = ((0.0, 0.0), (30 * PSI, 24 * LB), (60 * PSI, 144 * LB), (100 * PSI, 400 * LB))
# Check values: common practice, no source.
SPRINGS = Springs(positions_n=tuple(pounds * LB for pounds in (0, 125, 250, 400)))
SET_AIR = SetAir(chart=CHART, retrim_s=1800, drift_kpa_per_h=4 * PSI)
CLOSED_LOOP_AIR = ClosedLoopAir(chart=CHART, sections=3, sensors=2, delay_s=1, time_constant_s=3)
HYDRAULIC = Hydraulic(least_n=-50 * LB, most_n=300 * LB, delay_s=0.2, time_constant_s=0.3)

# A bare row unit of 180 lb whose full hopper holds 40 lb of corn: 40/56 bu.
PLANTER = Machine(
    name="Test planter",
    rows=12,
    row_spacing_m=quantity("30 in", "length"),
    speed_mps=FIVE_MPH,
    depth_m=quantity("2 in", "length"),
    unit_weight_n=180 * LB,
    attachments_n=0.0,
    hopper_m3=40 / 56 * M3_PER_BU,
    fill_full=1.0,
    fill_refill=0.0,
    test_weight_kg_m3=quantity("56 lb/bu", "density"),
    notches=(Notch("1", 20 * LB), Notch("2", 60 * LB)),
    system=SPRINGS,
)


def planter(system: Springs | SetAir | ClosedLoopAir | Hydraulic, **changes: object) -> Machine:
    return dataclasses.replace(PLANTER, system=system, **changes)


def need(margin_lb: float, opener_lb: float, closing_lb: float, area_ha: float = 1.0) -> Demand:
    return Demand(area_ha, margin_lb * LB, opener_lb * LB, closing_lb * LB)
