"""A hand-out, and the grower's folder that it is put into: what lies there of an earlier one gives
way to the new.
"""

import datetime
import json
import os
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from tempfile import mkdtemp

from zoneplan import forms
from zoneplan.errors import OutputError, listed
from zoneplan.export.schema import strict_json
from zoneplan.export.swap import exchanged
from zoneplan.export.zone_files import zipped
from zoneplan.harmless import in_file_name
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock

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
class FieldPlan:
    """One field's plan, as it stands in the book."""

    farm: str
    field: str
    revision: int
    digest: str  # SHA-256 of its numbers: what an answer must name
    plan: Plan

    @property
    def called(self) -> Plan:
        """The plan under the name that the book has for its field."""
        return replace(self.plan, field=replace(self.plan.field, name=self.field))


@dataclass(frozen=True)
class LeftOut:
    """A field that is not handed out: a file of it cannot be made, or says other than its plan."""

    farm: str
    field: str
    revision: int
    faults: tuple[str, ...]
    report: str | None = None  # a file of this machine: how a program came to fail


@dataclass(frozen=True)
class Faults:
    """What is wrong with one field's files."""

    words: tuple[str, ...]
    report: str | None = None


class NoFieldLeftError(OutputError):
    """Every field of a grower is left out."""

    def __init__(self, message: str, left_out: tuple[LeftOut, ...]) -> None:
        super().__init__(message)
        self.left_out = left_out


@dataclass(frozen=True)
class HandOut:
    """What one grower gets for one season."""

    grower: str
    season: str
    prepared_by: str
    fields: tuple[FieldPlan, ...]
    phone: str = ""
    dated: datetime.date | None = None  # the day that it was handed out
    left_out: tuple[LeftOut, ...] = ()  # his too, and told on the cover

    @property
    def folder(self) -> str:
        """What his folder is called."""
        return in_file_name(self.grower)

    @property
    def season_name(self) -> str:
        """How files are named for the season."""
        return in_file_name(self.season, IN_A_NAME)

    @property
    def title(self) -> TitleBlock:
        """Tell whose plans they are, and who made them."""
        return TitleBlock(
            grower=self.grower,
            season=self.season,
            prepared_by=self.prepared_by or None,
            phone=self.phone or None,
            dated=self.dated,
        )

    def without(self, faults: Mapping[int, Faults]) -> "HandOut":
        """Leave fields out, by their places from 0, each for its faults.

        Raises
        ------
        NoFieldLeftError
            When none is left.
        """
        left_out = [
            LeftOut(one.farm, one.field, one.revision, faults[at].words, faults[at].report)
            for at, one in enumerate(self.fields)
            if at in faults
        ]
        given = replace(
            self,
            fields=tuple(one for at, one in enumerate(self.fields) if at not in faults),
            left_out=(*self.left_out, *left_out),
        )
        if not given.fields:
            lines = [f"{one.field}: {fault}" for one in given.left_out for fault in one.faults]
            raise NoFieldLeftError(
                listed(f"What was to be made for {self.grower}", lines)
                + "\nNothing was handed out. Plan damaged ones again; else this is a fault of "
                "zoneplan: please report it, and the fields that it happens with.",
                given.left_out,
            )
        return given

    def title_of(self, one: FieldPlan) -> TitleBlock:
        """Tell whose plan one of them is, and who made it."""
        return replace(self.title, farm=one.farm, revision=one.revision, digest=one.digest)


def put_out(given: HandOut, files: Mapping[str, bytes], out: Path) -> tuple[Path, Path]:
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
    folder = out / given.folder
    archive = out / f"{folder.name}, {given.season_name}.zip"
    ours = refuse_folder(given, out)
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
            f"What is for {given.grower} cannot be written to {out}: {error.strerror or error}.\n"
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


def record_of(given: HandOut, files: Mapping[str, bytes]) -> bytes:
    """Tell whose folder it is, what was handed out and what was not."""
    record = {
        "schema": SCHEMA,
        "grower": given.grower,
        "season": given.season,
        "prepared_by": given.prepared_by,
        "dated": given.dated and given.dated.isoformat(),
        "fields": [
            {
                "number": place,
                "farm": one.farm,
                "field": one.field,
                "revision": one.revision,
                "plan": one.digest,
            }
            for place, one in enumerate(given.fields, start=1)
        ],
        "left_out": [
            {"farm": one.farm, "field": one.field, "revision": one.revision, "faults": one.faults}
            for one in given.left_out
        ],
        "files": [
            {"name": name, "bytes": len(content), "sha256": sha256(content).hexdigest()}
            for name, content in files.items()
        ],
    }
    return (json.dumps(record, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def refuse_folder(given: HandOut, out: Path) -> set[str]:
    """Name the files that we put into a grower's folder before; none where it is not there.

    Raises
    ------
    OutputError
        When it is there and not his.
    """
    folder = out / given.folder
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
    if record["grower"] != given.grower:
        raise OutputError(
            f"{folder} holds what {record['grower']} got, whose name a disk may take for "
            f"{given.grower}.\nNothing was changed. Hand one of the two out into another folder."
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
