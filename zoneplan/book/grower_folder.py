"""What a grower gets: one folder and one zip of all his fields, and nothing of anybody else's.

A booklet to print (a cover with list and map; of every field the cab sheet, the summary and the
landowner's page), one task set for the cab terminal, zone files, and of every field the landowner's
page with a form to answer. Nothing here reads the clock: the same plans of the same day give the
same bytes.
"""

import datetime
import json
import os
import re
import shutil
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from tempfile import mkdtemp
from zipfile import ZipFile

from zoneplan import forms
from zoneplan.errors import OutputError, listed
from zoneplan.export.bundle import WHOLE, ZONES
from zoneplan.export.manifest import Options
from zoneplan.export.readback import TASKDATA, differences, unlike_task
from zoneplan.export.schema import strict_json
from zoneplan.export.sheets.booklet import Part, booklet_pdf, pages_in
from zoneplan.export.sheets.cab import cab_words
from zoneplan.export.sheets.cover import Listed, cover_pdf
from zoneplan.export.sheets.landowner_sheet import landowner_sheet_words
from zoneplan.export.sheets.paper import pdf
from zoneplan.export.sheets.summary import summary_words
from zoneplan.export.swap import exchanged
from zoneplan.export.taskset.read import read_tasks
from zoneplan.export.taskset.words import designator, task_designator
from zoneplan.export.taskset.write import FieldOf, grower_taskset_files
from zoneplan.export.webpage import webpage_html
from zoneplan.export.zone_files import zipped
from zoneplan.harmless import in_file_name
from zoneplan.plan.model import Plan
from zoneplan.progress import step
from zoneplan.request import TitleBlock
from zoneplan.say.title_block import day, whom_to_call

RECORD = "hand-out.json"  # whose folder it is, and what we put into it
USUAL = Options(all_moistures=True)
_SCHEMA = "zoneplan-hand-out/1"
_ZONES, _PAGES = "zones", "landowner"  # folders
_IN_A_NAME = 24  # letters of a farm and of a field: four bytes each, and a file's name has 255


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
class HandOut:
    """What one grower gets for one season."""

    grower: str
    season: str
    prepared_by: str
    fields: tuple[FieldPlan, ...]
    phone: str = ""
    dated: datetime.date | None = None  # the day that it was handed out

    def title_of(self, one: FieldPlan) -> TitleBlock:
        """Tell whose plan one of them is, and who made it."""
        return TitleBlock(
            grower=self.grower,
            farm=one.farm,
            season=self.season,
            revision=one.revision,
            prepared_by=self.prepared_by or None,
            phone=self.phone or None,
            dated=self.dated,
            digest=one.digest,
        )


@dataclass(frozen=True)
class FieldFiles:
    """What is made of one field, whatever the others are."""

    files: Mapping[str, bytes]  # by their names in the grower's folder
    sheets: Sequence[tuple[str, bytes]]  # of the booklet, each by what it is


@dataclass(frozen=True)
class HandedOut:
    """Where a hand-out lies."""

    folder: Path
    archive: Path  # the same in one zip
    files: tuple[str, ...]
    missing: str | None  # why there is no task set, if so


def hand_out(given: HandOut, out: Path, options: Options = USUAL) -> HandedOut:
    """Write what a grower gets into a folder of his own below `out`, and a zip beside it.

    Parameters
    ----------
    given : HandOut
        His fields, in the order of the booklet.
    out : Path
        The folder of all growers' folders; it is made where it is missing.
    options : Options
        Moisture, paper, units and the kind of task set.

    Raises
    ------
    OutputError
        When it cannot be written there, a folder of that name is somebody else's, or a file does
        not say what its plan says. What was there before stays.
    """
    _refuse_folder(given, out)
    names = enumerate(field_names(given), start=1)
    made = [field_files(given, place, name, options) for place, name in names]
    files, missing = folder_files(given, made, options)
    return put_out(given, files, out, missing)


