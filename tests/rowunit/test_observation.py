import dataclasses

import pytest

from tests.rowunit.planters import CLOSED_LOOP_AIR, HYDRAULIC, LB, SET_AIR, SPRINGS, planter
from zoneplan.errors import MachineError, OutOfRangeError
from zoneplan.rowunit.observation import (
    Observation,
    measured_opener_load_n,
    read_observations,
    scale_from,
)

BY_HAND = """
zone = 3
wetness = "moist"
setting = "250 lb"
fill = 0.5
margin = "90 lb"
notch = "2"
"""
ON_SCALES = """
zone = 3
wetness = "dry"
setting = "30 psi"
fill = 1
gauge = "100 lb"
closing = "44 lb"
"""


@pytest.fixture
def read(tmp_path):
    def read_text(text, machine):
        path = tmp_path / "seen.toml"
        path.write_text(text, encoding="utf-8")
        return read_observations(path, machine)

    return read_text


def test_a_hand_check_gives_the_opener_load(read):
    # WORKED. 180 + 20 of seed + 250 down - 60 at notch 2 - 90 of margin = 300 lb.
    machine = planter(SPRINGS)
    seen = read(BY_HAND, machine)
    assert measured_opener_load_n(seen, machine) == pytest.approx(300 * LB)


@pytest.mark.parametrize("system", [SET_AIR, CLOSED_LOOP_AIR], ids=lambda system: system.kind)
def test_a_weighing_gives_the_opener_load_through_the_chart(system, read):
    # WORKED. 180 + 40 of seed + 24 at 30 psi - 44 closing - 100 gauge = 100 lb.
    machine = planter(system)
    seen = read(ON_SCALES, machine)
    assert seen.downforce_n == pytest.approx(24 * LB)
    assert measured_opener_load_n(seen, machine) == pytest.approx(100 * LB)


def test_a_cylinder_may_have_been_lifting(read):
    # WORKED. 180 + 20 - 40 of lift - 60 - 90 = 10 lb.
    machine = planter(HYDRAULIC)
    seen = read(BY_HAND.replace("250 lb", "-40 lb"), machine)
    assert measured_opener_load_n(seen, machine) == pytest.approx(10 * LB)


def test_the_scale_meets_what_was_found_and_says_so(read):
    # WORKED. 300 lb found where the model said 240: 1.25.
    machine = planter(SPRINGS)
    factor, words = scale_from(read(BY_HAND, machine), machine, 240 * LB)
    assert factor == pytest.approx(1.25)
    assert words == (
        "Opener loads are multiplied by 1.25: in zone 3, moist, 250 lb (1112 N) down and a hopper "
        "50 % full left 90 lb (400 N) on the gauge wheels (margin found by hand, closing load from "
        "the notch), so the openers carried 300 lb (1334 N) where the model said 240 lb (1068 N)."
    )


def test_a_finding_far_from_the_model_is_doubted(read):
    machine = planter(SPRINGS)
    _, words = scale_from(read(BY_HAND, machine), machine, 150 * LB)
    assert "further off than the model should be" in words


def test_openers_cannot_have_been_pulled_down():
    machine = planter(SPRINGS)
    seen = Observation(3, "moist", 1.0, 0.0, 150 * LB, 80 * LB, weighed=True)
    with pytest.raises(OutOfRangeError, match=r"zone 3 leaves -10 lb.*check the loads"):
        scale_from(seen, machine, 600)


SPOILED = {
    "wetness": ('"moist"', '"damp"', '"damp" is not a moisture. Use dry, moist or wet'),
    "position": ('"250 lb"', '"200 lb"', "setting: 200 lb (890 N) is no spring position"),
    "pressure on springs": ('"250 lb"', '"30 psi"', "setting: '30 psi' is not a force"),
    "fill": ("fill = 0.5", "fill = 50", "fill: 50 is not a number from 0 to 1"),
    "notch": ('"2"', '"7"', 'notch: "7" is not a notch. Use 1 or 2'),
    "margin": ('"90 lb"', '"-90 lb"', 'margin: "-90 lb" is negative'),
    "zone": ("zone = 3", 'zone = "east"', 'zone: "east" is not a whole number'),
    "unknown key": ("wetness =", "wettness =", 'Did you mean "wetness"?'),
    "both ways": ("fill", 'gauge = "90 lb"\nfill', "margin, notch beside gauge"),
    "neither way": ('margin = "90 lb"', "", "no margin. Write"),
}


@pytest.mark.parametrize("fault", SPOILED)
def test_each_way_to_break_an_observation_is_told(fault, read):
    right, wrong, words = SPOILED[fault]
    with pytest.raises(MachineError) as caught:
        read(BY_HAND.replace(right, wrong, 1), planter(SPRINGS))
    assert words in str(caught.value)


def test_a_setting_outside_the_chart_or_the_reach_is_told(read):
    with pytest.raises(MachineError, match=r"setting: 120 psi .* is outside this machine's chart"):
        read(ON_SCALES.replace("30 psi", "120 psi"), planter(SET_AIR))
    with pytest.raises(MachineError, match=r"setting: 350 lb .* is out of the machine's reach"):
        read(BY_HAND.replace("250 lb", "350 lb"), planter(HYDRAULIC))


def test_every_fault_is_told_at_once(read):
    text = BY_HAND.replace('"moist"', '"damp"').replace("250 lb", "251.5 lb").replace("0.5", "2")
    with pytest.raises(MachineError, match=r"^seen\.toml has 3 faults:"):
        read(text, planter(SPRINGS))


def test_an_observation_is_a_plain_fact(read):
    seen = read(BY_HAND, planter(SPRINGS))
    with pytest.raises(dataclasses.FrozenInstanceError):
        seen.zone = 4
