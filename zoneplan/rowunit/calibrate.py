"""One weighing or hand check in the field, and what it makes of the modelled opener load."""

import math
from dataclasses import dataclass
from pathlib import Path

from zoneplan.errors import MachineError, OutOfRangeError, listed
from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.chart import load_at
from zoneplan.rowunit.machine import LoopedAir, Machine, SetAir, Springs
from zoneplan.rowunit.opener import UNCERTAIN_SHARE
from zoneplan.rowunit.reading import Table, read_toml
from zoneplan.rowunit.words import downforce, load
from zoneplan.soil.water import WETNESSES
from zoneplan.units import N_PER_LBF, percent

SAME_POSITION_N = 1 * N_PER_LBF


@dataclass(frozen=True)
class Observation:
    """What was found on one row unit, stopped at depth in one zone. Loads are per row."""

    zone: int
    wetness: str
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
    table = Table(read_toml(path), faults=[])
    margin_n, closing_load_n, weighed = _read_loads(table, machine)
    observation = Observation(
        zone=table.whole("zone", 3),
        wetness=table.choice("wetness", WETNESSES),
        fill=table.number("fill", 0.6, most=1),
        downforce_n=_read_downforce(table, machine),
        margin_n=margin_n,
        closing_load_n=closing_load_n,
        weighed=weighed,
    )
    table.refuse_unknown()
    if table.faults:
        raise MachineError(listed(path.name, table.faults))
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
) -> tuple[float, str]:
    """Find what to multiply every modelled opener load by, and say what was done.

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
    how = (
        "gauge and closing wheels weighed"
        if observation.weighed
        else "margin found by hand, closing load from the notch"
    )
    words = (
        f"Opener loads are multiplied by {factor:.2f}: in zone {observation.zone}, "
        f"{observation.wetness}, {downforce(observation.downforce_n)} and a hopper "
        f"{percent(observation.fill)} full left {load(observation.margin_n)} on the gauge wheels "
        f"({how}), so the openers carried {load(measured_n)} where the model said "
        f"{load(modelled_opener_load_n)}."
    )
    if abs(factor - 1) > UNCERTAIN_SHARE:
        words += " That is further off than the model should be: look at it a second time."
    return factor, words


def _read_loads(table: Table, machine: Machine) -> tuple[float, float, bool]:
    by_hand = [key for key in ("margin", "notch") if table.has(key)]
    weighed = [key for key in ("gauge", "closing") if table.has(key)]
    if by_hand and weighed:
        table.fault(
            "margin",
            f"{', '.join(by_hand)} beside {', '.join(weighed)}. Give margin and notch, "
            "or gauge and closing, not both.",
        )
    if weighed:
        gauge_n = table.measure("gauge", "force", "0 or more")
        return gauge_n, table.measure("closing", "force", "0 or more"), True
    margin_n = table.measure("margin", "force", "0 or more")
    loads = {notch.name: notch.load_n for notch in machine.notches}
    return margin_n, loads.get(table.choice("notch", loads), 0.0), False


def _read_downforce(table: Table, machine: Machine) -> float:
    system = machine.system
    air = isinstance(system, SetAir | LoopedAir)
    setting = table.measure("setting", "pressure" if air else "force", "any")
    if math.isnan(setting):
        return setting
    if isinstance(system, SetAir | LoopedAir):
        try:
            return load_at(system.chart, setting)
        except OutOfRangeError as error:
            table.fault("setting", str(error))
    elif isinstance(system, Springs):
        if min(abs(setting - each_n) for each_n in system.positions_n) > SAME_POSITION_N:
            positions = ", ".join(load(each_n) for each_n in system.positions_n)
            table.fault("setting", f"{load(setting)} is no spring position. Use {positions}.")
    elif not system.least_n <= setting <= system.most_n:
        reach = f"{downforce(system.least_n)} to {downforce(system.most_n)}"
        table.fault("setting", f"{downforce(setting)} is out of the machine's reach, {reach}.")
    return setting
