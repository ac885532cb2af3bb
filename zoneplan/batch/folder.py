"""A folder of plans: every field of one file, each in a folder of its own, and two tables of all.

Beside them lies a record, a line a field that is done. It is written as each comes, so that a run
that was stopped, however that was, goes on where it stood. A field counts as done where nothing
that its plan is made from has changed since, and its plan is there as it was written.
"""

import csv
import io
import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from hashlib import sha256
from itertools import chain, count
from pathlib import Path
from types import MappingProxyType
from typing import Any

import shapely

from zoneplan import release
from zoneplan.batch import Fault, Outcome, Progress, Task, run_all
from zoneplan.batch.work import fault_of
from zoneplan.errors import OutputError, ZoneplanError
from zoneplan.export.document import SCHEMA
from zoneplan.export.manifest import Options
from zoneplan.export.stopped import locked
from zoneplan.export.zone_files import cell
from zoneplan.field.files import MOST_CORNERS
from zoneplan.field.outline import name_in, read_outlines
from zoneplan.harmless import in_file_name
from zoneplan.notices import Notice
from zoneplan.request import Request
from zoneplan.run import read_setup
from zoneplan.sources import Sources, provenance
from zoneplan.store.request_json import request_document

RECORD, FIELDS, FAULTS = "batch.jsonl", "fields.csv", "faults.csv"
_FORM = "zoneplan-batch/1"
_KILLING = ("worker-died", "too-slow")  # faults that are not tried again unasked
_TOLD = (  # of the totals, in the table of fields
    "area_ha",
    "zones",
    "uncovered_ha",
    "no_data_ha",
    "wait_ha",
    "unreached_ha",
    "gave_way_ha",
    "unlikely_ha",
    "generic",
)


@dataclass(frozen=True)
class ListedField:
    """A field as a file of many has it."""

    number: int  # from 1, as it lies there
    name: str
    folder: str  # unlike any other, on any disk
    outline: bytes  # as WKB in WGS 84 degrees


@dataclass(frozen=True)
class Report:
    """What a run came to."""

    planned: tuple[ListedField, ...]
    as_they_were: tuple[ListedField, ...]  # done before, and nothing has changed since
    failed: tuple[tuple[ListedField, Fault], ...]
    passed_over: tuple[tuple[ListedField, Fault], ...]  # they ended their process the last time


def fields_in(path: Path, crs: str | None = None) -> tuple[list[ListedField], list[Notice]]:
    """List the fields of a file, each by its name there, and say what else there was.

    Raises
    ------
    LayerError
        When the file cannot be trusted, or holds no area.
    """
    areas, notes = read_outlines(path, crs, MOST_CORNERS)
    listed = []
    taken: set[str] = set()
    for number, row in areas.iterrows():
        own = path.stem if len(areas) == 1 else f"{path.stem} {number}"
        name = name_in(row) or own
        folder = _unlike(in_file_name(name), taken)
        taken.add(folder.casefold())
        listed.append(ListedField(int(number), name, folder, shapely.to_wkb(row.geometry)))
    return listed, notes


def _unlike(name: str, taken: set[str]) -> str:
    numbered = (f"{name} ({number})" for number in count(2))
    return next(one for one in chain([name], numbered) if one.casefold() not in taken)


