"""What ground needs when zones are drawn: in the coordinates of `zones.ground_need`."""

from functools import lru_cache

from zoneplan.field.shapes import Site
from zoneplan.plan.requirement import REMEMBERED, Basis, demand_n, plannable, usual_share_of
from zoneplan.plan.soil_state import soil_state
from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.systems import setting_kind
from zoneplan.soil.reference import AVAILABLE_SHARE
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Ground, Moisture, SettingKind
from zoneplan.zones.ground_need import GroundNeed
from zoneplan.zones.marks import drawn_by


@lru_cache(maxsize=REMEMBERED)
def ground_need(basis: Basis, facts: SoilFacts, site: Site) -> GroundNeed:
    """Work out what tells some ground from its neighbour, unrounded.

    A machine that holds a margin asks for the target; one that holds a setting for the
    downforce with the hopper half full. Ground that waits is asked at its ceiling, at the
    small weight that its chance leaves it.

    Parameters
    ----------
    basis, facts, site : Basis, SoilFacts, Site
        Planter, rules and day, and the ground.
    """
    drawn = drawn_by(site)
    if not plannable(facts):
        kind = Ground(facts.ground)
        return GroundNeed(Ground.NO_DATA if kind is Ground.SOIL else kind, drawn)
    machine = basis.machine
    weight_at_half_n = weight_n(machine, (machine.fill_full + machine.fill_refill) / 2)
    usual = usual_share_of(facts, site, basis.conditions)
    needs = []
    for share in (AVAILABLE_SHARE[Moisture.DRY], usual, AVAILABLE_SHARE[Moisture.WET]):
        target_n, carried_n = demand_n(basis, facts, site, share)
        if setting_kind(machine) is SettingKind.MARGIN_TARGET:
            needs.append(target_n)
        else:
            needs.append(target_n + carried_n - weight_at_half_n)
    dry_n, usual_n, wet_n = needs
    wait_chance = soil_state(facts).smear_chance(AVAILABLE_SHARE[Moisture.WET])
    return GroundNeed(Ground.SOIL, drawn, (dry_n, usual_n, wet_n), wait_chance)
