"""Write all files of a plan into one folder: all of them, or none."""

import os
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from shutil import copy2
from tempfile import TemporaryDirectory
from typing import Any

from zoneplan.errors import OutputError, listed
from zoneplan.export.csv_table import csv_bytes
from zoneplan.export.document import plan_bytes
from zoneplan.export.geopackage import geopackage_bytes
from zoneplan.export.manifest import MANIFEST, Options, altered, manifest_bytes, read_manifest
from zoneplan.export.readback import TASKDATA, differences
from zoneplan.export.sheets import agronomist_pdf, cab_pdf
from zoneplan.export.summary import summary_pdf
from zoneplan.export.taskset import XML_FILE, taskset_files
from zoneplan.export.taskset_grid import GRID_FILE
from zoneplan.export.taskset_words import Value, taskset_notes
from zoneplan.export.vector import geojson_bytes, shapefile_zip_bytes
from zoneplan.export.webpage import webpage_html
from zoneplan.prescription import Plan
from zoneplan.progress import step

Maker = Callable[..., bytes]

# The files by what their makers take: a plan; and moistures; and a paper and units; and units.
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
TASKS = (f"{TASKDATA}{XML_FILE}", f"{TASKDATA}{GRID_FILE}.BIN")  # where they are asked for

Files = Mapping[str, bytes]


def write_plan(
    plan: Plan,
    out: Path,
    *,
    moisture: str = "moist",
    all_moistures: bool = False,
    paper: str = "letter",
    units: str = "us",
    taskset_version: int | None = 4,
    taskset_grid: bool = False,
    taskset_value: Value = "downforce",
) -> dict[str, Path]:
    """Write every file of a plan into a folder, and a manifest of them.

    The folder is made where it is missing; other files in it stay. Every file is written
    aside first, read back there by another reader and compared with the plan, zone by zone;
    only then are all put in place, and where one cannot be, those that were there before
    come back. The same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    out : Path
        The folder.
    moisture : str
        dry, moist or wet: whose targets the zone files and the task set carry.
    all_moistures : bool
        All three in the zone files, in columns that are named for them.
    paper : str
        "letter" or "a4".
    units : str
        "us" (lb, psi, mph, in, acres) or "si" (N, kPa, km/h, cm, ha), on paper.
    taskset_version : int, optional
        4 or 3; None for no task set.
    taskset_grid, taskset_value : bool, str
        As `taskset_files` has them.

    Returns
    -------
    dict of str to Path
        Where each file is, by its name.

    Raises
    ------
    OutputError
        When the folder cannot be made or written, a task set cannot hold what was asked for,
        or a file does not say what the plan says.
    """
    check_folder(out)
    options = Options(
        moisture, all_moistures, paper, units, taskset_version, taskset_grid, taskset_value
    )
    files = bundle_files(plan, options)
    try:
        with ExitStack() as made:
            for folder in sorted({(out / name).parent for name in files}):
                made.enter_context(_folder(folder))
            scratch = Path(made.enter_context(TemporaryDirectory(prefix=".zoneplan-", dir=out)))
            refuse_differences(_write_aside(files, scratch / "new"), plan, options)
            _put_in_place(files, out, scratch / "new", scratch / "before")
    except OSError as error:
        raise OutputError(
            f"The plan cannot be written to {out}: {error.strerror or error}.\n"
            "Nothing was changed there. Close programs that hold its files open, see that the "
            "disk has room, or name another folder."
        ) from error
    return {name: out / name for name in files}


def bundle_files(plan: Plan, options: Options) -> dict[str, bytes]:
    """Make every file of a plan, by its name in the folder."""
    files: dict[str, bytes] = {}
    notes: tuple[str, ...] = ()
    if options.taskset_version is not None:
        step("Making the task set")
        grid, value = options.taskset_grid, options.taskset_value
        tasks = taskset_files(
            plan, options.moisture, version=options.taskset_version, grid=grid, value=value
        )
        files |= {f"{TASKDATA}{name}": content for name, content in tasks.items()}
        notes = taskset_notes(plan, options.moisture, grid=grid, value=value)
    files |= _made(WHOLE, plan)
    files |= _made(ZONES, plan, options.moistures)
    files |= _made(SHEETS, plan, paper=options.paper, units=options.units)
    files |= _made(PAGE, plan, units=options.units)
    return {**files, MANIFEST: manifest_bytes(files, options, notes)}


def _made(makers: Mapping[str, Maker], *told: Any, **how: Any) -> dict[str, bytes]:
    files = {}
    for name, make in makers.items():
        step(f"Making {name}")
        files[name] = make(*told, **how)
    return files


def check_folder(out: Path) -> None:
    """Refuse a folder that a plan cannot be written to, before any work is done.

    Raises
    ------
    OutputError
        When a file or folder is in the way, or we may not write there.
    """
    try:
        nearest = next(path for path in (out, *out.absolute().parents) if path.exists())
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
    faults = [
        f"{name} is a folder. Move it or name another place."
        for name in (*MAKERS, *TASKS, MANIFEST)
        if (out / name).is_dir()
    ]
    if (out / TASKDATA).is_file():
        faults.append(f"{TASKDATA} is a file. Move it or name another place.")
    if faults:
        raise OutputError(listed(str(out), faults))


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
        told = listed(f"The plan of {plan.field.name}, read back from its files,", faults)
        raise OutputError(
            f"{told}\nNothing was put in place. This is a fault of zoneplan: please report it, "
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


def _write_aside(files: Files, aside: Path) -> Files:
    """Write files where nobody looks for them, and give what the disk has of them."""
    for name, content in files.items():
        (aside / name).parent.mkdir(parents=True, exist_ok=True)
        (aside / name).write_bytes(content)
    return {name: (aside / name).read_bytes() for name in files}


def _put_in_place(names: Collection[str], out: Path, aside: Path, replaced: Path) -> None:
    """Swap new files in; if one will not swap, undo the others.

    A file of an earlier task set that is not written again goes: a terminal would load it.
    """
    before = [name for name in sorted({*names, *TASKS}) if (out / name).exists()]
    for name in before:
        (replaced / name).parent.mkdir(parents=True, exist_ok=True)
        copy2(out / name, replaced / name)
    try:
        for name in names:
            (aside / name).replace(out / name)
        for name in set(before) - set(names):
            (out / name).unlink()
    except BaseException:
        for name in names:
            if name not in before and not (aside / name).exists():
                (out / name).unlink()
        for name in before:
            (replaced / name).replace(out / name)
        raise
    with suppress(OSError):  # it stays where there is anything in it
        (out / TASKDATA).rmdir()
