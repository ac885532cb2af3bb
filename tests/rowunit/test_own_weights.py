"""A person's own weights in a machine file."""

import pytest

from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import new_machine_text, read_machine
from zoneplan.rowunit.own_weights import OwnWeights, with_weights
from zoneplan.units import KPA_PER_PSI, M3_PER_BU, N_PER_LBF

OWN = {"unit_weight_lb": 171.5, "attachments_lb": 0, "hopper_bu": 2, "notches_lb": (10, 25, 45, 70)}
BY_SYSTEM = {
    "springs": {"positions_lb": (0, 90, 210)},
    "set-air": {"chart": ((0, 0), (40, 60), (90, 240))},
    "closed-loop-air": {"chart": ((0, 0), (40, 60), (90, 240))},
    "hydraulic": {"reach_lb": (-50, 380)},
}


def read(tmp_path, text):
    path = tmp_path / "machine.toml"
    path.write_text(text)
    return read_machine(path)


@pytest.mark.parametrize("system", SYSTEMS)
def test_what_was_weighed_is_what_is_planned_with(tmp_path, system):
    generic = read_machine(system)
    own = OwnWeights("Ours “12”", **OWN, **BY_SYSTEM[system])
    text = with_weights(new_machine_text(system), own)
    machine = read(tmp_path, text)
    assert generic.generic
    assert not machine.generic
    assert "nvented" not in text
    assert machine.name == "Ours “12”"
    # WORKED: what was given, in newtons and cubic metres
    assert machine.unit_weight_n == pytest.approx(171.5 * N_PER_LBF)
    assert machine.attachments_n == 0
    assert machine.hopper_m3 == pytest.approx(2 * M3_PER_BU)
    assert [it.load_n / N_PER_LBF for it in machine.notches] == pytest.approx([10, 25, 45, 70])
    assert [it.name for it in machine.notches] == [it.name for it in generic.notches]
    given = machine.system
    if system == "springs":
        assert [it / N_PER_LBF for it in given.positions_n] == pytest.approx([0, 90, 210])
    elif system == "hydraulic":
        assert (given.least_n, given.most_n) == pytest.approx((-50 * N_PER_LBF, 380 * N_PER_LBF))
        assert given.delay_s == generic.system.delay_s
    else:
        last = (90 * KPA_PER_PSI, 240 * N_PER_LBF)
        assert given.chart[-1] == pytest.approx(last)
        assert len(given.chart) == 3
    assert (machine.rows, machine.speed_mps) == (generic.rows, generic.speed_mps)


def test_a_file_that_was_weighed_before_keeps_its_head(tmp_path):
    own = OwnWeights("Ours", **OWN, positions_lb=(0, 90))
    first = "# From the barn.\n" + with_weights(new_machine_text("springs"), own)
    again = with_weights(first, OwnWeights("Ours", **OWN, positions_lb=(0, 100)))
    assert again.startswith("# From the barn.\n")
    assert read(tmp_path, again).system.positions_n[-1] == pytest.approx(100 * N_PER_LBF)
