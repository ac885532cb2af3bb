"""What a grower gets: one folder and one zip of all his fields, and nothing of anybody else's.

A booklet to print (a cover with list and map; of every field the cab sheet, the summary and the
landowner's page), one task set for the cab terminal, zone files, and of every field the landowner's
page with a form to answer. Nothing here reads the clock: the same plans of the same day give the
same bytes.
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

from zoneplan.book.put_out import (
    IN_A_NAME,
    RECORD,
    Faults,
    HandOut,
    LeftOut,
    put_out,
    record_of,
    refuse_folder,
)
from zoneplan.errors import OutputError, ZoneplanError
from zoneplan.export.bundle import WHOLE, ZONES
from zoneplan.export.manifest import Options
from zoneplan.export.readback import TASKDATA, differences, unlike_task
from zoneplan.export.readers import read_sheet, read_tasks
from zoneplan.export.sheets.booklet import Part, booklet_pdf
from zoneplan.export.sheets.cover import Listed, cover_pdf
from zoneplan.export.sheets.printed import sheet_pdf
from zoneplan.export.taskset import FieldOf, grower_taskset_files
from zoneplan.export.taskset_words import designator, task_designator
from zoneplan.export.webpage import webpage_html
from zoneplan.export.zone_files import zipped
from zoneplan.fault_report import write_report
from zoneplan.harmless import in_file_name
from zoneplan.progress import step

USUAL = Options(all_moistures=True)
_ZONES, _PAGES = "zones", "landowner"  # folders


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
    left_out: tuple[LeftOut, ...] = ()
    overtaken: tuple[tuple[str, str], ...] = ()  # farm and field: planned again while it was made


def hand_out(given: HandOut, out: Path, options: Options = USUAL) -> HandedOut:
    """Write what a grower gets into a folder of his own below `out`, and a zip beside it.

    A field with a file that cannot be made, or does not say what its plan says, is left out, and
    told.

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
        When it cannot be written there, a folder of that name is somebody else's, or no field is
        left. What was there before stays.
    """
    if not given.fields:
        given.without({})
    refuse_folder(given, out)
    made: list[FieldFiles] = []
    faults: dict[int, Faults] = {}
    for at, name in enumerate(field_names(given)):
        try:
            files, unlike = _field_files(given, at, name, options)
        except OSError as error:  # the machine's: it would be every field's
            raise OutputError(
                f"What is for {given.grower} cannot be made: {error.strerror or error}.\n"
                "What was there before is there still. See that there is room for temporary files."
            ) from error
        except Exception as error:  # its own, whatever it is: the others are none the worse
            faults[at] = _stopped(error)
            continue
        made.append(files)
        if unlike:
            faults[at] = Faults(tuple(unlike))
    if faults:  # the others are numbered again
        return hand_out(given.without(faults), out, options)
    tasks, missing, faults = _tasks(given, options)
    if faults:
        return hand_out(given.without(faults), out, options)
    everything = _folder_files(given, made, tasks, options)
    folder, archive = put_out(given, everything, out)
    return HandedOut(folder, archive, tuple(everything), missing, given.left_out)


def _stopped(error: Exception) -> Faults:
    """Say why a field's files could not be made; keep a report where the program is at fault."""
    words = " ".join(f"{error}".split())
    if isinstance(error, ZoneplanError):
        return Faults((words,))
    report = write_report(error, "zoneplan book hand-out")
    kind = type(error).__name__
    return Faults(
        (f"its files could not be made: {kind}: {words}",), str(report) if report else None
    )


def field_names(given: HandOut) -> list[str]:
    """Name every field for its files: farm, field, season and revision; no two are alike."""
    names: list[str] = []
    taken: Counter[str] = Counter()
    for one in given.fields:
        farm, field = (in_file_name(name, IN_A_NAME) for name in (one.farm, one.field))
        name = f"{farm}, {field}, {in_file_name(given.season, IN_A_NAME)}"
        taken[name.casefold()] += 1
        again = taken[name.casefold()]
        names.append(f"{name}{f' ({again})' if again > 1 else ''}, plan {one.revision}")
    return names


