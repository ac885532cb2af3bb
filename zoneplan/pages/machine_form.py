"""The form for a person's own weights: what takes the place of a generic planter's."""

import tempfile
from pathlib import Path
from typing import Any

import streamlit as st

from zoneplan.errors import MachineError, ZoneplanError
from zoneplan.harmless import in_markdown
from zoneplan.pages.overview import fault
from zoneplan.pages.state import MACHINE_FILE, change, desk
from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, Machine, SetAir, Springs
from zoneplan.rowunit.machine_file import new_machine_text, read_machine
from zoneplan.rowunit.own_weights import OwnWeights, with_weights
from zoneplan.sources import File, Upload, safe
from zoneplan.units import to

_FORM = "own-weights "
_NAME = "My planter"
HOW = (
    "Lift one row unit clear of the ground, seed box empty, and weigh it: planter raised on its "
    "safety stops, engine off, key out, pressure relieved. The machine's manual comes first."
)


def own_weights(machine: File | str) -> None:
    """Ask for a person's own weights; those of a planter that is not generic are filled in."""
    try:
        text = _text(machine)
        known = _read(text)
    except (ZoneplanError, OSError, ValueError):
        return  # the plan itself tells what is wrong with the file
    form = f"{_FORM}{hash(text):x} "
    with st.expander("Your own weights"):
        st.html(f"<p class='zp-change'>{HOW}</p>")
        for key, (label, value) in _boxes(known).items():
            filled = None if known.generic else value
            st.session_state.setdefault(form + key, filled if filled is not None else "")
            st.text_input(in_markdown(label), key=form + key, placeholder=value)
        if message := st.session_state.get(form + "fault"):
            st.html(fault(message))
        st.button("Plan with these weights", key="own-weights", on_click=_use, args=(form, text))


def _boxes(machine: Machine) -> dict[str, tuple[str, str]]:
    """Every box: its label, and what the machine has now."""
    boxes = {
        "name": ("Name", _NAME if machine.generic else machine.name),
        "unit": ("Row unit, hopper empty, lb", _lb(machine.unit_weight_n)),
        "attachments": ("Attachments on it, lb", _lb(machine.attachments_n)),
        "hopper": ("Seed in a full hopper, bu", f"{to(machine.hopper_m3, 'bu', 'volume'):.3g}"),
        "notches": (
            f"Closing wheels at notches {', '.join(notch.name for notch in machine.notches)}, lb",
            ", ".join(_lb(notch.load_n) for notch in machine.notches),
        ),
    }
    system = machine.system
    if isinstance(system, Springs):
        loads = ", ".join(_lb(load_n) for load_n in system.positions_n)
        boxes["system"] = ("Downforce at each spring position, lb", loads)
    elif isinstance(system, SetAir | ClosedLoopAir):
        points = (
            f"{to(kpa, 'psi', 'pressure'):.3g}: {_lb(load_n)}" for kpa, load_n in system.chart
        )
        boxes["system"] = ("Downforce at pressures, psi: lb", ", ".join(points))
    else:
        loads = f"{_lb(system.least_n)}, {_lb(system.most_n)}"
        boxes["system"] = ("Least and most downforce, lb (lift is negative)", loads)
    return boxes


def _use(form: str, text: str) -> None:
    """Put what was typed into the machine file, and plan with it."""
    known = _read(text)
    entries = {key: str(st.session_state[form + key]).strip() for key in _boxes(known)}
    labels = {key: label for key, (label, _) in _boxes(known).items()}
    missing = [labels[key] for key, value in entries.items() if not value]
    if missing:
        st.session_state[form + "fault"] = (
            f"Still to give: {'; '.join(missing)}.\n"
            "What is not given would stay invented, and the plan could not say so."
        )
        return
    try:
        new_text = with_weights(text, _weights(known, entries, labels))
        _read(new_text)
    except MachineError as error:
        st.session_state[form + "fault"] = str(error)
        return
    for key in [name for name in st.session_state if str(name).startswith(_FORM)]:
        del st.session_state[key]
    weighed = Upload(f"{safe(entries['name']) or 'planter'}.toml", new_text.encode())
    if desk().now is not None:
        change(machine=weighed)
    else:  # there is no field yet
        desk().files["machine"] = (weighed,)
        desk().fresh += 1
        st.session_state["machine"] = MACHINE_FILE


def _weights(machine: Machine, entries: dict[str, str], labels: dict[str, str]) -> OwnWeights:
    def numbers(key: str, count: int | None = None) -> list[float]:
        try:
            values = [float(text.strip().removesuffix("lb")) for text in entries[key].split(",")]
        except ValueError:
            values = []
        if not values or count not in (None, len(values)):
            wanted = {None: "a row of numbers", 1: "a number"}.get(count, f"{count} numbers")
            raise MachineError(
                f"{labels[key]}: {entries[key]!r} is not {wanted}.\n"
                "Write numbers, with a comma between two: 20, 40, 60."
            )
        return values

    system: dict[str, Any] = {}
    if isinstance(machine.system, Springs):
        system["positions_lb"] = numbers("system")
    elif isinstance(machine.system, Hydraulic):
        system["reach_lb"] = tuple(numbers("system", 2))
    else:
        system["chart"] = _points(entries["system"], labels["system"])
    return OwnWeights(
        name=entries["name"],
        unit_weight_lb=numbers("unit", 1)[0],
        attachments_lb=numbers("attachments", 1)[0],
        hopper_bu=numbers("hopper", 1)[0],
        notches_lb=numbers("notches", len(machine.notches)),
        **system,
    )


def _points(line: str, label: str) -> list[tuple[float, float]]:
    """Take the points of a chart, as in "30: 24, 60: 145"."""
    try:
        pairs = [point.split(":") for point in line.split(",")]
        return [(float(psi), float(load_lb)) for psi, load_lb in pairs]
    except ValueError:
        raise MachineError(
            f"{label}: {line!r} is no chart.\n"
            "Write each pressure, a colon and the load: 0: 0, 30: 24, 60: 145."
        ) from None


def _text(machine: File | str) -> str:
    if isinstance(machine, str):
        return new_machine_text(machine)
    content = machine.content if isinstance(machine, Upload) else machine.read_bytes()
    return content.decode("utf-8-sig")


def _read(text: str) -> Machine:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "machine.toml"
        path.write_text(text, "utf-8")
        return read_machine(path)


def _lb(load_n: float) -> str:
    return f"{round(to(load_n, 'lb', 'force'), 1):g}"
