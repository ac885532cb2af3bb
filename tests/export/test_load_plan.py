import json
from dataclasses import replace

import pytest
import shapely

from tests.export.plans import SETTINGS, small_plan
from tests.marking import drawn_zone
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.export.document import plan_bytes, plan_document
from zoneplan.export.load_plan import restored
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.shapes import HEADLAND, Marks
from zoneplan.rowunit.machine import ClosedLoopAir

THERE_AND_BACK_M = 0.001  # PINNED: PROJ's way to degrees and back is not the same to a hair


def again(plan):
    shapes = {
        setting.zone.id: move(setting.zone.shape, plan.field.crs, WGS_84)
        for setting in plan.settings
    }
    return restored(json.loads(plan_bytes(plan)), shapes)


def same_but_for_shapes_and_rules(one, other):
    return replace(
        one,
        field=replace(one.field, shape=other.field.shape),
        rules=other.rules,
        settings=tuple(
            replace(mine, zone=replace(mine.zone, shape=its.zone.shape))
            for mine, its in zip(one.settings, other.settings, strict=True)
        ),
    )


def test_everything_comes_back():
    marked = replace(
        SETTINGS[0].zone,
        site=Marks(headland=True, part=drawn_zone("Low end"), slope_frac=0.03, steep=True),
        marked=((HEADLAND, 0.75), (drawn_zone("Low end"), 0.25)),
    )
    plan = replace(small_plan(), settings=(replace(SETTINGS[0], zone=marked), *SETTINGS[1:]))
    back = again(plan)
    assert same_but_for_shapes_and_rules(back, plan) == plan
    assert (back.rules.revised, back.rules.sha256) == (plan.rules.revised, plan.rules.sha256)
    for one, other in zip(back.settings, plan.settings, strict=True):
        assert shapely.equals_exact(one.zone.shape, other.zone.shape, tolerance=THERE_AND_BACK_M)
    assert shapely.hausdorff_distance(back.field.shape, plan.field.shape) < 2 * THERE_AND_BACK_M


@pytest.mark.parametrize("demo", demo_fields(), ids=lambda demo: demo.name)
def test_every_system_comes_back(demo):
    plan = plan_demo(demo)
    back = again(plan)
    assert plan_document(back) == plan_document(plan)
    assert type(back.machine.system) is type(plan.machine.system)


def test_air_in_closed_loop_comes_back():
    air = ClosedLoopAir(((0.0, 0.0), (200.0, 700.0)), 3, 6, delay_s=2.0, time_constant_s=4.0)
    plan = replace(small_plan(), machine=replace(small_plan().machine, system=air))
    assert again(plan).machine == plan.machine


def test_a_zone_without_a_shape_is_missed():
    with pytest.raises(KeyError):
        restored(plan_document(small_plan()), {})
