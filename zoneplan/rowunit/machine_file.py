"""A planter read from TOML, with every fault told at once."""

from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from zoneplan import forms
from zoneplan.errors import MachineError, either, nearest
from zoneplan.forms import Key, Place
from zoneplan.plain_file import exists, toml_file
from zoneplan.rowunit.machine import (
    CORN_KG_M3,
    DISC_DIAMETER_M,
    RETRIM_S,
    SPRING_POSITIONS_N,
    SYSTEMS,
    Attachment,
    ClosedLoopAir,
    Hydraulic,
    Machine,
    Notch,
    SetAir,
    Springs,
)
from zoneplan.terms import ClosingWheel, System, Tillage


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
    if name in OLD_NAMES:
        name = OLD_NAMES[name]
    if name in SYSTEMS:
        path = _generic(name)
    elif not exists(path):
        raise MachineError(
            f'There is no machine file "{name}", and no generic machine of that name. '
            f"{_suggest(name)}"
        )
    machine: Machine = forms.checked(
        _MACHINE, toml_file(path, MachineError), path.name, MachineError
    )
    return machine


def read_content(content: Mapping[str, Any]) -> tuple[Machine | None, tuple[forms.Fault, ...]]:
    """Read a planter from what a machine file says, with each fault at its place.

    Parameters
    ----------
    content : mapping
        Keys and values as TOML has them.

    Returns
    -------
    Machine or None
        None where there are faults.
    tuple of Fault
        All of them.
    """
    faults: list[str] = []
    machine: Machine | None = _MACHINE(content, Place(faults))
    return machine, tuple(fault for fault in faults if isinstance(fault, forms.Fault))


OLD_NAMES = {"looped-air": System.CLOSED_LOOP_AIR}  # files of older releases are read


def _generic(system: str) -> Path:
    return Path(str(files("zoneplan.rowunit"))) / "data" / f"{system}.toml"


def _suggest(system: str) -> str:
    return nearest(system, SYSTEMS) or f"Use {either(SYSTEMS)}."


MOST_ROWS = 200  # judged: the widest planters have a third of that


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
    if rows is not None and isinstance(system, ClosedLoopAir):
        for key, count in (("sections", system.sections), ("sensors", system.sensors)):
            if count > rows:
                place.key("system").key(key).fault(f"{count} is more than the {rows} rows.")


def _check_notches(notches: Iterable[Notch | None], place: Place) -> None:
    notches = [*notches]
    names = [notch and notch.name for notch in notches]
    for name in sorted({name for name in names if name and names.count(name) > 1}):
        again = len(names) - 1 - names[::-1].index(name)
        place.fault(f'the name "{name}" is there more than once.', again, "name")
    forms.rising((notch.load_n if notch else None for notch in notches), place, "load", "load")


def _check_chart(chart: Iterable[tuple[float, float] | None], place: Place) -> None:
    for of, noun in enumerate(("pressure", "load")):
        forms.rising((point and point[of] for point in chart), place, noun, of)


def _check_positions(positions_n: Iterable[float | None], place: Place) -> None:
    forms.rising(positions_n, place, "position")


def _check_reach(read: Mapping[str, Any], place: Place) -> None:
    least_n, most_n = read.get("least_n"), read.get("most_n")
    if least_n is not None and most_n is not None and least_n >= most_n:
        place.key("least").fault("not below most. Lift is written as a negative load.")


# ---- the forms: past a limit it is a slip of the keyboard or of the unit -------------------