def field_names(given: HandOut) -> list[str]:
    """Name every field for its files: farm, field, season and revision; no two are alike."""
    names: list[str] = []
    taken: Counter[str] = Counter()
    for one in given.fields:
        farm, field = (in_file_name(name, _IN_A_NAME) for name in (one.farm, one.field))
        name = f"{farm}, {field}, {in_file_name(given.season, _IN_A_NAME)}"
        taken[name.casefold()] += 1
        again = taken[name.casefold()]
        names.append(f"{name}{f' ({again})' if again > 1 else ''}, plan {one.revision}")
    return names


def field_files(given: HandOut, place: int, name: str, options: Options = USUAL) -> FieldFiles:
    """Make one field's files and sheets, and read them back.

    Parameters
    ----------
    given : HandOut
        All that the grower gets.
    place : int
        Which of his fields, from 1.
    name : str
        What its files are called.
    options : Options
        As for `hand_out`.

    Raises
    ------
    OutputError
        When a file does not say what the plan says.
    """
    one = given.fields[place - 1]
    step("Making the files of", one.field)
    plan, units = one.called, options.units
    title = given.title_of(one)
    files = {name: make(plan) for name, make in WHOLE.items()}
    files |= {name: make(plan, options.moistures) for name, make in ZONES.items()}
    page = webpage_html(plan, units=units, title=title)
    sheets = [
        (title, pdf(template, words, options.paper))
        for title, template, words in (
            ("Cab sheet", "cab.typ", cab_words(plan, units, title)),
            ("Row-unit plan", "summary.typ", summary_words(plan, units, title)),
            ("Landowner’s page", "landowner.typ", landowner_sheet_words(plan, units, title)),
        )
    ]
    printed = {f"{title}.pdf": content for title, content in sheets}
    _refuse(differences({**files, **printed, "field.html": page}, plan, options), one.field)
    files["zones.zip"] = _with_members_called(files["zones.zip"], place, name)
    named = {f"{_ZONES}/{name} {old}": content for old, content in files.items()}
    return FieldFiles({**named, f"{_PAGES}/{name}.html": page}, sheets)


def folder_files(
    given: HandOut, made: Sequence[FieldFiles], options: Options = USUAL
) -> tuple[dict[str, bytes], str | None]:
    """Put a grower's fields together.

    Returns
    -------
    dict of str to bytes, and str or None
        All files of his folder by name, and why there is no task set among them, if so.

    Raises
    ------
    OutputError
        When the task set does not say what the plans say.
    """
    tasks, missing = _tasks(given, options)
    booklet = f"{_folder_name(given)}, {_season_name(given)} booklet.pdf"
    terminal = (TASKDATA, "for the cab terminal: all fields, a task each. Copy the whole folder.")
    contents = [
        (booklet, "this booklet: of every field the cab sheet, the plan, the landowner’s page."),
        *([terminal] if tasks else []),
        (f"{_ZONES}/", "the zones of every field, for maps and office programs."),
        (f"{_PAGES}/", "a page of every field to send to its owner, with a form to answer."),
    ]
    files = {name: content for one in made for name, content in one.files.items()}
    files |= {f"{TASKDATA}{name}": content for name, content in tasks.items()}
    files[booklet] = _booklet(given, made, contents, options)
    files = dict(sorted(files.items()))
    return {**files, RECORD: _record(given, files)}, missing


def put_out(
    given: HandOut, files: Mapping[str, bytes], out: Path, missing: str | None = None
) -> HandedOut:
    """Put a grower's files in place of what he got before: all of them, or none.

    Whatever else lies in his folder stays there.

    Raises
    ------
    OutputError
        When it cannot be written, or a folder of that name is somebody else's.
    """
    folder = out / _folder_name(given)
    archive = out / f"{folder.name}, {_season_name(given)}.zip"
    ours = _refuse_folder(given, out)
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
    return HandedOut(folder, archive, tuple(files), missing)


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


# ---- names ---------------------------------------------------------------------------------------


def _folder_name(given: HandOut) -> str:
    return in_file_name(given.grower)


def _season_name(given: HandOut) -> str:
    return in_file_name(given.season, _IN_A_NAME)


