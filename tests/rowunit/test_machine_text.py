"""Other values in a machine file: what is not changed stays, and the planter is the one given."""

import tomllib

import pytest

from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import new_machine_text, read_content, read_machine
from zoneplan.rowunit.machine_text import OWN, with_content
from zoneplan.units import KPA_PER_PSI, M3_PER_BU, N_PER_LBF

OWNERS = {
    "name": "Ours “12”",
    "rows": 12,
    "row_spacing": "30 in",
    "unit_weight": "171.5 lb",
    "attachments": "0 lb",
    "hopper": "2 bu",
    "notches": [{"name": "1", "load": "10 lb"}, {"name": "A", "load": "70 lb"}],
}
CHART = [["0 psi", "0 lb"], ["40 psi", "60 lb"], ["90 psi", "240 lb"]]
BY_SYSTEM = {
    "springs": {"positions": ["0 lb", "90 lb", "210 lb"]},
    "set-air": {"chart": CHART},
    "closed-loop-air": {"chart": CHART},
    "hydraulic": {"least": "-50 lb", "most": "380 lb"},
}
ODD = """# From the barn.
rows = 8 # counted
row_spacing = "30 in"
name = "Odd"
speed = "5 mph"
depth = "2 in"
unit_weight = "80 kg"   # on the bathroom's scale
attachments = "0 lb"
hopper = "1.6 bu"
full = 1
refill = 0.1

[system]
kind = "hydraulic"
# Reach.
least = "-50 lb"  # lift
most = "400 lb"
delay = "0.2 s"
time_constant = "0.3 s"

[[notches]]
name = "1"
load = "10 lb"
[[notches]]
name = "2"
load = "30 lb"
[[attachment]]
name = "coulter"
reaction = "50 lb"
cuts_soil = true
"""
DOTTED = ODD.replace("[system]\n", "").replace("\nkind", "\nsystem.kind")
for _key in ("least", "most", "delay", "time_constant"):
    DOTTED = DOTTED.replace(f"\n{_key} =", f"\nsystem.{_key} =")
INLINE = 'name = "In"\nsystem = { kind = "springs", positions = ["0 lb", "9 lb"] }\nrows = 3\n'


def generic(system):
    content = tomllib.loads(new_machine_text(system))
    del content["generic"]
    return content


@pytest.mark.parametrize("system", SYSTEMS)
def test_what_was_weighed_is_what_is_planned_with(tmp_path, system):
    typical, content = read_machine(system), generic(system)
    content |= OWNERS
    content["system"] |= BY_SYSTEM[system]
    text = with_content(new_machine_text(system), content)
    path = tmp_path / "ours.toml"
    path.write_text(text, encoding="utf-8")
    machine = read_machine(path)
    assert typical.generic
    assert not machine.generic
    assert "nvented" not in text
    assert machine == read_content(content)[0]
    assert machine.name == "Ours “12”"
    # WORKED: what was given, in newtons and cubic metres
    assert machine.unit_weight_n == pytest.approx(171.5 * N_PER_LBF)
    assert machine.hopper_m3 == pytest.approx(2 * M3_PER_BU)
    assert [one.load_n / N_PER_LBF for one in machine.notches] == pytest.approx([10, 70])
    given = machine.system
    if system == "springs":
        assert [one / N_PER_LBF for one in given.positions_n] == pytest.approx([0, 90, 210])
    elif system == "hydraulic":
        assert (given.least_n, given.most_n) == pytest.approx((-50 * N_PER_LBF, 380 * N_PER_LBF))
        assert given.delay_s == typical.system.delay_s
    else:
        assert given.chart[-1] == pytest.approx((90 * KPA_PER_PSI, 240 * N_PER_LBF))


def test_what_the_owner_gave_is_called_his_though_the_generic_one_has_the_same():
    content = generic("springs")
    text = with_content(new_machine_text("springs"), content)
    assert tomllib.loads(text) == content
    (rows,) = [line for line in text.splitlines() if line.startswith("rows")]
    assert rows == f"rows = 12  # {OWN}"
    assert 'speed = "5 mph"             # extension advice' in text


@pytest.mark.parametrize("text", [ODD, DOTTED, INLINE], ids=["ODD", "DOTTED", "INLINE"])
def test_what_is_not_changed_stays_letter_for_letter(text):
    content = tomllib.loads(text)
    assert with_content(text, content) == text
    content |= {"swing": "40 lb", "rows": 9}
    changed = with_content(text, content)
    assert tomllib.loads(changed) == content
    values = [line for line in text.splitlines() if not line.startswith("rows")]
    assert [line for line in changed.splitlines() if line in values] == values


@pytest.mark.parametrize("text", [ODD, DOTTED, INLINE], ids=["ODD", "DOTTED", "INLINE"])
@pytest.mark.parametrize("system", SYSTEMS)
def test_another_system_takes_the_place_of_the_one_before(text, system):
    content = tomllib.loads(text) | {"notches": OWNERS["notches"]}
    content["system"] = generic(system)["system"] | BY_SYSTEM[system]
    content.pop("attachment", None)
    assert tomllib.loads(with_content(text, content)) == content
