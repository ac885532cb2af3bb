import pytest
from scipy import constants

from zoneplan.errors import MachineError
from zoneplan.rowunit.machine import Springs, describe
from zoneplan.rowunit.machine_file import new_machine_text, read_machine
from zoneplan.terms import System

LEAST = """
name = "Ours"
rows = 8
row_spacing = "30 in"
speed = "5 mph"
depth = "2 in"
unit_weight = "82 kg"
attachments = "111 N"
hopper = "1.6 bu"
full = 1
refill = 0.1
notches = [{ name = "low", load = "20 lb" }, { name = "high", load = "60 lb" }]
[system]
kind = "springs"
"""


@pytest.fixture
def read(tmp_path):
    def read_text(text):
        path = tmp_path / "ours.toml"
        path.write_text(text, encoding="utf-8")
        return read_machine(path)

    return read_text


@pytest.mark.parametrize("system", System)
def test_the_four_generic_machines_are_read_by_name(system):
    assert read_machine(system).system.kind == system


@pytest.mark.parametrize("system", System)
def test_a_generic_row_unit_weighs_what_row_units_do(system):
    # PUBLISHED, weakly. 150 to 200 lb: an Iowa State University specialist in the farm press.
    assert 150 <= read_machine(system).unit_weight_n / constants.lbf <= 200


@pytest.mark.parametrize("system", System)
def test_a_new_machine_file_reads_as_the_generic_one(system, read):
    text = new_machine_text(system)
    assert read(text) == read_machine(system)
    assert "generic, typical: weigh your own" in text.lower()


@pytest.mark.parametrize("system", System)
def test_a_machine_is_described_in_the_words_of_the_trade(system):
    lines = dict(describe(read_machine(system)))
    assert lines["rows"] == "12 at 30 in, 30 ft (9 m) wide"
    assert lines["row unit, hopper empty"] == "180 lb (801 N)"
    assert lines["hopper"].startswith("1.6 bu of seed at 56 lb/bu")


def test_units_as_the_grower_writes_them(read):
    machine = read(LEAST)
    assert machine.row_spacing_m == pytest.approx(30 * constants.inch)
    assert machine.speed_mps == pytest.approx(5 * constants.mph)
    assert machine.unit_weight_n == pytest.approx(82 * constants.g)
    assert machine.attachments_n == 111
    assert machine.hopper_m3 == pytest.approx(1.6 * 2150.42 * constants.inch**3)
    air = read_machine("set-air").system
    assert air.chart[1] == pytest.approx((30 * constants.psi / 1000, 24 * constants.lbf))


# PUBLISHED. Hanna, Steward & Aldinger (2010), Appl. Eng. Agric. 26(4):551-556: gauge-wheel
# loads classed at 40, 110 and 200 lb, printed as 180, 490 and 890 N.
@pytest.mark.parametrize(("pounds", "printed_n"), [(40, 180), (110, 490), (200, 890)])
def test_pounds_of_swing_are_the_newtons_a_paper_prints(pounds, printed_n, read):
    assert read(f'swing = "{pounds} lb"\n' + LEAST).swing_n == pytest.approx(printed_n, abs=5)


def test_what_is_left_out_has_its_usual_value(read):
    machine = read(LEAST)
    assert machine.system == Springs()
    assert machine.disc_diameter_m == pytest.approx(15 * constants.inch)
    assert machine.test_weight_kg_m3 == pytest.approx(720.8, abs=0.05)
    assert machine.light_to_heavy == 2
    assert machine.swing_n is None
    retrimmed = new_machine_text("set-air").replace("retrim =", "# retrim =")
    assert read(retrimmed).system.retrim_s == 1800


def test_what_is_measured_is_kept(read):
    machine = read('swing = "55 lb"\nlight_to_heavy = 3\n' + LEAST)
    assert machine.swing_n == pytest.approx(55 * constants.lbf)
    assert machine.light_to_heavy == 3
    assert dict(describe(machine))["swing"] == "55 lb (245 N) at 5 mph, measured"


