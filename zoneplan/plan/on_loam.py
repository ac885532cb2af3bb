"""What a planter does by itself, before there is a field: on loam, moist and tilled."""

from zoneplan.field.shapes import Marks
from zoneplan.plan.requirement import Conditions, basis_of, requirement_of
from zoneplan.rowunit.balance import Demand, Outcome
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.systems import outcome_of
from zoneplan.rules.rule import Rules
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Moisture, Tillage


def on_loam(machine: Machine, rules: Rules) -> tuple[Demand, Outcome]:
    """Tell what loam asks of a planter at its usual speed and depth, and what it does there.

    Loam, moist, tilled and level, is what the opener load is counted from.
    """
    day = Conditions(Tillage.TILLED, machine.speed_mps, machine.depth_m, residue_frac=0.0)
    basis = basis_of(machine, rules, day)
    asked = requirement_of(basis, SoilFacts(texture="loam"), Marks(), Moisture.MOIST)
    demand = Demand(
        area_ha=1.0,
        margin_n=asked.target.margin_n,
        opener_load_n=asked.opener_load_n + asked.attachments_load_n,
        closing_load_n=asked.closing.notch.load_n,
        light_to_heavy=asked.light_to_heavy,
    )
    return demand, outcome_of(machine, [demand], machine.speed_mps).outcomes[0]
