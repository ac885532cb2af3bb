"""A fault of zoneplan itself, written down for whoever corrects it: nothing of a plan is in it."""

import datetime
import os
import platform
import secrets
import sys
import tempfile
import traceback
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from zoneplan.harmless import on_terminal
from zoneplan.progress import stages

MOST_KEPT = 50  # the oldest go first, so that faults cannot fill a disk
_MOST_LETTERS = 100_000
_LIBRARIES = ("zoneplan", "geopandas", "pyogrio", "rasterio", "shapely", "streamlit", "typst")
_PATTERN = "fault-*.txt"


def write_report(error: BaseException, doing: str) -> Path | None:
    """Write down what went wrong and where in the program.

    Parameters
    ----------
    error : BaseException
        What nobody caught.
    doing : str
        Which door was in use: a command, or a page.

    Returns
    -------
    Path or None
        The file; None where no folder takes one.
    """
    now = datetime.datetime.now(datetime.UTC)
    content = on_terminal(report(error, doing, now)).encode()
    name = f"fault-{now:%Y%m%d-%H%M%S-%f}-{secrets.token_hex(2)}.txt"
    for folder in (_state_folder(), Path(tempfile.gettempdir()) / "zoneplan"):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)
            _let_old_ones_go(folder)
        except OSError:
            continue
        return folder / name
    return None


def report(error: BaseException, doing: str, now: datetime.datetime) -> str:
    """Say it: the versions, the machine's kind, and the way through the program."""
    way = "".join(traceback.format_exception(error))
    if len(way) > _MOST_LETTERS:  # its end says most
        way = f"...\n{way[-_MOST_LETTERS:]}"
    return (
        f"A fault of zoneplan, {now.isoformat(timespec='seconds')}\n"
        f"Doing: {doing}\n"
        f"Python {sys.version.split()[0]} on {platform.platform()}\n"
        f"{', '.join(_versions())}\n{_steps()}\n{way}"
    )


def _steps() -> str:
    """What was done until then, and what it took; of what it was done to no name is told."""
    lines = []
    for stage in stages():
        if stage.doing:
            memory = "" if stage.peak_mb is None else f", {stage.peak_mb:.0f} MB"
            lines.append(f"{stage.doing}: {stage.cpu_s + stage.children_s:.2f} s{memory}\n")
    return "".join(lines)


def _versions() -> list[str]:
    versions = []
    for library in _LIBRARIES:
        try:
            versions.append(f"{library} {version(library)}")
        except PackageNotFoundError:
            continue
    return versions


def _state_folder() -> Path:
    """Where a program of this person keeps what it notes down."""
    if os.name == "nt":
        home = os.environ.get("LOCALAPPDATA") or tempfile.gettempdir()
    else:
        home = os.environ.get("XDG_STATE_HOME") or str(Path("~/.local/state").expanduser())
    return Path(home) / "zoneplan" / "faults"


def _let_old_ones_go(folder: Path) -> None:
    for old in sorted(folder.glob(_PATTERN))[:-MOST_KEPT]:
        old.unlink(missing_ok=True)
