"""OutputFiles: every file of a plan in memory, and all of them in one zip."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from zoneplan.errors import OutputError
from zoneplan.export.bundle import bundle_files, refuse_differences
from zoneplan.export.manifest import Options
from zoneplan.export.readback import TASKDATA
from zoneplan.export.zone_files import zipped
from zoneplan.plan.model import Plan
from zoneplan.progress import step

EVERYTHING = "plan.zip"  # all files in one
TASKSET = "taskset.zip"  # the folder for the cab alone


@dataclass(frozen=True)
class OutputFiles:
    """The files of a plan by name, and why there is no task set among them, if so."""

    files: Mapping[str, bytes]
    missing: str | None = None


def output_files(plan: Plan, options: Options) -> OutputFiles:
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
    tasks = {name: content for name, content in files.items() if name.startswith(TASKDATA)}
    packed = {TASKSET: zipped(tasks)} if tasks else {}
    return OutputFiles({**files, **packed, EVERYTHING: zipped(files)}, missing)
