"""The plan that answers a question, and its files."""

import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from zoneplan.demo import demo_field
from zoneplan.errors import OutputError
from zoneplan.export.bundle import bundle_files, refuse_differences
from zoneplan.export.manifest import Options
from zoneplan.export.readback import TASKDATA
from zoneplan.field.shapes import Field
from zoneplan.plan.model import Plan
from zoneplan.plan.plan_field import plan_field
from zoneplan.plan.requirement import Conditions
from zoneplan.progress import step
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import RulesFile, read_rules
from zoneplan.rules.rule import Rules
from zoneplan.terms import Tillage
from zoneplan.units import HA_PER_ACRE, M2_PER_HA, M_PER_FT, M_PER_IN, MPS_PER_MPH
from zoneplan.work.asked import OWN_MACHINE, Asked, Upload
from zoneplan.work.ground import Found, read_ground, save
from zoneplan.zones.zone import Zoning

EVERYTHING = "plan.zip"  # all files in one
TASKSET = "taskset.zip"  # the folder for the cab alone
_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the first that a zip knows: the same plan gives the same bytes


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
    machine = machine_asked(asked)
    field, found = read_ground(asked, machine)
    return plan_on(asked, machine, field, found)


def plan_on(asked: Asked, machine: Machine, field: Field, found: Found) -> Answer:
    """Plan ground that has been read, as quickly as numbers follow a slider."""
    conditions = Conditions(
        tillage=Tillage(asked.tillage),
        speed_mps=machine.speed_mps if asked.speed_mph is None else asked.speed_mph * MPS_PER_MPH,
        depth_m=machine.depth_m if asked.depth_in is None else asked.depth_in * M_PER_IN,
        residue_frac=asked.residue_pct / 100,
    )
    zoning = Zoning(
        least_area_m2=None
        if asked.least_acres is None
        else asked.least_acres * HA_PER_ACRE * M2_PER_HA,
        least_width_m=None if asked.least_width_ft is None else asked.least_width_ft * M_PER_FT,
        most_zones=asked.most_zones,
    )
    plan = plan_field(
        field,
        found.soils,
        machine,
        rules_asked(asked.rules),
        conditions,
        marks=found.marks,
        zoning=zoning,
        edits=asked.edits,
    )
    return Answer(plan, found)


def machine_asked(asked: Asked) -> Machine:
    """Read the machine that was asked for."""
    step("Reading the machine")
    if isinstance(asked.machine, Upload):
        with TemporaryDirectory(prefix="zoneplan-") as scratch:
            return read_machine(save(asked.machine, Path(scratch)))
    if asked.machine == OWN_MACHINE:
        assert isinstance(asked.ground, str)
        return read_machine(demo_field(asked.ground).machine)
    return read_machine(asked.machine)


@lru_cache(maxsize=32)
def rules_asked(own: tuple[Upload, ...]) -> Rules:
    """Read the stock rules, and rules of one's own laid over them."""
    return read_rules([RulesFile(file.name, file.content) for file in own])


def files_of(plan: Plan, options: Options) -> Made:
    """Make every file of a plan, read them back, and put them into one zip.

    Raises
    ------
    OutputError
        When a file does not say what the plan says.
    """
    missing = None
    try:
        files = bundle_files(plan, options)
    except OutputError as error:  # the terminal's format is narrower than the others
        options, missing = replace(options, taskset_version=None), str(error)
        files = bundle_files(plan, options)
    step("Reading every file back")
    refuse_differences(files, plan, options)
    tasks = {name: it for name, it in files.items() if name.startswith(TASKDATA)}
    packed = {TASKSET: zipped(tasks)} if tasks else {}
    return Made({**files, **packed, EVERYTHING: zipped(files)}, missing)


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Put files into one zip."""
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, _NO_DATE)
            entry.create_system = 3  # Unix, wherever it is made
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()
