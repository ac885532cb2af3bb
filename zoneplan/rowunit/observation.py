"""What was found by hand on one row unit, stopped at depth: loads, or how a gauge wheel turns."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from zoneplan import forms
from zoneplan.errors import MachineError, OutOfRangeError, listed
from zoneplan.forms import Key, Place, Reader
from zoneplan.plain_file import toml_file
from zoneplan.rowunit.balance import load_at, weight_n
from zoneplan.rowunit.hand_checks import Feel
from zoneplan.rowunit.machine import ClosedLoopAir, Machine, SetAir, Springs
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF, downforce, load

SAME_POSITION_N = 1 * N_PER_LBF
FEELS = {"free": Feel.FREE, "firm": Feel.FIRM, "stuck": Feel.STUCK}


@dataclass(frozen=True)
class Observation:
    """What was found on one row unit, stopped at depth in one zone. Loads are per row."""

    zone: int
    moisture: Moisture
    fill: float  # share of the hopper, 0 to 1
    closing_load_n: float  # weighed, or from the notch
    # What pressed just then: from the position, the chart or the cylinder. None with answers.
    downforce_n: float | None = None
    margin_n: float | None = None  # found on the gauge wheels, by hand or on a scale
    weighed: bool = False  # both loads on a scale; else the margin by hand and the notch's load
    spots: int = 1  # that it is the mean of
    answers: tuple[tuple[float, Feel], ...] = ()  # downforce, and how the wheel turned then

    def opener_load_n(self, machine: Machine) -> float:
        """Opener load that the loads show: the force balance, solved for it. [N]."""
        assert self.margin_n is not None
        assert self.downforce_n is not None
        return self._resting_n(machine, self.downforce_n) - self.margin_n

    def resting_answers(self, machine: Machine) -> tuple[tuple[float, Feel], ...]:
        """What opener and gauge wheels shared at each answer, and the answer. [N]."""
        return tuple(
            (self._resting_n(machine, downforce_n), feel) for downforce_n, feel in self.answers
        )

    def _resting_n(self, machine: Machine, downforce_n: float) -> float:
        return weight_n(machine, self.fill) + downforce_n - self.closing_load_n


def read_observations(path: Path, machine: Machine) -> tuple[Observation, ...]:
    """Read hand checks from TOML.

    Parameters
    ----------
    path : Path
        One `[[check]]` for each spot, or the keys of a single one. Keys: zone, moisture, fill,
        and either loads (setting with `margin` and `notch`, or with the two weighed loads
        `gauge` and `closing`; `spots` where it is a mean) or answers: `notch`, and `answers`
        as a list of a setting with "free", "firm" or "stuck".
    machine : Machine
        Whose positions, chart and notches the checks must fit.

    Raises
    ------
    MachineError
        Where the file has faults: all of them are told.
    """
    document = toml_file(path, MachineError)
    rows = document["check"] if set(document) == {"check"} else [document]
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise MachineError(
            f"{path.name}: check is no list of tables. Write two brackets each time: [[check]]."
        )
    observations = []
    faults: list[str] = []
    for number, row in enumerate(map(_renamed, rows), start=1):
        place = Place(faults).called(f"check {number}") if len(rows) > 1 else Place(faults)
        observations.append(_form(row, machine)(row, place))
    if faults:
        raise MachineError(listed(path.name, faults))
    return tuple(observations)


def _renamed(row: Mapping[str, Any]) -> dict[str, Any]:
    """Read the word of older releases for the moisture."""
    return {"moisture" if key == "wetness" else key: value for key, value in row.items()}


def _form(given: Mapping[str, Any], machine: Machine) -> Reader:
    """The form of a check: its loads by hand or by scale, or answers."""
    load_n = forms.measure("force", zero=True)
    by_hand = {
        "margin": Key(load_n, "margin_n", '"90 lb"'),
        "notch": Key(_notch(machine), "closing_load_n", '"2"'),
    }
    on_scales = {
        "gauge": Key(load_n, "margin_n", '"100 lb"'),
        "closing": Key(load_n, "closing_load_n", '"44 lb"'),
    }
    answered = {
        "answers": Key(
            forms.many(_answer(machine), 1), example='[["20 psi", "free"], ["30 psi", "firm"]]'
        ),
        "notch": by_hand["notch"],
    }
    hand, scales = ([key for key in keys if key in given] for keys in (by_hand, on_scales))

    def check(_: Any, place: Place) -> None:
        if hand and scales:
            place.fault(
                f"{', '.join(hand)} beside {', '.join(scales)}. Give margin and notch, "
                "or gauge and closing, not both."
            )

    where = {
        "zone": Key(forms.whole(1), example="3"),
        "moisture": Key(forms.one_of("moisture", tuple(Moisture)), example='"moist"'),
        "fill": Key(forms.number(0, 1), example="0.6"),
    }
    if "answers" in given:
        return forms.table({**where, **answered}, _observed)
    loads = {**by_hand, **on_scales} if hand and scales else on_scales if scales else by_hand
    setting = {
        "setting": Key(_setting(machine), "downforce_n", '"200 lb"'),
        "spots": Key(forms.whole(1), usual=1),
    }

    def made(**read: Any) -> Observation:
        return _observed(**read, weighed=bool(scales))

    return forms.table({**where, **setting, **loads}, made, check)


def _observed(*, moisture: str, **read: Any) -> Observation:
    return Observation(moisture=Moisture(moisture), **read)


def _answer(machine: Machine) -> Reader:
    """A setting of this machine, and how the wheel turned at it."""
    setting, feel = _setting(machine), forms.one_of("answer", tuple(FEELS))
    pair = forms.row("a setting and an answer", setting, feel)

    def read(value: Any, place: Place) -> tuple[float, Feel] | None:
        answer = pair(value, place)
        return None if answer is None or None in answer else (answer[0], FEELS[answer[1]])

    return read


def _notch(machine: Machine) -> Reader:
    """The load at a notch of this machine, by its name."""
    loads = {notch.name: notch.load_n for notch in machine.notches}
    name_of = forms.one_of("notch", loads)

    def read(value: Any, place: Place) -> float | None:
        name = name_of(value, place)
        return None if name is None else loads[name]

    return read


def _setting(machine: Machine) -> Reader:
    """What presses at a setting that this machine has."""
    system = machine.system
    air = isinstance(system, SetAir | ClosedLoopAir)
    measured = forms.measure("pressure" if air else "force", -forms.MOST_NUMBER, zero=True)

    def read(value: Any, place: Place) -> float | None:
        setting: float | None = measured(value, place)
        if setting is None:
            return None
        if isinstance(system, SetAir | ClosedLoopAir):
            try:
                return load_at(system.chart, setting)
            except OutOfRangeError as error:
                place.fault(str(error))
        elif isinstance(system, Springs):
            if min(abs(setting - each_n) for each_n in system.positions_n) > SAME_POSITION_N:
                positions = ", ".join(load(each_n) for each_n in system.positions_n)
                place.fault(f"{load(setting)} is no spring position. Use {positions}.")
        elif not system.least_n <= setting <= system.most_n:
            reach = f"{downforce(system.least_n)} to {downforce(system.most_n)}"
            place.fault(f"{downforce(setting)} is out of the machine's reach, {reach}.")
        return setting

    return read