def plan_into(
    out: Path,
    fields: Sequence[ListedField],
    request: Request,
    sources: Sources,
    *,
    options: Options,
    workers: int | None = None,
    on: str | None = None,
    again: bool = False,
    own: Mapping[int, Sources | ZoneplanError] = MappingProxyType({}),
    watch: Callable[[Progress], None] = lambda _: None,
) -> Report:
    """Plan fields into a folder, those that are not done yet, and write the tables of all.

    Parameters
    ----------
    out : Path
        The folder; it is made where it is missing.
    fields : sequence of ListedField
        From `fields_in`.
    request, sources : Request, Sources
        Of every field; its name and its boundary are its own.
    options : Options
        Which files are written of each, and how.
    workers, on
        As `run_all` takes them.
    again : bool
        Plan all of them, changed or not.
    own : mapping, optional
        By a field's number, sources that are its own in place of those of all, or what keeps it
        from them.
    watch : callable
        Told after each field. What it raises stops the run, as Ctrl-C does; then the tables are
        written all the same.

    Raises
    ------
    LayerError, OutputError, ZoneplanError
        When a file that all share cannot be read, the folder cannot be written or another writes
        to it, or no worker can be started.
    """
    read_setup(replace(sources, boundary=None))  # what is wrong with it is wrong with every field
    tasks: dict[str, Task] = {}
    without: dict[str, Fault] = {}  # fields whose own sources could not be had
    for field in fields:
        made_from = own.get(field.number, sources)
        if isinstance(made_from, ZoneplanError):
            without[field.folder] = fault_of(made_from)
            made_from = sources
        tasks[field.folder] = _task(field, request, made_from, out, options)
    by_folder = {field.folder: field for field in fields}
    shared = _shared_digest(request, sources, options)
    digests = {name: _digest(shared, task, sources) for name, task in tasks.items()}
    with _record(out) as record:
        before = {} if again else _still_good(record, digests, out)
        due = {name: task for name, task in tasks.items() if name not in before}
        counted: Counter[str] = Counter()

        def done(outcome: Outcome) -> None:
            record.keep(outcome, digests[outcome.key])
            counted["failed" if outcome.fault else "planned"] += 1
            left = len(due) - counted.total()
            watch(Progress(counted["planned"], counted["failed"], left))

        came: dict[str, Mapping[str, Any]] = {}
        try:
            for name in due:
                if name in without:
                    done(Outcome(name, fault=without[name]))
            ready = [task for name, task in due.items() if name not in without]
            run_all(ready, workers=workers, on=on, done=done)
        finally:
            came = {name: line for name, line in record.lines.items() if name in tasks}
            _write_tables(out, fields, came)
    now = {name: line for name, line in came.items() if name in due}
    return Report(
        planned=tuple(by_folder[name] for name, line in now.items() if "totals" in line),
        as_they_were=tuple(by_folder[name] for name, line in before.items() if "totals" in line),
        failed=tuple(_failed(by_folder, now)),
        passed_over=tuple(_failed(by_folder, before)),
    )


def _task(
    field: ListedField, request: Request, sources: Sources, out: Path, options: Options
) -> Task:
    own = replace(request, name=request.name or field.name, pick=None)
    return Task(field.folder, own, sources, field.outline, out / field.folder, options)


def _failed(
    by_folder: Mapping[str, ListedField], lines: Mapping[str, Mapping[str, Any]]
) -> Iterator[tuple[ListedField, Fault]]:
    for name, line in lines.items():
        if "fault" in line:
            fault = line["fault"]
            parameters = tuple(map(str, fault.get("parameters") or ()))
            example = str(fault.get("example") or "")
            yield by_folder[name], Fault(fault["code"], fault["words"], parameters, example)


# ---- what a plan is made from ------------------------------------------------------------------


def _shared_digest(request: Request, sources: Sources, options: Options) -> str:
    """A digest of all that is the same for every field: never of a file's time."""
    made_from = {
        "zoneplan": release(),
        "schema": SCHEMA,
        "request": request_document(replace(request, name=None, pick=None)),
        "machine": sources.machine if isinstance(sources.machine, str) else None,
        "files": [asdict(file) for file in provenance(replace(sources, boundary=None))],
        "options": asdict(options),
    }
    return sha256(json.dumps(made_from, sort_keys=True, default=str).encode()).hexdigest()


def _digest(shared: str, task: Task, sources: Sources) -> str:
    """A digest of all that a plan is made from, with the files that are a field's own."""
    digest = sha256(f"{shared} {task.request.name}".encode() + (task.outline or b""))
    if task.sources is not sources:
        files = provenance(replace(task.sources, boundary=None))
        digest.update(json.dumps([asdict(file) for file in files]).encode())
    return digest.hexdigest()


# ---- the record --------------------------------------------------------------------------------


class _Record:
    """What came of each field: the last line of each counts."""

    def __init__(self, path: Path, lines: dict[str, Mapping[str, Any]]) -> None:
        self.path, self.lines = path, lines

    def keep(self, outcome: Outcome, digest: str) -> None:
        line: dict[str, Any] = {"field": outcome.key, "digest": digest}
        if outcome.fault:
            line["fault"] = asdict(outcome.fault)
        else:
            assert outcome.totals is not None
            line["totals"] = asdict(outcome.totals)
            line["sha256"] = sha256(outcome.document or b"").hexdigest()
            line["cpu_s"] = round(outcome.cpu_s, 3)
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line, ensure_ascii=False) + "\n")
        self.lines[outcome.key] = line


