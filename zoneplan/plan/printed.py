"""What a plan prints for each zone, as a key: zones with the same key are one treatment."""

from collections.abc import Hashable, Mapping, Sequence

from zoneplan.plan.model import Instruction, NoNumbers, Setting
from zoneplan.terms import Moisture, SettingKind
from zoneplan.units import N_PER_LBF

_STEP_N = 5 * N_PER_LBF  # loads are printed to 5 lb


def print_keys(
    settled: Mapping[Moisture, Sequence[Instruction]], kind: SettingKind
) -> list[Hashable]:
    """What would be printed for each zone at all moistures.

    Where one setting serves the field it is whether that is too light, right or too heavy.

    Parameters
    ----------
    settled : mapping
        What every zone is told, at each moisture.
    kind : SettingKind
        What is set on the machine.
    """
    one_setting = kind is not SettingKind.MARGIN_TARGET
    return [
        tuple(_key(instruction, one_setting) for instruction in zone)
        for zone in zip(*settled.values(), strict=True)
    ]


def _key(instruction: Instruction, one_setting: bool) -> Hashable:
    if isinstance(instruction, NoNumbers):
        return instruction.ground
    if not isinstance(instruction, Setting):
        return "wait"
    if one_setting:
        left_n = (instruction.margin_full_n + instruction.margin_refill_n) / 2
        light, heavy = left_n < instruction.margin_least_n, left_n > instruction.margin_most_n
        return (
            round(instruction.setting),
            instruction.closing_notch,
            light,
            heavy,
            instruction.state,
        )
    loads_n = (instruction.margin_n, instruction.margin_least_n, instruction.margin_most_n)
    return (
        *(round(load_n / _STEP_N) for load_n in loads_n),
        instruction.closing_notch,
        instruction.state,
    )
