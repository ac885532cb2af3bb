"""What the pages share: what was asked for, and the plan that answers it."""

import io
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import streamlit as st

from zoneplan.demo import Demo, demo_fields
from zoneplan.errors import OutputError
from zoneplan.export.bundle import bundle_files
from zoneplan.export.manifest import Options
from zoneplan.field.layer import read_layers
from zoneplan.field.outline import read_field
from zoneplan.field.shapes import Field
from zoneplan.pages.own import Found, Ground, Upload, edge, read_own, save, system_of
from zoneplan.prescription import Conditions, Plan, plan_field
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import read_rules
from zoneplan.units import M_PER_IN, MPS_PER_MPH

OWN_MACHINE = "this field's own planter"  # as a demo field has one
EVERYTHING = "plan.zip"  # all files in one
_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the first that a zip knows: the same plan gives the same bytes


@dataclass(frozen=True)
class Asked:
    """Everything a plan depends on; equal questions have equal answers."""

    ground: Ground | str  # or a demo field's name
    machine: Upload | str  # or a generic machine's name, or OWN_MACHINE
    tillage: str
    speed_mph: float | None  # None: the machine's
    depth_in: float | None
    residue_pct: float
    headland: int = 0  # passes
    sides: tuple[str, ...] = ()  # that have a headland; none: all round


@dataclass(frozen=True)
class Answer:
    """A plan, and what it was made from."""

    plan: Plan
    found: Found


@dataclass(frozen=True)
class Made:
    """The files of a plan by name, and why there is no task set among them, if so."""

    files: Mapping[str, bytes]
    missing: str | None = None


def plan_asked(asked: Asked) -> Answer:
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
            field, found = read_own(asked.ground, machine, asked.headland, asked.sides, folder)
        else:
            field, found = _of_demo(asked, machine)
        conditions = Conditions(
            tillage=asked.tillage,
            speed_mps=machine.speed_mps
            if asked.speed_mph is None
            else asked.speed_mph * MPS_PER_MPH,
            depth_m=machine.depth_m if asked.depth_in is None else asked.depth_in * M_PER_IN,
            residue_frac=asked.residue_pct / 100,
        )
        plan = plan_field(field, found.soils, machine, read_rules(), conditions, marks=found.marks)
        return Answer(plan, found)


def files_of(plan: Plan) -> Made:
    """Make every file of a plan, and one zip of them all."""
    missing = None
    try:
        files = bundle_files(plan, Options())
    except OutputError as error:  # the terminal's format is narrower than the others
        files, missing = bundle_files(plan, Options(taskset_version=None)), str(error)
    return Made({**files, EVERYTHING: zipped(files)}, missing)


def make_files(asked: Asked) -> Made:
    """Make the files of the plan that was asked for."""
    return files_of(planned(asked).plan)


# A session keeps its own last answers, and nobody else's.
planned = st.cache_resource(show_spinner="Drawing zones ...", max_entries=8, scope="session")(
    plan_asked
)
made = st.cache_resource(show_spinner="Making files ...", max_entries=8, scope="session")(
    make_files
)


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Put files into one zip."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, _NO_DATE)
            entry.create_system = 3  # Unix, wherever it is made
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def _of_demo(asked: Asked, machine: Machine) -> tuple[Field, Found]:
    assert isinstance(asked.ground, str)
    demo = _demo(asked.ground)
    field = read_field(demo.boundary)
    soils, edges = read_layers([demo.survey], field)
    marks = (*edge(field, machine, asked.headland, asked.sides), *edges)
    return field, Found(system_of(demo.boundary), tuple(soils), marks)


def _machine(asked: Asked, folder: Path) -> Path | str:
    if isinstance(asked.machine, Upload):
        return save(asked.machine, folder / "machine")
    if asked.machine == OWN_MACHINE:
        assert isinstance(asked.ground, str)
        return _demo(asked.ground).machine
    return asked.machine


def _demo(name: str) -> Demo:
    return next(demo for demo in demo_fields() if demo.name == name)