def _with_members_called(packed: bytes, place: int, name: str) -> bytes:
    """Name what is in a zipped shapefile, so that many can be unpacked into one folder.

    Old programs take no other letters there.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    stem = f"{place:03d}_{re.sub('[^A-Za-z0-9]+', '_', plain).strip('_')}"[:60].rstrip("_")
    with ZipFile(BytesIO(packed)) as archive:
        return zipped(
            {f"{stem}{Path(old).suffix}": archive.read(old) for old in archive.namelist()}
        )


# ---- what all fields share -----------------------------------------------------------------------


def _tasks(given: HandOut, options: Options) -> tuple[dict[str, bytes], str | None]:
    """The task set of all fields, read back; none and why, where its format is too narrow."""
    if options.taskset_version is None:
        return {}, None
    step("Making the task set")
    fields = [
        FieldOf(one.field, one.farm, one.called, place)
        for place, one in enumerate(given.fields, start=1)
    ]
    value = options.taskset_value
    try:
        files = grower_taskset_files(
            given.grower,
            fields,
            options.moisture,
            version=options.taskset_version,
            grid=options.taskset_grid,
            value=value,
        )
    except OutputError as error:
        return {}, str(error)
    faults = []
    for one, task in zip(fields, read_tasks(files), strict=True):
        name = task_designator(one.name, options.moisture, value, one.number)
        wanted = (designator(given.grower), designator(one.farm), name)
        read = (task.grower, task.farm, task.task_name)
        if read != wanted:
            faults.append(f"{one.name}: its task is called {read}, not {wanted}")
        faults += [f"{one.name}: {fault}" for fault in unlike_task(task, one.plan, options)]
    _refuse(faults, "the cab terminal")
    return files, None


def _booklet(
    given: HandOut,
    made: Sequence[FieldFiles],
    contents: Sequence[tuple[str, str]],
    options: Options,
) -> bytes:
    """Bind the sheets behind their cover, which says on what page each field begins."""
    step("Binding the booklet")
    lengths = [sum(pages_in(content) for _, content in one.sheets) for one in made]

    def cover(length: int) -> bytes:
        page, fields = length + 1, []
        for one, pages in zip(given.fields, lengths, strict=True):
            fields.append(Listed(one.farm, one.field, one.revision, one.digest, one.called, page))
            page += pages
        return cover_pdf(
            given.grower,
            given.season,
            whom_to_call(TitleBlock(prepared_by=given.prepared_by, phone=given.phone)),
            day(TitleBlock(dated=given.dated)),
            fields,
            contents,
            paper=options.paper,
            units=options.units,
        )

    first = cover(1)
    if pages_in(first) > 1:
        first = cover(pages_in(first))
    parts = [Part(("Fields and plans",), first)]
    for place, (one, files) in enumerate(zip(given.fields, made, strict=True), start=1):
        mark = f"{place}. {one.field}, {one.farm}"
        parts += [Part((mark, title), content) for title, content in files.sheets]
    return booklet_pdf(parts, f"{given.grower}: row-unit plans, season {given.season}")


def _record(given: HandOut, files: Mapping[str, bytes]) -> bytes:
    record = {
        "schema": _SCHEMA,
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
        "files": [
            {"name": name, "bytes": len(content), "sha256": sha256(content).hexdigest()}
            for name, content in files.items()
        ],
    }
    return (json.dumps(record, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def _refuse(faults: Sequence[str], subject: str) -> None:
    if faults:
        raise OutputError(
            listed(f"What was made for {subject}, read back,", faults)
            + "\nNothing was handed out. This is a fault of zoneplan: please report it, and the "
            "field that it happens with."
        )


# ---- the folder that may be there ----------------------------------------------------------------

_FILE = re.compile(r"[^/\\]+(/[^/\\]+)?")  # never out of its folder
_CUT = "It was cut short."
_RECORD = forms.table(
    {
        "schema": forms.need(forms.one_of("form of ours", (_SCHEMA,)), _CUT),
        "grower": forms.need(forms.text, _CUT),
        "files": forms.need(
            forms.many(forms.table({"name": forms.need(forms.text, _CUT)}, others=True)), _CUT
        ),
    },
    others=True,
)


def _refuse_folder(given: HandOut, out: Path) -> set[str]:
    """Name the files that we put into a grower's folder before; none where it is not there.

    Raises
    ------
    OutputError
        When it is there and not his.
    """
    folder = out / _folder_name(given)
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