# The generic machine, one line of it spoiled, and the words the message must contain.
SPOILED = {
    "unknown key": ("springs", "row_spacing =", "row_spaceing =", 'Did you mean "row_spacing"?'),
    "missing key": ("springs", "rows = 12", "", "no rows. Write it like this: rows = 12"),
    "number without a unit": ("springs", '"180 lb"', "180", "unit_weight: '180' is not a force"),
    "unit of another kind": ("springs", '"5 mph"', '"5 psi"', "speed: '5 psi' is not a speed"),
    "negative weight": ("springs", '"180 lb"', '"-180 lb"', 'unit_weight: "-180 lb" is negative'),
    "negative attachment": ("springs", '"25 lb"', '"-25 lb"', 'attachments: "-25 lb" is negative'),
    "no weight": ("springs", '"180 lb"', '"0 lb"', 'unit_weight: "0 lb" is nothing'),
    "name not a word": ("springs", '"Generic planter, springs"', "7", "name: 7 says nothing"),
    "rows in quotes": ("springs", "rows = 12", 'rows = "12"', 'rows: "12" is not a whole number'),
    "a billion rows": ("springs", "rows = 12", "rows = 1_000_000_000", "rows: 1000000000 is not a"),
    "a notch of tons": ("springs", '"20 lb"', '"9e9 N"', "It lies from 0 to 10,000 N"),
    "a cylinder of tons": ("hydraulic", '"500 lb"', '"50000 lb"', 'most: "50000 lb" cannot be'),
    "no rows": ("springs", "rows = 12", "rows = 0", "rows: 0 is not a whole number from 1 to 200."),
    "fill in percent": ("springs", "full = 1.0", "full = 100", "full: 100 is not a number from 0"),
    "fill not a number": ("springs", "full = 1.0", "full = nan", "full: nan is not a number from"),
    "fills out of order": ("springs", "full = 1.0", "full = 0.05", "refill: 0.1 is above full"),
    "deep for the disc": ("springs", '"15 in"', '"4 in"', "depth: half the disc or more"),
    "depth in millimetres": ("springs", '"2 in"', '"50 in"', "It lies from 0.2 to 5.9 in"),
    "no notches": ("springs", "notches = [", "notches = []\nx = [", "no notches. Write it like"),
    "notches not a list": ("springs", "notches = [", "notches = 3\nx = [", "3 is not a list"),
    "notch without a load": ("springs", ', load = "20 lb"', "", "notches, 1 has no load"),
    "notch a word": ("springs", '{ name = "1", load = "20 lb" }', '"1"', "is not a table"),
    "notch named twice": ("springs", 'name = "2"', 'name = "1"', '"1" is there more than once'),
    "notches out of order": ("springs", '"60 lb"', '"30 lb"', "notches: load 3 does not rise"),
    "notch negative": ("springs", '"20 lb"', '"-20 lb"', 'notches, 1, load: "-20 lb" is negative'),
    "ratio of nothing": ("springs", "light_to_heavy = 2", "light_to_heavy = 0", "a number above 0"),
    "ratio in words": ("springs", "light_to_heavy = 2", 'light_to_heavy = "2:1"', "not a number"),
    "no system": ("springs", "[system]", "[sistem]", "no system. Start it with a line [system]"),
    "system of another name": ("springs", '"springs"', '"spring"', 'Did you mean "springs"?'),
    "system not a table": ("springs", "[system]\nkind =", "system =", "is not a table"),
    "another system's key": ("springs", "positions =", "chart =", "system.chart is not a key here"),
    "no positions": ("springs", "positions = [", "positions = []\nx = [", "the list is empty"),
    "positions out of order": ("springs", '"200 lb"', '"100 lb"', "position 3 does not rise"),
    "no chart": ("set-air", "chart = [", "x = [", "system has no chart"),
    "chart of one point": ("set-air", "chart = [", 'chart = [["0 psi", "0 lb"]]\nx = [', "fewer"),
    "chart not monotone": ("set-air", '"145 lb"', '"20 lb"', "system.chart: load 3 does not rise"),
    "chart pressures fall": ("set-air", '"60 psi"', '"20 psi"', "chart: pressure 3 does not rise"),
    "chart level": ("closed-loop-air", '"145 lb"', '"24 lb"', "system.chart: load 3 does not rise"),
    "chart point halved": ("set-air", '["60 psi", "145 lb"]', '["60 psi"]', "a pressure and a"),
    "chart units turned": ("set-air", '["60 psi",', '["60 lb",', "'60 lb' is not a pressure"),
    "no drift": ("set-air", "drift_per_hour", "# drift", "system has no drift_per_hour"),
    "no time to re-trim": ("set-air", '"30 min"', '"0 min"', 'system.retrim: "0 min" is nothing'),
    "no delay": ("closed-loop-air", "delay =", "delays =", 'Did you mean "delay"?'),
    "too many sections": ("closed-loop-air", "sections = 3", "sections = 13", "more than the 12"),
    "no sensors": (
        "closed-loop-air",
        "sensors = 3",
        "sensors = 0",
        "system.sensors: 0 is not a whole",
    ),
    "no reach": ("hydraulic", "most =", "# most =", "system has no most"),
    "reach upside down": ("hydraulic", '"-100 lb"', '"600 lb"', "system.least: not below most"),
}  # fmt: skip


@pytest.mark.parametrize("fault", SPOILED)
def test_each_way_to_break_a_machine_file_is_told(fault, read):
    system, right, wrong, words = SPOILED[fault]
    text = new_machine_text(system)
    assert right in text
    with pytest.raises(MachineError) as caught:
        read(text.replace(right, wrong, 1))
    assert str(caught.value).startswith("ours.toml has ")
    assert words in str(caught.value)


def test_a_fault_is_told_once(read):
    with pytest.raises(MachineError, match=r"^ours\.toml has 1 fault:\n  unit_weight: "):
        read(new_machine_text("springs").replace('"180 lb"', '"heavy"'))


def test_every_fault_is_told_at_once(read):
    text = new_machine_text("set-air")
    for right, wrong in [
        ("rows = 12", "rows = -1"),
        ('"25 lb"', '"-25 lb"'),
        ('"145 lb"', '"20 lb"'),
        ("retrim =", "re_trim ="),
    ]:
        text = text.replace(right, wrong)
    with pytest.raises(MachineError) as caught:
        read(text)
    result = str(caught.value)
    assert result.startswith("ours.toml has 4 faults:")
    assert 'system.re_trim is not a key here. Did you mean "retrim"?' in result


def test_a_name_that_is_neither_file_nor_system():
    with pytest.raises(MachineError, match=r'"hydralic".*Did you mean "hydraulic"\?'):
        read_machine("hydralic")
    with pytest.raises(MachineError, match=r"Use springs, set-air, closed-loop-air or hydraulic"):
        read_machine("missing/ours.toml")
    with pytest.raises(MachineError, match='Did you mean "set-air"'):
        new_machine_text("setair")


def test_a_file_that_is_no_machine_file(read, tmp_path):
    with pytest.raises(MachineError, match="is not TOML"):
        read("rows = 12\nrows = 13\n")
    (tmp_path / "sheet.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(MachineError, match="is not UTF-8 text"):
        read_machine(tmp_path / "sheet.toml")
    with pytest.raises(MachineError, match="cannot be read"):
        read_machine(tmp_path)
