"""A plan saved by any zoneplan that was ever out opens in this one, for ever.

Each file in `data` was written by the zoneplan of its day, is never written again, and holds
every kind of file, drawing and change that its form knows. A new form adds a file.
"""

import datetime
from dataclasses import replace
from pathlib import Path

import pytest

from zoneplan.work.answer import plan_asked
from zoneplan.work.saved import opened
from zoneplan.work.since import since
from zoneplan.zones.edit import Merge, Override, Rename, Split

DATA = Path(__file__).parent / "data"
FROZEN = sorted(DATA.glob("zoneplan-work-*.zip"))


def test_a_saved_plan_of_the_first_form_says_what_it_said():
    found = opened((DATA / "zoneplan-work-1.zip").read_bytes(), "x.zip")
    # WORKED: as it was asked when the file was made.
    asked = found.asked
    assert found.field == "Level eighty"
    assert [it.name for it in asked.ground.soils] == ["survey.zip"]
    assert asked.ground.boundary.content.startswith(b"<?xml")
    assert asked.machine.name == "our-planter.toml"
    assert (asked.tillage, asked.speed_mph, asked.depth_in) == ("strip-till", 5.0, 2.0)
    assert (asked.residue_pct, asked.headland, asked.sides) == (30, 1, ("north",))
    assert (asked.most_zones, asked.least_acres) == (6, None)
    assert [(it.what, it.name) for it in asked.drawn] == [("zone", "Old feedlot")]
    assert [it.name for it in asked.rules] == ["ours.toml"]
    assert [type(it) for it in asked.edits] == [Split, Split, Rename, Override, Merge, Override]
    margin, notch = asked.edits[3], asked.edits[5]
    assert (margin.value, margin.on) == (556.0277, datetime.date(2026, 4, 20))
    assert (notch.decides, notch.wetness, notch.value, notch.initials) == (
        "closing",
        "dry",
        "3",
        "ВГ",
    )
    assert len(found.kept["zones"]) == 11


@pytest.mark.parametrize("path", FROZEN, ids=[it.stem for it in FROZEN])
def test_it_is_planned_and_compared_today(path):
    found = opened(path.read_bytes(), path.name)
    asked = replace(found.asked, rules=())  # rules of one's own have a language of their own
    plan = plan_asked(asked).plan
    assert plan.field.name == found.field
    assert "Knoll" in {it.zone.name for it in plan.settings}
    for line in since(found.kept, plan):  # today's rules may give other numbers, and it is told
        assert (
            ", was " in line
            or ", and had " in line
            or "were those of" in line
            or "described otherwise" in line
        )
