"""A planter read from TOML, with every fault told at once."""

import math
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from zoneplan.errors import MachineError, nearest
from zoneplan.forms import (
    Key,
    Place,
    by_kind,
    checked,
    either,
    like,
    many,
    measure,
    need,
    number,
    rising,
    row,
    table,
    text,
    toml_file,
    whole,
)
from zoneplan.rowunit.machine import (
    CORN_KG_M3,
    DISC_DIAMETER_M,
    RETRIM_S,
    SYSTEMS,
    Hydraulic,
    LoopedAir,
    Machine,
    Notch,
    SetAir,
    Springs,
)


def new_machine_text(system: str) -> str:
    """Give a commented machine file to start one's own from: the generic one.

    Parameters
    ----------
    system : str
        One of SYSTEMS.

    Raises
    ------
    MachineError
        For a system of another name.
    """
    if system not in SYSTEMS:
        raise MachineError(f'There is no downforce system called "{system}". {_suggest(system)}')
    return _generic(system).read_text(encoding="utf-8")


def read_machine(path_or_name: str | Path) -> Machine:
    """Read a planter from a TOML file, or a generic one by the name of its system.

    Parameters
    ----------
    path_or_name : str or Path
        A file, or one of SYSTEMS.

    Raises
    ------
    MachineError
        Where there is no such file or name, or the file has faults: all of them are told.
    """
    name, path = str(path_or_name), Path(path_or_name)
    if name in SYSTEMS:
        path = _generic(name)
    elif not path.exists():
        raise MachineError(
            f'There is no machine file "{name}", and no generic machine of that name. '
            f"{_suggest(name)}"
        )
    machine: Machine = checked(_MACHINE, toml_file(path, MachineError), path.name, MachineError)
    return machine


def _generic(system: str) -> Path:
    return Path(str(files("zoneplan.rowunit"))) / "data" / f"{system}.toml"


def _suggest(system: str) -> str:
    return nearest(system, SYSTEMS) or f"Use {either(SYSTEMS)}."


# ---- what does not go together, though each key is right ----------------------------------


def _check_machine(read: Mapping[str, Any], place: Place) -> None:
    full, refill = read.get("fill_full"), read.get("fill_refill")
    if full is not None and refill is not None and refill > full:
        place.key("refill").fault(
            f"{refill:g} is above full, {full:g}. The hopper runs from full down to refill."
        )
    depth_m, disc_m = read.get("depth_m"), read.get("disc_diameter_m", DISC_DIAMETER_M)
    if depth_m is not None and disc_m is not None and depth_m >= disc_m / 2:
        place.key("depth").fault("half the disc or more. Check depth and disc_diameter.")
    rows, system = read.get("rows"), read.get("system")
    if rows is not None and isinstance(system, LoopedAir):
        for key, count in (("sections", system.sections), ("sensors", system.sensors)):
            if count > rows:
                place.key("system").key(key).fault(f"{count} is more than the {rows} rows.")


def _check_notches(notches: Iterable[Notch | None], place: Place) -> None:
    names = [notch.name for notch in notches if notch]
    for name in sorted({name for name in names if names.count(name) > 1}):
        place.fault(f'the name "{name}" is there more than once.')
    rising((notch.load_n if notch else None for notch in notches), place, "load")


def _check_chart(chart: Iterable[tuple[float, float] | None], place: Place) -> None:
    for of, noun in enumerate(("pressure", "load")):
        rising((point and point[of] for point in chart), place, noun)


def _check_positions(positions_n: Iterable[float | None], place: Place) -> None:
    rising(positions_n, place, "position")


def _check_reach(read: Mapping[str, Any], place: Place) -> None:
    least_n, most_n = read.get("least_n"), read.get("most_n")
    if least_n is not None and most_n is not None and least_n >= most_n:
        place.key("least").fault("not below most. Lift is written as a negative load.")


# ---- the forms -----------------------------------------------------------------------------

