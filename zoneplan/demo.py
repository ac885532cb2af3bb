"""The demo fields that come with zoneplan: where they are, and a plan of each."""

from dataclasses import dataclass
from pathlib import Path

from zoneplan.errors import LayerError
from zoneplan.plan.model import Plan
from zoneplan.request import Request
from zoneplan.run import run
from zoneplan.sources import Sources

_HERE = Path(__file__).parent
_FOLDERS = (_HERE / "demo_fields", _HERE.parent / "demo_fields")  # installed; checked out


@dataclass(frozen=True)
class Demo:
    """One demo field's files."""

    name: str
    boundary: Path
    survey: Path
    machine: Path

    @property
    def sources(self) -> Sources:
        """Its files by role."""
        return Sources(machine=self.machine, boundary=self.boundary, soils=(self.survey,))


def demo_folder() -> Path:
    """Where all that is invented lies.

    Raises
    ------
    LayerError
        When it was not installed with the program.
    """
    for folder in _FOLDERS:
        if any(folder.glob("*/machine.toml")):
            return folder
    raise LayerError(
        "The demo fields are not here: looked in "
        + " and ".join(str(folder) for folder in _FOLDERS)
        + ".\nInstall zoneplan again, or run it from a checkout."
    )


def demo_fields() -> list[Demo]:
    """Find the demo fields.

    Raises
    ------
    LayerError
        When they were not installed with the program.
    """
    return [
        Demo(
            machine.parent.name,
            next(machine.parent.glob("boundary.*")),
            machine.parent / "survey",
            machine,
        )
        for machine in sorted(demo_folder().glob("*/machine.toml"))
    ]


def demo_field(name: str) -> Demo:
    """Find a demo field by its name."""
    return next(demo for demo in demo_fields() if demo.name == name)


def plan_demo(demo: Demo) -> Plan:
    """Plan one demo field with its own machine, stock rules, tilled ground and no residue."""
    return run(Request(), demo.sources).plan
