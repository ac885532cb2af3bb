"""A grower's folder on the disk: what lies there of an earlier hand-out gives way to the new."""

import os
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import mkdtemp

from zoneplan import forms
from zoneplan.errors import OutputError
from zoneplan.export.schema import strict_json
from zoneplan.export.swap import exchanged
from zoneplan.export.zone_files import zipped
from zoneplan.harmless import in_file_name

RECORD = "hand-out.json"  # whose folder it is, and what we put into it
SCHEMA = "zoneplan-hand-out/1"
IN_A_NAME = 24  # letters of a farm and of a field: four bytes each, and a file's name has 255
_FILE = re.compile(r"[^/\\]+(/[^/\\]+)?")  # never out of its folder
_CUT = "It was cut short."
_RECORD = forms.table(
    {
        "schema": forms.need(forms.one_of("form of ours", (SCHEMA,)), _CUT),
        "grower": forms.need(forms.text, _CUT),
        "files": forms.need(
            forms.many(forms.table({"name": forms.need(forms.text, _CUT)}, others=True)), _CUT
        ),
    },
    others=True,
)


@dataclass(frozen=True)
class Place:
    """Whose folder it is, and of which season."""

    grower: str
    season: str

    @property
    def folder(self) -> str:
        """What the folder is called."""
        return in_file_name(self.grower)

    @property
    def season_name(self) -> str:
        """How files are named for the season."""
        return in_file_name(self.season, IN_A_NAME)


def put_out(place: Place, files: Mapping[str, bytes], out: Path) -> tuple[Path, Path]:
    """Put a grower's files in place of what he got before: all of them, or none.

    Whatever else lies in his folder stays there.

    Returns
    -------
    Path, Path
        His folder, and the same in one zip.

    Raises
    ------
    OutputError
        When it cannot be written, or a folder of that name is somebody else's.
    """
    folder = out / place.folder
    archive = out / f"{folder.name}, {place.season_name}.zip"
    ours = refuse_folder(place, out)
    try:
        out.mkdir(parents=True, exist_ok=True)
        room = Path(mkdtemp(prefix=".zoneplan-hand-out-", dir=out))
        try:
            new, old = room / "new", room / "old"
            for name, content in files.items():
                (new / name).parent.mkdir(parents=True, exist_ok=True)
                (new / name).write_bytes(content)
            (room / "zip").write_bytes(zipped(files))
            _bring_over(folder, new, ours)
            new.chmod(0o755)
            _put_in_place(new, folder, old)
            (room / "zip").replace(archive)
        finally:
            shutil.rmtree(room, ignore_errors=True)
    except OSError as error:
        raise OutputError(
            f"What is for {place.grower} cannot be written to {out}: {error.strerror or error}.\n"
            "What was there before is there still. Close programs that hold its files open, see "
            "that the disk has room, or name another folder."
        ) from error
    return folder, archive


def _put_in_place(new: Path, folder: Path, old: Path) -> None:
    """Let the new folder take the old one's place: in one step where the system knows how."""
    if folder.exists() and exchanged(new, folder):
        return
    if folder.exists():
        folder.rename(old)
    try:
        new.rename(folder)
    except OSError:
        if old.exists():
            old.rename(folder)
        raise


def refuse_folder(place: Place, out: Path) -> set[str]:
    """Name the files that we put into a grower's folder before; none where it is not there.

    Raises
    ------
    OutputError
        When it is there and not his.
    """
    folder = out / place.folder
    if not os.path.lexists(folder):
        return set()
    try:
        content = (folder / RECORD).read_bytes()
    except OSError as error:
        raise OutputError(
            f"{folder} is there, and not from a hand-out: it has no {RECORD}.\n"
            "Nothing was changed. Move it to another place, or name another folder."
        ) from error
    try:
        record = forms.checked(_RECORD, strict_json(content), RECORD, OutputError)
    except (ValueError, OutputError) as error:
        raise OutputError(
            f"{folder / RECORD} cannot be read: {error}.\n"
            "Nothing was changed. Move the folder to another place, or name another."
        ) from error
    if record["grower"] != place.grower:
        raise OutputError(
            f"{folder} holds what {record['grower']} got, whose name a disk may take for "
            f"{place.grower}.\nNothing was changed. Hand one of the two out into another folder."
        )
    return {RECORD, *filter(_FILE.fullmatch, (file["name"] for file in record["files"]))}


def _bring_over(folder: Path, new: Path, ours: set[str]) -> None:
    """Copy to the new folder what somebody else put into the old one."""
    for path in sorted(folder.rglob("*")) if folder.is_dir() else []:
        name = path.relative_to(folder)
        target = new / name
        if path.is_file() and name.as_posix() not in ours and not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, target)
