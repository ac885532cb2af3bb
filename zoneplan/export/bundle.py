"""All files of a plan: into one folder, all of them or none, or in memory with a zip of all."""

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from zoneplan.errors import OutputError, listed
from zoneplan.export.document import plan_bytes
from zoneplan.export.manifest import (
    MANIFEST,
    Options,
    altered,
    manifest_bytes,
    read_manifest,
)
from zoneplan.export.readback import TASKDATA, differences
from zoneplan.export.sheets.printed import agronomist_pdf, cab_pdf, summary_pdf
from zoneplan.export.stopped import alone, put_back, traces
from zoneplan.export.swap import put_in_place, refuse_strangers, write_aside
from zoneplan.export.taskset import XML_FILE, taskset_files
from zoneplan.export.taskset_words import taskset_notes
from zoneplan.export.webpage import webpage_html
from zoneplan.export.zone_files import (
    csv_bytes,
    geojson_bytes,
    geopackage_bytes,
    shapefile_zip_bytes,
    zipped,
)
from zoneplan.plan.model import Plan
from zoneplan.progress import step
from zoneplan.say.summary import stamp

Maker = Callable[..., bytes]

# The files by what their makers take: a plan; and moistures; and paper, units and title; and the
# last two. People pass the last two kinds on, so that those are named for whose they are.
WHOLE: dict[str, Maker] = {"plan.json": plan_bytes}
ZONES: dict[str, Maker] = {
    "zones.geojson": geojson_bytes,
    "zones.zip": shapefile_zip_bytes,
    "zones.gpkg": geopackage_bytes,
    "zones.csv": csv_bytes,
}
SHEETS: dict[str, Maker] = {
    "summary.pdf": summary_pdf,
    "cab.pdf": cab_pdf,
    "agronomist.pdf": agronomist_pdf,
}
PAGE: dict[str, Maker] = {"field.html": webpage_html}
MAKERS = {**WHOLE, **ZONES, **SHEETS, **PAGE}  # each makes its usual file from a plan alone
TASKS = f"{TASKDATA}{XML_FILE}"  # where it is asked for

EVERYTHING = "plan.zip"  # all files in one
TASKSET = "taskset.zip"  # the folder for the cab alone

Files = Mapping[str, bytes]
USUAL = Options()


def write_plan(plan: Plan, out: Path, options: Options = USUAL) -> dict[str, Path]:
    """Write the files of a plan into a folder, and a manifest of them.

    The folder is made where it is missing; files in it that no manifest names stay. Every file
    is written aside first, read back there by another reader and compared with the plan, zone
    by zone; only then are all put in place. Whenever that stops, the folder holds the plan
    before or this one, or its manifest says that it is unfinished and the next write puts back
    what was there. The same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    out : Path
        The folder.
    options : Options
        What is asked of the files.

    Returns
    -------
    dict of str to Path
        Where each file is, by its name.

    Raises
    ------
    OutputError
        When the folder cannot be made or written, another writes to it, a file of somebody
        else's is in the way, a task set cannot hold what was asked for, or a file does not say
        what the plan says.
    """
    check_folder(out)
    return _write(
        out,
        lambda: bundle_files(plan, options),
        lambda written: refuse_differences(written, plan, options),
    )


def write_files(files: Files, out: Path) -> dict[str, Path]:
    """Write files that were made of a plan, and compared with it, on another machine.

    They are put in place as `write_plan` does.

    Parameters
    ----------
    files : mapping of str to bytes
        From `bundle_files`.
    out : Path
        The folder.

    Raises
    ------
    OutputError
        As `write_plan`; where a file is not what its manifest says.
    """
    check_folder(out)

    def refuse_altered(written: Files) -> None:
        if faults := altered(read_manifest(written[MANIFEST]), written):
            raise OutputError(listed(f"What came for {out}", faults) + "\nPlan it again.")

    return _write(out, lambda: files, refuse_altered)


def _write(
    out: Path, make: Callable[[], Files], refuse: Callable[[Files], None]
) -> dict[str, Path]:
    folder = _real(out)
    try:
        with _folder(folder.parent), alone(folder) as work:
            if message := put_back(folder):
                step("", message)
            contents = make()
            step("Writing them aside")
            written = write_aside(contents, work)
            step("Reading every file back")
            refuse(written)
            step("Putting them in place")
            put_in_place(contents, folder, work)
    except OSError as error:
        there = (
            "It is unfinished now; the next write puts back what was there."
            if traces(folder)
            else "Nothing was changed there."
        )
        raise OutputError(
            f"The plan cannot be written to {out}: {error.strerror or error}.\n{there} Close "
            "programs that hold its files open, see that the disk has room, or name another folder."
        ) from error
    return {name: out / name for name in contents}