def _field_files(
    given: HandOut, at: int, name: str, options: Options
) -> tuple[FieldFiles, list[str]]:
    """Make the files and sheets of his field `at`, and tell where they differ from its plan."""
    one = given.fields[at]
    step("Making the files of", one.field)
    plan, units = one.called, options.units
    title = given.title_of(one)
    files = {name: make(plan) for name, make in WHOLE.items()}
    files |= {name: make(plan, options.moistures) for name, make in ZONES.items()}
    page = webpage_html(plan, units=units, title=title)
    sheets = [
        (called, sheet_pdf(sheet, plan, paper=options.paper, units=units, title=title))
        for called, sheet in (
            ("Cab sheet", "cab.pdf"),
            ("Row-unit plan", "summary.pdf"),
            ("Landowner’s page", "landowner.pdf"),
        )
    ]
    printed = {f"{title}.pdf": content for title, content in sheets}
    faults = differences({**files, **printed, "field.html": page}, plan, options)
    files["zones.zip"] = _with_members_called(files["zones.zip"], at + 1, name)
    named = {f"{_ZONES}/{name} {old}": content for old, content in files.items()}
    return FieldFiles({**named, f"{_PAGES}/{name}.html": page}, sheets), faults


def _folder_files(
    given: HandOut, made: Sequence[FieldFiles], tasks: Mapping[str, bytes], options: Options
) -> dict[str, bytes]:
    """Put a grower's fields together: all files of his folder by name."""
    booklet = f"{given.folder}, {given.season_name} booklet.pdf"
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
    return {**files, RECORD: record_of(given, files)}


# ---- names ---------------------------------------------------------------------------------------


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


def _tasks(
    given: HandOut, options: Options
) -> tuple[dict[str, bytes], str | None, dict[int, Faults]]:
    """The task set of all fields; why there is none, where its format is too narrow; and where a
    field's task, read back, differs from its plan.
    """
    if options.taskset_version is None:
        return {}, None, {}
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
        return {}, str(error), {}
    faults: dict[int, Faults] = {}
    for at, (one, task) in enumerate(zip(fields, read_tasks(files), strict=True)):
        name = task_designator(one.name, options.moisture, value, one.number)
        wanted = (designator(given.grower), designator(one.farm), name)
        read = (task.grower, task.farm, task.task_name)
        named = [] if read == wanted else [f"its task is called {read}, not {wanted}"]
        if unlike := [*named, *unlike_task(task, one.plan, options)]:
            faults[at] = Faults(tuple(f"{TASKDATA}: {fault}" for fault in unlike))
    return files, None, faults


def _booklet(
    given: HandOut,
    made: Sequence[FieldFiles],
    contents: Sequence[tuple[str, str]],
    options: Options,
) -> bytes:
    """Bind the sheets behind their cover, which says on what page each field begins."""
    step("Binding the booklet")
    lengths = [sum(read_sheet(content).pages for _, content in one.sheets) for one in made]

    def cover(length: int) -> bytes:
        page, fields = length + 1, []
        for one, pages in zip(given.fields, lengths, strict=True):
            fields.append(Listed(one.farm, one.field, one.revision, one.digest, one.called, page))
            page += pages
        return cover_pdf(
            given.title,
            fields,
            contents,
            [(f"{one.field}, {one.farm}", one.faults[0]) for one in given.left_out],
            paper=options.paper,
            units=options.units,
        )

    first = cover(1)
    if (length := read_sheet(first).pages) > 1:
        first = cover(length)
    parts = [Part(("Fields and plans",), first)]
    for place, (one, files) in enumerate(zip(given.fields, made, strict=True), start=1):
        mark = f"{place}. {one.field}, {one.farm}"
        parts += [Part((mark, title), content) for title, content in files.sheets]
    return booklet_pdf(parts, f"{given.grower}: row-unit plans, season {given.season}")
