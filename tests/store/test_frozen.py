"""A plan saved by any zoneplan that was ever out opens in this one, for ever.

Each file in `data` was written by the zoneplan of its day, is never written again, and holds
every kind of file, drawing and change that its form knows. A new form adds a file.
"""

import datetime
from dataclasses import replace
from pathlib import Path

import pytest

from zoneplan.run import run
from zoneplan.store.archive import opened
from zoneplan.store.changed_since_saved import changed_since_saved
from zoneplan.zones.edit import Merge, Override, Rename, Split

DATA = Path(__file__).parent / "data"
FROZEN = sorted(DATA.glob("zoneplan-work-*.zip"))


def test_a_saved_plan_of_the_first_form_says_what_it_said():
    saved_plan = opened((DATA / "zoneplan-work-1.zip").read_bytes(), "x.zip")
    # WORKED: as it was asked when the file was made.
    asked, files = saved_plan.job.request, saved_plan.job.sources
    assert saved_plan.field == "Level eighty"
    assert [soil.name for soil in files.soils] == ["survey.zip"]
    assert files.boundary.content.startswith(b"<?xml")
    assert files.machine.name == "our-planter.toml"
    # WORKED: it said 5 mph, 2 in and 30 %. 5 x 0.44704 m/s; 2 x 0.0254 m
    assert (asked.tillage, asked.speed_mps, asked.depth_m) == ("strip-till", 2.2352, 0.0508)
    assert (asked.residue_frac, asked.headland_passes, asked.headland_sides) == (0.3, 1, ("north",))
    assert (asked.most_zones, asked.least_area_m2) == (6, None)
    assert [(outline.what, outline.name) for outline in asked.drawn] == [("zone", "Old feedlot")]
    assert [rule.name for rule in files.rules] == ["ours.toml"]
    assert [type(edit) for edit in asked.edits] == [Split, Split, Rename, Override, Merge, Override]
    margin, notch = asked.edits[3], asked.edits[5]
    assert (margin.value, margin.on) == (556.0277, datetime.date(2026, 4, 20))
    assert (notch.decides, notch.moisture, notch.value, notch.initials) == (
        "closing",
        "dry",
        "3",
        "ВГ",
    )
    assert len(saved_plan.document["zones"]) == 11


@pytest.mark.parametrize("path", FROZEN, ids=[case.stem for case in FROZEN])
def test_it_is_planned_and_compared_today(path):
    saved_plan = opened(path.read_bytes(), path.name)
    # Rules of one's own have a language of their own.
    sources = replace(saved_plan.job.sources, rules=())
    plan = run(saved_plan.job.request, sources).plan
    assert plan.field.name == saved_plan.field
    assert "Knoll" in {setting.zone.name for setting in plan.settings}
    # Today's rules may give other numbers, and it is told.
    for line in changed_since_saved(saved_plan.document, plan):
        assert (
            ", was " in line
            or ", and had " in line
            or "were those of" in line
            or "described otherwise" in line
        )
