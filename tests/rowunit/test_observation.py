import pytest

from tests.rowunit.planters import CLOSED_LOOP_AIR, HYDRAULIC, LB, SET_AIR, SPRINGS, planter
from zoneplan.errors import MachineError
from zoneplan.rowunit.hand_checks import Feel
from zoneplan.rowunit.observation import read_observations
from zoneplan.terms import Moisture

BY_HAND = """
zone = 3
moisture = "moist"
setting = "250 lb"
fill = 0.5
margin = "90 lb"
notch = "2"
"""
ON_SCALES = """
zone = 3
moisture = "dry"
setting = "30 psi"
fill = 1
gauge = "100 lb"
closing = "44 lb"
"""


@pytest.fixture
def read_all(tmp_path):
    def read_text(text, machine):
        path = tmp_path / "seen.toml"
        path.write_text(text, encoding="utf-8")
        return read_observations(path, machine)

    return read_text


@pytest.fixture
def read(read_all):
    def the_one(text, machine):
        (seen,) = read_all(text, machine)
        return seen

    return the_one


def test_a_hand_check_gives_the_opener_load(read):
    # WORKED. 180 + 20 of seed + 250 down - 60 at notch 2 - 90 of margin = 300 lb.
    machine = planter(SPRINGS)
    seen = read(BY_HAND, machine)
    assert seen.opener_load_n(machine) == pytest.approx(300 * LB)


@pytest.mark.parametrize("system", [SET_AIR, CLOSED_LOOP_AIR], ids=lambda system: system.kind)
def test_a_weighing_gives_the_opener_load_through_the_chart(system, read):
    # WORKED. 180 + 40 of seed + 24 at 30 psi - 44 closing - 100 gauge = 100 lb.
    machine = planter(system)
    seen = read(ON_SCALES, machine)
    assert seen.downforce_n == pytest.approx(24 * LB)
    assert seen.opener_load_n(machine) == pytest.approx(100 * LB)


def test_a_cylinder_may_have_been_lifting(read):
    # WORKED. 180 + 20 - 40 of lift - 60 - 90 = 10 lb.
    machine = planter(HYDRAULIC)
    seen = read(BY_HAND.replace("250 lb", "-40 lb"), machine)
    assert seen.opener_load_n(machine) == pytest.approx(10 * LB)


ANSWERS = """
zone = 3
moisture = "moist"
fill = 0.5
notch = "2"
answers = [["125 lb", "free"], ["250 lb", "firm"]]
"""


def test_answers_are_what_opener_and_wheels_shared_at_each_setting(read):
    # WORKED. 180 + 20 of seed - 60 at notch 2 + 125 and 250 lb down: 265 and 390 lb.
    machine = planter(SPRINGS)
    seen = read(ANSWERS, machine)
    assert (seen.zone, seen.moisture, seen.margin_n) == (3, Moisture.MOIST, None)
    values = [(resting / LB, feel) for resting, feel in seen.resting_answers(machine)]
    assert values == [(pytest.approx(265), Feel.FREE), (pytest.approx(390), Feel.FIRM)]


def test_several_checks_in_one_file(read_all):
    one, two = read_all(f"[[check]]\n{BY_HAND}\nspots = 3\n[[check]]\n{ANSWERS}", planter(SPRINGS))
    assert (one.spots, one.weighed, one.answers) == (3, False, ())
    assert len(two.answers) == 2


def test_the_word_of_older_releases_for_the_moisture_is_read(read):
    older = read(BY_HAND.replace("moisture", "wetness"), planter(SPRINGS))
    assert older == read(BY_HAND, planter(SPRINGS))


SPOILED = {
    "moisture": ('"moist"', '"damp"', '"damp" is not a moisture. Use dry, moist or wet'),
    "position": ('"250 lb"', '"200 lb"', "setting: 200 lb (890 N) is no spring position"),
    "pressure on springs": ('"250 lb"', '"30 psi"', "setting: '30 psi' is not a force"),
    "fill": ("fill = 0.5", "fill = 50", "fill: 50 is not a number from 0 to 1"),
    "notch": ('"2"', '"7"', 'notch: "7" is not a notch. Use 1 or 2'),
    "margin": ('"90 lb"', '"-90 lb"', 'margin: "-90 lb" is negative'),
    "zone": ("zone = 3", 'zone = "east"', 'zone: "east" is not a whole number'),
    "unknown key": ("moisture =", "moistur =", 'Did you mean "moisture"?'),
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


BAD_ANSWERS = {
    "another word": ('"firm"', '"hard"', '"hard" is not an answer'),
    "no position": ('"125 lb"', '"130 lb"', "130 lb (578 N) is no spring position"),
    "no pair": ('["125 lb", "free"]', '["125 lb"]', "is not a setting and an answer"),
    "none": ('[["125 lb", "free"], ["250 lb", "firm"]]', "[]", "no answers"),
    "loads beside them": ('notch = "2"', 'notch = "2"\nmargin = "90 lb"', "margin is not a key"),
}


@pytest.mark.parametrize("fault", BAD_ANSWERS)
def test_each_way_to_break_an_answer_is_told(fault, read):
    right, wrong, words = BAD_ANSWERS[fault]
    with pytest.raises(MachineError) as caught:
        read(ANSWERS.replace(right, wrong, 1), planter(SPRINGS))
    assert words in str(caught.value)


def test_one_bracket_is_told(read):
    with pytest.raises(MachineError, match="Write two brackets each time"):
        read(f"[check]\n{BY_HAND}", planter(SPRINGS))


def test_a_list_of_no_checks_is_told(read):
    with pytest.raises(MachineError, match="Write two brackets each time"):
        read("check = []", planter(SPRINGS))
