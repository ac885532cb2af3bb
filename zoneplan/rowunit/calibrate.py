"""One weighing or hand check in the field, and what it makes of the modelled opener load."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from zoneplan import forms
from zoneplan.errors import MachineError, OutOfRangeError
from zoneplan.forms import Key, Place, Reader
from zoneplan.notices import Notice, notice
from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.chart import load_at
from zoneplan.rowunit.machine import LoopedAir, Machine, SetAir, Springs
from zoneplan.rowunit.opener import UNCERTAIN_SHARE
from zoneplan.rowunit.words import downforce, load
from zoneplan.soil.water import WETNESSES
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF

SAME_POSITION_N = 1 * N_PER_LBF


@dataclass(frozen=True)
class Observation:
    """What was found on one row unit, stopped at depth in one zone. Loads are per row."""

    zone: int
    wetness: Moisture
    fill: float  # share of the hopper, 0 to 1
    downforce_n: float  # what pressed just then: from the position, the chart or the cylinder
    margin_n: float  # found on the gauge wheels, by hand or on a scale
    closing_load_n: float  # weighed, or from the notch
    weighed: bool  # both loads on a scale; else the margin by hand and the notch's load


def read_observation(path: Path, machine: Machine) -> Observation:
    """Read one observation from TOML.

    Parameters
    ----------
    path : Path
        Keys: zone, wetness, fill, setting ("200 lb" or "30 psi"), and either `margin` with
        `notch`, or the two weighed loads `gauge` and `closing`.
    machine : Machine
        Whose positions, chart and notches the observation must fit.

    Raises
    ------
    MachineError
        Where the file has faults: all of them are told.
    """
    given = forms.toml_file(path, MachineError)
    observation: Observation = forms.checked(_form(given, machine), given, path.name, MachineError)
    return observation


def measured_opener_load_n(observation: Observation, machine: Machine) -> float:
    """Work out the opener load that an observation shows. [N].

    Source
    ------
    Derived: the force balance, solved for the opener load.
    """
    return (
        weight_n(machine, observation.fill)
        + observation.downforce_n
        - observation.closing_load_n
        - observation.margin_n
    )


def scale_from(
    observation: Observation, machine: Machine, modelled_opener_load_n: float
) -> tuple[float, Notice]:
    """Find what to multiply every modelled opener load by, and tell what was done.

    Parameters
    ----------
    observation : Observation
        What was found.
    machine : Machine
        The planter it was found on.
    modelled_opener_load_n : float
        What the model says for the same zone and wetness, standing: at no speed, as the
        row unit was stopped when it was looked at. [N, above 0]

    Raises
    ------
    OutOfRangeError
        Where what was found leaves nothing for the openers to carry.
    """
    measured_n = measured_opener_load_n(observation, machine)
    if measured_n <= 0:
        raise OutOfRangeError(
            f"The observation in zone {observation.zone} leaves {load(measured_n)} for the "
            "openers: the gauge and closing wheels carry all of the weight and downforce. An "
            "opener in soil is always pushed up: check the loads, the fill and the setting."
        )
    factor = measured_n / modelled_opener_load_n
    return factor, notice(
        "opener-loads-scaled",
        factor=factor,
        seen_zone=observation.zone,
        seen_moisture=observation.wetness,
        downforce_n=observation.downforce_n,
        fill_share=observation.fill,
        margin_n=observation.margin_n,
        weighed=observation.weighed,
        found_n=measured_n,
        modelled_n=modelled_opener_load_n,
        far_off=abs(factor - 1) > UNCERTAIN_SHARE,
    )


def _form(given: Mapping[str, Any], machine: Machine) -> Reader:
    """The form of an observation: its loads by hand or by scale, its setting of this machine."""
    load_n = forms.measure("force", zero=True)
    by_hand = {
        "margin": Key(load_n, "margin_n", '"90 lb"'),
        "notch": Key(_notch(machine), "closing_load_n", '"2"'),
    }
    on_scales = {
        "gauge": Key(load_n, "margin_n", '"100 lb"'),
        "closing": Key(load_n, "closing_load_n", '"44 lb"'),
    }
    hand, scales = ([key for key in keys if key in given] for keys in (by_hand, on_scales))

    def check(_: Any, place: Place) -> None:
        if hand and scales:
            place.fault(
                f"{', '.join(hand)} beside {', '.join(scales)}. Give margin and notch, "
                "or gauge and closing, not both."
            )

    loads = {**by_hand, **on_scales} if hand and scales else on_scales if scales else by_hand
    return forms.table(
        {
            "zone": Key(forms.whole(1), example="3"),
            "wetness": Key(forms.one_of("moisture", WETNESSES), example='"moist"'),
            "fill": Key(forms.number(0, 1), example="0.6"),
            "setting": Key(_setting(machine), "downforce_n", '"200 lb"'),
            **loads,
        },
        partial(Observation, weighed=bool(scales)),
        check,
    )


def _notch(machine: Machine) -> Reader:
    """The load at a notch of this machine, by its name."""
    loads = {notch.name: notch.load_n for notch in machine.notches}
    name_of = forms.one_of("notch", loads)

    def read(found: Any, place: Place) -> float | None:
        name = name_of(found, place)
        return None if name is None else loads[name]

    return read


def _setting(machine: Machine) -> Reader:
    """What presses at a setting that this machine has."""
    system = machine.system
    air = isinstance(system, SetAir | LoopedAir)
    measured = forms.measure("pressure" if air else "force", -forms.MOST_NUMBER, zero=True)

    def read(found: Any, place: Place) -> float | None:
        setting: float | None = measured(found, place)
        if setting is None:
            return None
        if isinstance(system, SetAir | LoopedAir):
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