def bundle_files(plan: Plan, options: Options) -> dict[str, bytes]:
    """Make the files of a plan that are asked for, by their names in the folder."""
    files: dict[str, bytes] = {}
    notes: tuple[str, ...] = ()
    if options.taskset_version is not None and "taskset" in options.files:
        step("Making the task set")
        grid, value = options.taskset_grid, options.taskset_value
        tasks = taskset_files(
            plan,
            options.moisture,
            version=options.taskset_version,
            grid=grid,
            value=value,
            title=options.title,
        )
        files |= {f"{TASKDATA}{name}": content for name, content in tasks.items()}
        notes = taskset_notes(plan, options.moisture, grid=grid, value=value)
    files |= _made(WHOLE, plan)
    if "zones" in options.files:
        files |= _made(ZONES, plan, options.moistures)
    if "sheets" in options.files:
        files |= _titled(plan, options, SHEETS, paper=options.paper)
    if "page" in options.files:
        files |= _titled(plan, options, PAGE)
    return {**files, MANIFEST: manifest_bytes(files, options, notes, stamp(plan))}


def _titled(
    plan: Plan, options: Options, makers: Mapping[str, Maker], **kwargs: Any
) -> dict[str, bytes]:
    """Make what carries the title, under names that tell whose it is."""
    made = _made(makers, plan, units=options.units, title=options.title, **kwargs)
    return {options.title.file_name(plan.field.name, name): made[name] for name in made}


def _made(makers: Mapping[str, Maker], *args: Any, **kwargs: Any) -> dict[str, bytes]:
    files = {}
    for name, make in makers.items():
        step(f"Making {name}")
        files[name] = make(*args, **kwargs)
    return files


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


def check_folder(out: Path) -> str:
    """Refuse a folder that a plan cannot be written to, before any work is done.

    What an earlier write left there that was stopped is undone.

    Returns
    -------
    str
        What was undone; empty where nothing was.

    Raises
    ------
    OutputError
        When a file or folder is in the way, we may not write there, or another does.
    """
    folder = _real(out)
    try:
        nearest = next(path for path in (folder, *folder.parents) if path.exists())
    except OSError as error:
        raise OutputError(
            f"{out} cannot be reached: {error.strerror}.\n"
            "Name a folder of your own, which may be new."
        ) from error
    if not nearest.is_dir():
        raise OutputError(
            f"{nearest} is a file, so the plan cannot be put into a folder {out}.\n"
            "Name a folder, which may be new."
        )
    if not os.access(nearest, os.W_OK | os.X_OK):
        raise OutputError(
            f"We may not write to {nearest}, so the plan cannot be put into {out}.\n"
            "Name a folder of your own, or ask for the right to write to this one."
        )
    message = tidied(out)
    _refuse_folders(folder)
    refuse_strangers(folder, [*MAKERS, TASKS, MANIFEST])
    return message


def tidied(out: Path) -> str:
    """Undo what a write that was stopped left of a folder, and tell it; empty where none was.

    Raises
    ------
    OutputError
        When another is writing there, or it cannot be undone.
    """
    folder = _real(out)
    if not traces(folder):
        return ""
    try:
        with alone(folder):
            return put_back(folder)
    except OSError as error:
        raise OutputError(
            f"A write to {out} was stopped, and cannot be undone: {error.strerror or error}.\n"
            "Close programs that hold its files open, see that the disk has room, and try again."
        ) from error


def _refuse_folders(folder: Path) -> None:
    faults = [
        f"{name} is a folder. Move it or name another place."
        for name in (*MAKERS, TASKS, MANIFEST)
        if (folder / name).is_dir()
    ]
    tasks = folder / TASKDATA
    if os.path.lexists(tasks) and not (tasks.is_dir() and not tasks.is_symlink()):
        faults.append(f"{TASKDATA} is a file or leads elsewhere. Move it or name another place.")
    if faults:
        raise OutputError(listed(str(folder), faults))


def _real(out: Path) -> Path:
    """Where a folder is, whatever links lead there: two names of one folder are one folder."""
    if "\0" in str(out):
        raise OutputError("The name of the folder holds a letter that no name can. Name another.")
    return Path(os.path.realpath(out))


def refuse_differences(written: Files, plan: Plan, options: Options) -> None:
    """Read files back, and refuse them where they do not say what the plan says.

    Raises
    ------
    OutputError
        Naming every difference.
    """
    faults = altered(read_manifest(written[MANIFEST]), written)
    faults += differences(written, plan, options)
    if faults:
        message = listed(f"The plan of {plan.field.name}, read back from its files,", faults)
        raise OutputError(
            f"{message}\nNothing was put in place. This is a fault of zoneplan: please report it, "
            "and the field that it happens with."
        )


@contextmanager
def _folder(out: Path) -> Iterator[None]:
    """Make a folder, and take away again what was made if the work in it fails."""
    missing = [path for path in (out, *out.parents) if not path.exists()]
    try:
        out.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException:
        with suppress(OSError):
            for path in missing:
                path.rmdir()
        raise
