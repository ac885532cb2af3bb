"""What each downforce system can hold, zone by zone, from a full hopper to refill."""

from collections.abc import Sequence

from zoneplan.rowunit.held_margin import margin_answer, section_width_m, settle_distance_m
from zoneplan.rowunit.held_setting import set_air_answer, spring_answer
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.need import Answer, FieldAnswer, Need

__all__ = [
    "Answer",
    "FieldAnswer",
    "Need",
    "answer",
    "section_width_m",
    "setting_kind",
    "setting_unit",
    "settle_distance_m",
]


def setting_kind(machine: Machine) -> str:
    """Say what is set: "spring position", "air pressure" or "margin target"."""
    kinds = {"springs": "spring position", "set-air": "air pressure"}
    return kinds.get(machine.system.kind, "margin target")


def setting_unit(machine: Machine) -> str:
    """Say what a setting is kept in: "N", or "kPa" for set air."""
    return "kPa" if isinstance(machine.system, SetAir) else "N"


def answer(machine: Machine, needs: Sequence[Need], speed_mps: float) -> FieldAnswer:
    """Work out what a machine can hold in every zone of a field, at one wetness.

    Parameters
    ----------
    machine : Machine
        The planter.
    needs : sequence of Need
        One a zone; zones without a number are left out.
    speed_mps : float
        Planned speed, which says how far a slow system lags. [m/s]

    Notes
    -----
    A surprising answer is still an answer: a negative margin means that the openers
    float, and it is returned with a warning. Nothing is read off a chart past its ends:
    such a need is told as out of reach.
    """
    if not needs:
        return FieldAnswer(best=None, answers=(), notes=())
    system = machine.system
    if isinstance(system, Springs):
        return spring_answer(machine, system, needs)
    if isinstance(system, SetAir):
        return set_air_answer(machine, system, needs)
    return margin_answer(machine, system, needs, speed_mps)
