"""A planter read from TOML, with every fault told at once."""

import math
from importlib.resources import files
from pathlib import Path

from zoneplan.errors import MachineError, listed
from zoneplan.rowunit.machine import (
    CORN_KG_M3,
    DISC_DIAMETER_M,
    LIGHT_TO_HEAVY,
    RETRIM_S,
    SPRING_POSITIONS_N,
    SYSTEMS,
    Chart,
    Hydraulic,
    LoopedAir,
    Machine,
    Notch,
    SetAir,
    Springs,
)
from zoneplan.rowunit.reading import Table, read_toml, suggest

NOTCHES_EXAMPLE = '[{ name = "1", load = "20 lb" }, { name = "2", load = "40 lb" }]'
CHART_EXAMPLE = '[["0 psi", "0 lb"], ["30 psi", "24 lb"]]'


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
        raise MachineError(
            f'There is no downforce system called "{system}". {suggest(system, SYSTEMS)}'
        )
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
            f"{suggest(name, SYSTEMS)}"
        )
    table = Table(read_toml(path), faults=[])
    system = _read_system(table)
    machine = _read_row_unit(table, system or Springs())
    _check(table, machine)
    table.refuse_unknown()
    if table.faults:
        raise MachineError(listed(path.name, table.faults))
    return machine


def _generic(system: str) -> Path:
    return Path(str(files("zoneplan.rowunit"))) / "data" / f"{system}.toml"


def _read_row_unit(table: Table, system: Springs | SetAir | LoopedAir | Hydraulic) -> Machine:
    return Machine(
        name=table.text("name", "Our planter"),
        rows=table.whole("rows", 12),
        row_spacing_m=table.measure("row_spacing", "length"),
        speed_mps=table.measure("speed", "speed"),
        depth_m=table.measure("depth", "length"),
        unit_weight_n=table.measure("unit_weight", "force"),
        attachments_n=table.measure("attachments", "force", "0 or more"),
        hopper_m3=table.measure("hopper", "volume", "0 or more"),
        fill_full=table.number("full", 1.0, most=1),
        fill_refill=table.number("refill", 0.2, most=1),
        test_weight_kg_m3=(
            table.measure("test_weight", "density") if table.has("test_weight") else CORN_KG_M3
        ),
        notches=_read_notches(table),
        system=system,
        disc_diameter_m=(
            table.measure("disc_diameter", "length")
            if table.has("disc_diameter")
            else DISC_DIAMETER_M
        ),
        light_to_heavy=(
            table.number("light_to_heavy", 2.0) if table.has("light_to_heavy") else LIGHT_TO_HEAVY
        ),
        swing_n=table.measure("swing", "force") if table.has("swing") else None,
    )


# Past these it is a slip of the keyboard or of the unit: (least, most) in SI, and in words.
_LIMITS = {
    "speed": ("speed_mps", 0.4, 9.0, "1 to 20 mph"),
    "row_spacing": ("row_spacing_m", 0.1, 2.0, "4 to 79 in"),
    "depth": ("depth_m", 0.005, 0.15, "0.2 to 6 in"),
    "unit_weight": ("unit_weight_n", 50.0, 10_000.0, "11 to 2,250 lb"),
    "attachments": ("attachments_n", 0.0, 10_000.0, "0 to 2,250 lb"),
    "hopper": ("hopper_m3", 0.0, 1.0, "0 to 28 bu"),
}


def _check(table: Table, machine: Machine) -> None:
    for key, (name, least, most, words) in _LIMITS.items():
        value = getattr(machine, name)
        if key in table.values and not (math.isnan(value) or least <= value <= most):
            table.fault(key, f'"{table.values[key]}" cannot be. It lies from {words}.')
    if machine.fill_refill > machine.fill_full:
        table.fault(
            "refill",
            f"{machine.fill_refill:g} is above full, {machine.fill_full:g}. "
            "The hopper runs from full down to refill.",
        )
    if machine.depth_m >= machine.disc_diameter_m / 2:
        table.fault("depth", "half the disc or more. Check depth and disc_diameter.")
    if machine.light_to_heavy == 0:
        table.fault("light_to_heavy", "0 would plan every zone too light. Give more than 0.")


