"""What the pages share: what was asked for, and the plan that answers it."""

from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import streamlit as st

from zoneplan.demo import Demo, demo_fields
from zoneplan.export.bundle import MAKERS
from zoneplan.field.layer import NOTHING_TOLD, Told, read_layers
from zoneplan.field.outline import read_field
from zoneplan.prescription import Conditions, Plan, plan_field
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import read_rules
from zoneplan.units import M_PER_IN, MPS_PER_MPH

OWN_MACHINE = "this field's own planter"  # as a demo field has one
_MOST_LETTERS = 60  # of a file's name; four bytes each still fit any disk


@dataclass(frozen=True)
class Upload:
    """One file as a browser sent it."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Ground:
    """A field of one's own: its files, and what they leave open."""

    boundary: Upload
    soils: tuple[Upload, ...]  # where two overlap, the first wins
    pick: str | None = None  # which feature of the boundary
    crs: str | None = None  # of files that do not state one
    columns: tuple[tuple[str, str], ...] = ()  # ("clay", "CLAY_PCT") where not found by name


@dataclass(frozen=True)
class Asked:
    """Everything a plan depends on; equal questions have equal answers."""

    ground: Ground | str  # or a demo field's name
    machine: Upload | str  # or a generic machine's name, or OWN_MACHINE
    tillage: str
    speed_mph: float | None  # None: the machine's
    depth_in: float | None
    residue_pct: float


def plan_asked(asked: Asked) -> Plan:
    """Plan the field that was asked for.

    Raises
    ------
    ZoneplanError
        Anything the user can put right.
    """
    with TemporaryDirectory(prefix="zoneplan-") as scratch:
        folder = Path(scratch)
        machine = read_machine(_machine(asked, folder))
        if isinstance(asked.ground, Ground):
            ground = asked.ground
            told = Told(crs=ground.crs, columns=dict(ground.columns))
            boundary = save(ground.boundary, folder / "boundary")
            field = read_field(boundary, pick=ground.pick, crs=ground.crs)
            soils = [
                save(soil, folder / f"soil-{number}") for number, soil in enumerate(ground.soils)
            ]
        else:
            demo, told = _demo(asked.ground), NOTHING_TOLD
            field = read_field(demo.boundary)
            soils = [demo.survey]
        layers, marks = read_layers(soils, field, told)
        conditions = Conditions(
            tillage=asked.tillage,
            speed_mps=machine.speed_mps
            if asked.speed_mph is None
            else asked.speed_mph * MPS_PER_MPH,
            depth_m=machine.depth_m if asked.depth_in is None else asked.depth_in * M_PER_IN,
            residue_frac=asked.residue_pct / 100,
        )
        return plan_field(field, layers, machine, read_rules(), conditions, marks=marks)


def make_files(asked: Asked) -> dict[str, bytes]:
    """Make every file of the plan that was asked for, by its name."""
    plan = planned(asked)
    return {name: make(plan) for name, make in MAKERS.items()}


# A session keeps its own last answers, and nobody else's.
planned = st.cache_resource(show_spinner="Drawing zones ...", max_entries=8, scope="session")(
    plan_asked
)
made = st.cache_resource(show_spinner="Making files ...", max_entries=8, scope="session")(
    make_files
)


def _machine(asked: Asked, folder: Path) -> Path | str:
    if isinstance(asked.machine, Upload):
        return save(asked.machine, folder / "machine")
    if asked.machine == OWN_MACHINE:
        assert isinstance(asked.ground, str)
        return _demo(asked.ground).machine
    return asked.machine


def _demo(name: str) -> Demo:
    return next(demo for demo in demo_fields() if demo.name == name)


def save(upload: Upload, folder: Path) -> Path:
    """Put an upload into a new folder of its own, whatever its name says.

    Only the last part of the name counts, and only letters that every disk takes; the
    readers go by its ending, which stays.
    """
    last = upload.name.replace("\\", "/").rpartition("/")[2]
    stem, dot, ending = "".join(
        it if it.isalnum() or it in " ._-()" else "_" for it in last
    ).rpartition(".")
    if not dot:
        stem, ending = ending, ""
    folder.mkdir()
    path = folder / f"{stem.strip(' .')[:_MOST_LETTERS] or 'upload'}{dot}{ending[:_MOST_LETTERS]}"
    path.write_bytes(upload.content)
    return path
