"""What all files of a plan share is worked out once: counted, so that no clock is asked."""

import gc
from collections import Counter
from dataclasses import replace

import pytest
import shapely

from tests.export.plans import small_plan
from zoneplan.export import document, table
from zoneplan.export.bundle import bundle_files
from zoneplan.export.manifest import Options
from zoneplan.export.once import once
from zoneplan.export.readback import differences


@pytest.fixture
def calls(monkeypatch):
    """Count what is called, by name."""
    counts = Counter()

    def counted(home, name):
        work = getattr(home, name)

        def count(*args, **kwargs):
            counts[name] += 1
            return work(*args, **kwargs)

        monkeypatch.setattr(home, name, count)

    counted(shapely, "maximum_inscribed_circle")
    counted(table, "row")
    counted(document, "_zone")
    counted(table, "in_degrees")
    return counts


def test_a_bundle_made_and_read_back_works_each_zone_out_once(calls):
    plan = small_plan()
    # shapes that no other test has drawn
    turned = [
        replace(each, zone=replace(each.zone, shape=each.zone.shape.segmentize(17.0)))
        for each in plan.settings
    ]
    plan = replace(plan, settings=tuple(turned))
    files = bundle_files(plan, Options())
    assert differences(files, plan, Options()) == []
    zones = len(plan.settings)
    assert calls == {
        "maximum_inscribed_circle": zones,  # for nine maps
        "row": zones,  # for four files, written and read back
        "_zone": zones,  # for plan.json, written and read back
        "in_degrees": 2 * zones,  # to seven decimals, and to nine
    }


def test_it_is_kept_for_each_plan_and_each_asking_as_long_as_the_plan_lives():
    counts = Counter()

    @once
    def made(plan, what="a"):  # noqa: ARG001
        counts[what] += 1
        return [what]

    plan, other = small_plan(), small_plan()
    assert made(plan) is made(plan)
    assert made(plan) is not made(other)
    assert made(plan, "b") == ["b"]
    assert counts == {"a": 2, "b": 1}
    del plan
    gc.collect()
    made(small_plan())  # it may lie where the other lay
    assert counts["a"] == 3
