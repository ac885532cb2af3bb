from dataclasses import replace

import pytest

from tests.export.plans import SETTINGS, small_plan
from tests.export.test_taskset import holding_a_margin
from zoneplan.export.taskset_words import command_n, taskset_notes, zone_designator
from zoneplan.plan.model import NoNumbers
from zoneplan.rowunit.machine import SetAir
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Ground

CHART = ((0.0, 0.0), (600.0, 3000.0))  # kPa, N


def on_air(command_n):
    """The small plan on set air, its first zone commanded so much when dry."""
    plan = small_plan()
    machine = replace(plan.machine, system=SetAir(CHART, retrim_s=1800.0, drift_kpa_per_h=10.0))
    dry = replace(SETTINGS[0].moistures["dry"], setting=90.0, command_n=command_n)
    first = replace(SETTINGS[0], moistures={**SETTINGS[0].moistures, "dry": dry})
    return replace(
        plan,
        machine=machine,
        setting_kind="air pressure",
        setting_unit="kPa",
        settings=(first, *SETTINGS[1:]),
    )


@pytest.mark.parametrize(("force_n", "whole_n"), [(0.4, 0), (449.6, 450), (-195.4, -195)])
def test_what_goes_out_is_the_downforce_in_whole_newtons_and_not_the_pressure(force_n, whole_n):
    plan = on_air(force_n)
    assert command_n(plan.settings[0], "dry", "downforce") == whole_n
    assert command_n(plan.settings[2], "dry", "downforce") is None


def test_a_machine_that_holds_a_margin_has_no_number_where_there_is_no_data():
    plan = holding_a_margin(small_plan())
    for value in ("downforce", "margin"):
        assert command_n(plan.settings[1], "wet", value) is None
        assert command_n(plan.settings[2], "wet", value) is None


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        (SoilFacts(ground="no data"), "3 no data, no number"),
        (SoilFacts(ground="organic"), "3 organic, no number"),
        (SoilFacts(), "3 no data, no number"),  # soil without a texture
    ],
)
def test_ground_without_a_number_says_why(facts, words):
    result = NoNumbers(Ground(facts.ground))
    setting = replace(SETTINGS[2], moistures={"dry": result})
    assert zone_designator(setting, "dry", "downforce") == words


@pytest.mark.parametrize(
    ("notch", "words"),
    [
        # WORKED: "1 downforce 125lb close " is 24 characters, so 8 are left of the 32.
        ("2", "1 downforce 125lb close 2"),
        ("hole six", "1 downforce 125lb close hole six"),
        ("hole nine", "1 downforce 125lb close..."),
    ],
)
def test_a_notch_is_told_whole_or_not_at_all(notch, words):
    dry = replace(SETTINGS[0].moistures["dry"], closing_notch=notch)
    setting = replace(SETTINGS[0], moistures={"dry": dry})
    assert zone_designator(setting, "dry", "downforce") == words


@pytest.mark.parametrize(
    ("plan", "value", "words"),
    [
        (small_plan(), "downforce", "Springs are moved by hand"),
        (on_air(450.0), "downforce", "by the machine's chart"),
        (holding_a_margin(small_plan()), "downforce", "lets the margin slide as the seed goes"),
        (holding_a_margin(small_plan()), "margin", "because it has none for a margin"),
    ],
)
def test_notes_say_what_the_number_is(plan, value, words):
    first, second, *_ = taskset_notes(plan, "dry", value=value)
    assert words in first
    assert "Closing settings stand in the names of the zones" in second


def test_notes_name_the_zones_that_lift_and_those_without_a_number():
    # WORKED: at mid hopper zone 1 lifts when wet (see test_taskset) and zones 2, 3 have nothing;
    # zone 2 moist needs 494 + 900 + 350 - (1508 + 1191) / 2 = 394 N, zone 1 344 N: no lift.
    plan = holding_a_margin(small_plan())
    assert taskset_notes(plan, "wet")[2:] == (
        "In zone 1 the number is below zero: a lift.",
        "In zones 2, 3, outside the field and when the position is lost the task set commands "
        "nothing. What the controller then holds is not known: watch it there.",
    )
    (silent,) = taskset_notes(plan, "moist")[2:]
    assert silent.startswith("In zone 3, outside the field")
    (silent,) = taskset_notes(replace(plan, settings=plan.settings[:1]), "moist")[2:]
    assert silent.startswith("Outside the field")


def test_notes_state_the_cell_of_a_grid():
    # WORKED: half of 8 x 0.762 m
    assert taskset_notes(small_plan(), "dry", grid=True)[-1].endswith("cells of 3.05 m.")
    assert "grid" not in " ".join(taskset_notes(small_plan(), "dry"))