_TIME, _LOAD = measure("time", zero=True), measure("force", zero=True)
_NOTCHES = like('notches = [{ name = "1", load = "20 lb" }, { name = "2", load = "40 lb" }]')
_EXAMPLE = 'write it like this: positions = ["0 lb", "150 lb", "300 lb"]'
_POSITIONS = f"Leave the key out for steps of 100 lb up to 400, or {_EXAMPLE}"
_POINTS = like('chart = [["0 psi", "0 lb"], ["30 psi", "24 lb"]]')
_CHART = need(
    many(
        row("a pressure and a load", measure("pressure", zero=True), _LOAD),
        _POINTS,
        least=2,
        check=_check_chart,
    ),
    _POINTS,
)
_LAGS = {
    "delay": need(_TIME, like('delay = "2 s"'), "delay_s"),
    "time_constant": need(_TIME, like('time_constant = "3 s"'), "time_constant_s"),
}
_SYSTEMS = {
    "springs": table(
        {
            "positions": Key(
                many(_LOAD, _POSITIONS, least=1, check=_check_positions), field="positions_n"
            )
        },
        Springs,
    ),
    "set-air": table(
        {
            "chart": _CHART,
            "retrim": Key(measure("time"), field="retrim_s", usual=RETRIM_S),
            "drift_per_hour": need(
                measure("pressure", zero=True), like('drift_per_hour = "2 psi"'), "drift_kpa_per_h"
            ),
        },
        SetAir,
    ),
    "looped-air": table(
        {
            "chart": _CHART,
            "sections": need(whole(1), like("sections = 3")),
            "sensors": need(whole(1), like("sensors = 3")),
            **_LAGS,
        },
        LoopedAir,
    ),
    "hydraulic": table(
        {
            "least": need(
                measure("force", -math.inf, zero=True), like('least = "-100 lb"'), "least_n"
            ),
            "most": need(measure("force"), like('most = "500 lb"'), "most_n"),
            **_LAGS,
        },
        Hydraulic,
        _check_reach,
    ),
}
_NOTCH = table(
    {"name": need(text, like('name = "1"')), "load": need(_LOAD, like('load = "20 lb"'), "load_n")},
    Notch,
)
# Past these limits it is a slip of the keyboard or of the unit.
_MACHINE = table(
    {
        "name": need(text, like('name = "Our planter"')),
        "rows": need(whole(1), like("rows = 12")),
        "row_spacing": need(
            measure("length", 0.1, 2.0, within="4 to 79 in"),
            like('row_spacing = "30 in"'),
            "row_spacing_m",
        ),
        "speed": need(
            measure("speed", 0.4, 9.0, within="1 to 20 mph"), like('speed = "5 mph"'), "speed_mps"
        ),
        "depth": need(
            measure("length", 0.005, 0.15, within="0.2 to 6 in"), like('depth = "2 in"'), "depth_m"
        ),
        "unit_weight": need(
            measure("force", 50.0, 10_000.0, within="11 to 2,250 lb"),
            like('unit_weight = "180 lb"'),
            "unit_weight_n",
        ),
        "attachments": need(
            measure("force", 0.0, 10_000.0, within="0 to 2,250 lb", zero=True),
            like('attachments = "25 lb"'),
            "attachments_n",
        ),
        "hopper": need(
            measure("volume", 0.0, 1.0, within="0 to 28 bu", zero=True),
            like('hopper = "1.6 bu"'),
            "hopper_m3",
        ),
        "full": need(number(0, 1), like("full = 1.0"), "fill_full"),
        "refill": need(number(0, 1), like("refill = 0.2"), "fill_refill"),
        "test_weight": Key(measure("density"), field="test_weight_kg_m3", usual=CORN_KG_M3),
        "notches": need(many(_NOTCH, _NOTCHES, check=_check_notches), _NOTCHES),
        "system": need(by_kind("kind", "system", _SYSTEMS), "Start it with a line [system]."),
        "disc_diameter": Key(measure("length"), field="disc_diameter_m"),
        "light_to_heavy": number(0, above=True),
        "swing": Key(measure("force"), field="swing_n"),
    },
    Machine,
    _check_machine,
)