def _read_notches(table: Table) -> tuple[Notch, ...]:
    rows = table.many("notches", NOTCHES_EXAMPLE)
    if table.values.get("notches") == []:
        table.fault("notches", f"the table is empty. Write it like this: {NOTCHES_EXAMPLE}")
    notches = []
    for number, row in enumerate(rows, start=1):
        if not isinstance(row, dict):
            table.fault(f"notches, {number}", f"{row!r} has no name and load.")
            continue
        notch = Table(row, table.faults, f"notches, {number}, ")
        notches.append(Notch(notch.text("name", "1"), notch.measure("load", "force", "0 or more")))
        notch.refuse_unknown()
    names = [notch.name for notch in notches]
    for name in sorted({name for name in names if names.count(name) > 1}):
        table.fault("notches", f'the name "{name}" is there more than once.')
    table.rising("notches", [notch.load_n for notch in notches], "load")
    return tuple(notches)


def _read_system(table: Table) -> Springs | SetAir | LoopedAir | Hydraulic | None:
    values = table.take("system", '{ kind = "springs" }')
    if not isinstance(values, dict):
        if values is not None:
            table.fault("system", f"{values!r} is not a table. Start it with a line [system].")
        return None
    own = Table(values, table.faults, "system.")
    system: Springs | SetAir | LoopedAir | Hydraulic
    match own.choice("kind", SYSTEMS):
        case "springs":
            system = Springs(_read_positions(own) if own.has("positions") else SPRING_POSITIONS_N)
        case "set-air":
            system = SetAir(
                chart=_read_chart(own),
                retrim_s=own.measure("retrim", "time") if own.has("retrim") else RETRIM_S,
                drift_kpa_per_h=own.measure("drift_per_hour", "pressure", "0 or more"),
            )
        case "looped-air":
            system = LoopedAir(
                chart=_read_chart(own),
                sections=_up_to_rows(own, table, "sections"),
                sensors=_up_to_rows(own, table, "sensors"),
                delay_s=own.measure("delay", "time", "0 or more"),
                time_constant_s=own.measure("time_constant", "time", "0 or more"),
            )
        case "hydraulic":
            system = Hydraulic(
                least_n=own.measure("least", "force", "any"),
                most_n=own.measure("most", "force"),
                delay_s=own.measure("delay", "time", "0 or more"),
                time_constant_s=own.measure("time_constant", "time", "0 or more"),
            )
            if system.least_n >= system.most_n:
                own.fault("least", "not below most. Lift is written as a negative load.")
        case _:
            return None
    own.refuse_unknown()
    return system


def _up_to_rows(own: Table, table: Table, key: str) -> int:
    count, rows = own.whole(key, 3), table.values.get("rows")
    if isinstance(rows, int) and count > rows:
        own.fault(key, f"{count} is more than the {rows} rows.")
    return count


def _read_positions(own: Table) -> tuple[float, ...]:
    values = own.many("positions", '["0 lb", "100 lb", "200 lb", "300 lb", "400 lb"]')
    if own.values["positions"] == []:
        own.fault(
            "positions", "the list is empty. Leave the key out for steps of 100 lb up to 400."
        )
    positions = [
        own.convert(f"positions, {number}", value, "force", "0 or more")
        for number, value in enumerate(values, start=1)
    ]
    own.rising("positions", positions, "position")
    return tuple(positions)


def _read_chart(own: Table) -> Chart:
    points = []
    for number, point in enumerate(own.many("chart", CHART_EXAMPLE), start=1):
        if not isinstance(point, list) or len(point) != 2:
            own.fault(f"chart, {number}", f"{point!r} is not a pressure and a load.")
            continue
        points.append(
            (
                own.convert(f"chart, {number}", point[0], "pressure", "0 or more"),
                own.convert(f"chart, {number}", point[1], "force", "0 or more"),
            )
        )
    if isinstance(own.values.get("chart"), list) and len(points) < 2:
        own.fault("chart", f"fewer than two points. Write it like this: {CHART_EXAMPLE}")
    own.rising("chart", [kpa for kpa, _ in points], "pressure")
    own.rising("chart", [force_n for _, force_n in points], "load")
    return tuple(points)