_MOST_N = 10_000.0  # judged: several times what a row unit weighs
_LOAD = forms.measure("force", 0.0, _MOST_N, zero=True)
_LIFT = forms.measure("force", -_MOST_N, _MOST_N, zero=True)
_TIME = forms.measure("time", 0.0, 600.0, zero=True)
_PRESSURE = forms.measure("pressure", 0.0, 2_000.0, zero=True)
_POINT = forms.row("a pressure and a load", _PRESSURE, _LOAD)
_CHART = Key(
    forms.many(_POINT, 2, _check_chart), example='[["0 psi", "0 lb"], ["30 psi", "24 lb"]]'
)
_LAGS = {
    "delay": Key(_TIME, "delay_s", '"2 s"'),
    "time_constant": Key(_TIME, "time_constant_s", '"3 s"'),
}
_SPRINGS = {
    "positions": Key(
        forms.many(_LOAD, 1, _check_positions),
        "positions_n",
        ask='Leave the key out for steps of 100 lb up to 400, or write ["0 lb", "150 lb"].',
        usual=SPRING_POSITIONS_N,
    )
}
_RETRIM = forms.measure("time", 0.0, 86_400.0)
_SET_AIR = {
    "chart": _CHART,
    "retrim": Key(_RETRIM, "retrim_s", usual=RETRIM_S),
    "drift_per_hour": Key(_PRESSURE, "drift_kpa_per_h", '"2 psi"'),
}
_CLOSED_LOOP_AIR = {
    "chart": _CHART,
    "sections": Key(forms.whole(1), example="3"),
    "sensors": Key(forms.whole(1), example="3"),
    **_LAGS,
}
_HYDRAULIC = {
    "least": Key(_LIFT, "least_n", '"-100 lb"'),
    "most": Key(forms.measure("force", 0.0, _MOST_N), "most_n", '"500 lb"'),
    **_LAGS,
}
SYSTEM_KEYS: Mapping[System, Mapping[str, Key]] = {  # what is told of each system
    System.SPRINGS: _SPRINGS,
    System.SET_AIR: _SET_AIR,
    System.CLOSED_LOOP_AIR: _CLOSED_LOOP_AIR,
    System.HYDRAULIC: _HYDRAULIC,
}
_SYSTEMS = {
    "springs": forms.table(_SPRINGS, Springs),
    "set-air": forms.table(_SET_AIR, SetAir),
    "closed-loop-air": forms.table(_CLOSED_LOOP_AIR, ClosedLoopAir),
    "looped-air": forms.table(_CLOSED_LOOP_AIR, ClosedLoopAir),  # its old name
    "hydraulic": forms.table(_HYDRAULIC, Hydraulic, _check_reach),
}
_NOTCH = {"name": Key(forms.text, example='"1"'), "load": Key(_LOAD, "load_n", '"20 lb"')}
_NOTCHES = '[{ name = "1", load = "20 lb" }, { name = "2", load = "40 lb" }]'
_SPACING = forms.measure("length", 0.1, 2.0)
_SPEED = forms.measure("speed", 0.4, 9.0)
_DEPTH = forms.measure("length", 0.005, 0.15)
_WEIGHT = forms.measure("force", 50.0, 10_000.0)
_TEST_WEIGHT = forms.measure("density", 200.0, 2_000.0)
_DISC = forms.measure("length", 0.1, 1.5)
_HOPPER = forms.measure("volume", 0.0, 1.0, zero=True)
_ATTACHMENT = {
    "name": Key(forms.text, example='"coulter"'),
    "reaction": Key(_LOAD, "reaction_n", '"50 lb"'),
    "cuts_soil": Key(forms.flag, example="true"),
}
LISTS: Mapping[str, Mapping[Any, Key] | Key] = {  # and what each item of them is, or has
    "notches": _NOTCH,
    "attachment": _ATTACHMENT,
    "chart": {0: Key(_PRESSURE), 1: Key(_LOAD)},
    "positions": Key(_LOAD),
}
KEYS: Mapping[str, Key | forms.Reader] = {  # what is told of every planter
    "name": Key(forms.text, example='"Our planter"'),
    "rows": Key(forms.whole(1, MOST_ROWS), example="12"),
    "row_spacing": Key(_SPACING, "row_spacing_m", '"30 in"'),
    "speed": Key(_SPEED, "speed_mps", '"5 mph"'),
    "depth": Key(_DEPTH, "depth_m", '"2 in"'),
    "unit_weight": Key(_WEIGHT, "unit_weight_n", '"180 lb"'),
    "attachments": Key(_LOAD, "attachments_n", '"25 lb"'),
    "hopper": Key(_HOPPER, "hopper_m3", '"1.6 bu"'),
    "full": Key(forms.number(0, 1), "fill_full", "1.0"),
    "refill": Key(forms.number(0, 1), "fill_refill", "0.2"),
    "test_weight": Key(_TEST_WEIGHT, "test_weight_kg_m3", usual=CORN_KG_M3),
    "notches": Key(forms.many(forms.table(_NOTCH, Notch), check=_check_notches), example=_NOTCHES),
    "system": Key(forms.by_kind("kind", "system", _SYSTEMS), ask="Start it with a line [system]."),
    "disc_diameter": Key(_DISC, "disc_diameter_m"),
    "light_to_heavy": forms.number(0, above=True),
    "swing": Key(forms.measure("force", 0.0, _MOST_N), "swing_n"),
    "swing_tillage": forms.one_of("tillage", tuple(Tillage)),
    "closing_wheel": forms.one_of("kind of closing wheel", tuple(ClosingWheel)),
    "attachment": Key(
        forms.many(forms.table(_ATTACHMENT, Attachment)), "attachment_reactions", usual=()
    ),
    "generic": forms.flag,
}
NO_GENERIC_HAS = (  # what differs from planter to planter, and is asked of its owner
    *("name", "rows", "row_spacing", "unit_weight", "attachments", "hopper", "notches"),
    *("positions", "chart", "least", "most"),  # of the system
)
_MACHINE = forms.table(KEYS, Machine, _check_machine)
