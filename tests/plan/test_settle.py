"""Zones that are treated alike ask the same, wherever they lie: it is decided for them once."""

from tests.plan.square import CLAY_LOAM, RULES, SAND, TILLED, layer
from zoneplan.plan import settle
from zoneplan.plan.plan_field import plan_field
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.terms import Moisture


def test_what_zones_that_are_treated_alike_are_left_with_is_worked_out_once(square, monkeypatch):
    calls = []
    plain = settle.left_of
    monkeypatch.setattr(settle, "left_of", lambda *args: calls.append(args) or plain(*args))
    stripes = [layer(SAND, CLAY_LOAM, SAND, CLAY_LOAM, SAND, CLAY_LOAM)]
    plan = plan_field(square, stripes, read_machine("set-air"), RULES, TILLED)
    assert len(plan.settings) > plan.treatments == 2
    numbered = {
        (setting.zone.treatment, moisture)
        for setting in plan.settings
        for moisture in Moisture
        if moisture in setting.set_at
    }
    assert len(calls) == len(numbered)
    for moisture in Moisture:
        settings = {
            (setting.zone.treatment, setting.set_at[moisture].setting)
            for setting in plan.settings
            if moisture in setting.set_at
        }
        assert len(settings) == len({treatment for treatment, _ in settings})
