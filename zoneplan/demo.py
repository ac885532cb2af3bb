"""The demo fields that come with zoneplan: where they are, and a plan of each."""

from dataclasses import dataclass
from pathlib import Path

from zoneplan.errors import LayerError
from zoneplan.field.layer import read_layers
from zoneplan.field.outline import read_field
from zoneplan.plan.model import Plan
from zoneplan.plan.plan_field import plan_field
from zoneplan.plan.requirement import Conditions
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import read_rules

_HERE = Path(__file__).parent
_FOLDERS = (_HERE / "demo_fields", _HERE.parent / "demo_fields")  # installed; checked out


@dataclass(frozen=True)
class Demo:
    """One demo field's files."""

    name: str
    boundary: Path
    survey: Path
    machine: Path


def demo_fields() -> list[Demo]:
    """Find the demo fields.

    Raises
    ------
    LayerError
        When they were not installed with the program.
    """
    for folder in _FOLDERS:
        machines = sorted(folder.glob("*/machine.toml"))
        if machines:
            return [
                Demo(
                    machine.parent.name,
                    next(machine.parent.glob("boundary.*")),
                    machine.parent / "survey",
                    machine,
                )
                for machine in machines
            ]
    raise LayerError(
        "The demo fields are not here: looked in "
        + " and ".join(str(folder) for folder in _FOLDERS)
        + ".\nInstall zoneplan again, or run it from a checkout."
    )


def demo_field(name: str) -> Demo:
    """Find a demo field by its name."""
    return next(demo for demo in demo_fields() if demo.name == name)


def plan_demo(demo: Demo) -> Plan:
    """Plan one demo field with its own machine, stock rules, tilled ground and no residue."""
    machine = read_machine(demo.machine)
    field = read_field(demo.boundary)
    layers, _ = read_layers([demo.survey], field)
    return plan_field(
        field,
        layers,
        machine,
        read_rules(),
        Conditions("tilled", machine.speed_mps, machine.depth_m, residue_frac=0.0),
    )
