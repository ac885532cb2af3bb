"""Write all files of a plan into one folder: all of them, or none."""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from shutil import copy2
from tempfile import TemporaryDirectory

from zoneplan.errors import OutputError, listed
from zoneplan.export.document import plan_bytes
from zoneplan.export.summary import summary_pdf
from zoneplan.export.vector import geojson_bytes, shapefile_zip_bytes
from zoneplan.prescription import Plan

MAKERS = {
    "plan.json": plan_bytes,
    "zones.geojson": geojson_bytes,
    "zones.zip": shapefile_zip_bytes,
    "summary.pdf": summary_pdf,
}


def write_plan(plan: Plan, out: Path) -> dict[str, Path]:
    """Write plan.json, zones.geojson, zones.zip and summary.pdf into a folder.

    The folder is made where it is missing; other files in it stay. Every file is finished
    in memory before the first is put in place, and where one cannot be, those that were
    there before come back.

    Returns
    -------
    dict of str to Path
        Where each file is, by its name.

    Raises
    ------
    OutputError
        When the folder cannot be made or written.
    """
    check_folder(out)
    contents = {name: make(plan) for name, make in MAKERS.items()}
    try:
        with _folder(out), TemporaryDirectory(prefix=".zoneplan-", dir=out) as scratch:
            _put_in_place(contents, out, Path(scratch))
    except OSError as error:
        raise OutputError(
            f"The plan cannot be written to {out}: {error.strerror or error}.\n"
            "Nothing was changed there. Close programs that hold its files open, see that the "
            "disk has room, or name another folder."
        ) from error
    return {name: out / name for name in contents}


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
    in_the_way = [name for name in MAKERS if (out / name).is_dir()]
    if in_the_way:
        faults = [f"{name} is a folder. Move it or name another place." for name in in_the_way]
        raise OutputError(listed(str(out), faults))


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


def _put_in_place(contents: Mapping[str, bytes], out: Path, scratch: Path) -> None:
    """Write new files aside, then swap them in; if one will not swap, undo the others."""
    for name, content in contents.items():
        (scratch / name).write_bytes(content)
    replaced = scratch / "replaced"
    replaced.mkdir()
    for name in contents:
        if (out / name).exists():
            copy2(out / name, replaced / name)
    try:
        for name in contents:
            (scratch / name).replace(out / name)
    except BaseException:
        for name in contents:
            if (replaced / name).exists():
                (replaced / name).replace(out / name)
            elif not (scratch / name).exists():
                (out / name).unlink()
        raise