@contextmanager
def _record(out: Path) -> Iterator[_Record]:
    """Open the record of a folder, for one run at a time."""
    path = out / RECORD
    try:
        out.mkdir(parents=True, exist_ok=True)
        with locked(out / ".zoneplan-batch" / "lock"):
            lines = _read(path)
            head = {"schema": _FORM, "zoneplan": release()}
            _put(path, "".join(f"{json.dumps(line)}\n" for line in (head, *lines.values())))
            yield _Record(path, lines)
    except BlockingIOError as error:
        raise OutputError(
            f"Another zoneplan is planning into {out} at this moment.\n"
            "Nothing was changed. Wait until it is done, or name another folder."
        ) from error
    except OSError as error:
        raise OutputError(
            f"The plans cannot be written to {out}: {error.strerror or error}.\n"
            "Fields that were done are kept. See that it is a folder that you may write to and "
            "that the disk has room, or name another."
        ) from error


def _read(path: Path) -> dict[str, Mapping[str, Any]]:
    """Read a record; a line that was cut off, or that nobody of ours wrote, is passed over."""
    if not path.exists():
        return {}
    head, *rest = path.read_text("utf-8", errors="replace").splitlines() or [""]
    if _parsed(head).get("schema") != _FORM:
        raise OutputError(
            f"{path} is no record of a batch that this zoneplan knows.\n"
            "Nothing was changed. Move it to another place, or name another folder."
        )
    lines = (_parsed(line) for line in rest)
    return {line["field"]: line for line in lines if _is_whole(line)}


def _is_whole(line: Mapping[str, Any]) -> bool:
    """Whether a line is as `keep` writes it."""
    texts = [line.get("field"), line.get("digest")]
    fault, totals = line.get("fault"), line.get("totals")
    if isinstance(fault, dict):
        texts += [fault.get("code"), fault.get("words")]
    elif not isinstance(totals, dict):
        return False
    return all(isinstance(text, str) for text in texts)


def _parsed(line: str) -> dict[str, Any]:
    with suppress(ValueError):
        parsed = json.loads(line)
        if isinstance(parsed, dict):
            return parsed
    return {}


def _still_good(
    record: _Record, digests: Mapping[str, str], out: Path
) -> dict[str, Mapping[str, Any]]:
    """Which fields need not be planned, and what came of them."""
    good = {}
    for name, line in record.lines.items():
        if line["digest"] != digests.get(name):
            continue
        if "fault" in line:
            if line["fault"]["code"] in _KILLING:
                good[name] = line
            continue
        with suppress(OSError):
            content = (out / name / "plan.json").read_bytes()
            if sha256(content).hexdigest() == line.get("sha256"):
                good[name] = line
    return good


# ---- the tables --------------------------------------------------------------------------------


def _write_tables(
    out: Path, fields: Sequence[ListedField], lines: Mapping[str, Mapping[str, Any]]
) -> None:
    """Write both tables, of the fields in the order of their file."""
    head = ["number", "field", "folder", "state", *_TOLD, "cpu_s"]
    rows: list[Sequence[Any]] = []
    faults: list[Sequence[Any]] = []
    for field in fields:
        line = lines.get(field.folder, {})
        totals = line.get("totals", {})
        state = "planned" if totals else "fault" if "fault" in line else "to plan"
        figures = [totals.get(name, "") for name in _TOLD]
        rows.append(
            [field.number, field.name, field.folder, state, *figures, line.get("cpu_s", "")]
        )
        if "fault" in line:
            fault = line["fault"]
            faults.append([field.number, field.name, fault["code"], fault["words"]])
    _put(out / FIELDS, _table(head, rows))
    _put(out / FAULTS, _table(["number", "field", "code", "why"], faults))


def _table(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    written = io.StringIO(newline="")
    table = csv.writer(written)
    table.writerow(head)
    table.writerows([cell(value) for value in row] for row in rows)
    return written.getvalue()


def _put(path: Path, text: str) -> None:
    aside = path.with_name(f".{path.name}.new")
    aside.write_text(text, "utf-8", newline="")
    aside.replace(path)
