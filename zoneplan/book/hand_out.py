"""Hand out what a book has: each grower his folder, several at once, and the book remembers it."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from zoneplan.batch import Fault, Outcome
from zoneplan.batch.pool import each
from zoneplan.batch.work import fault_of
from zoneplan.book.database import Book
from zoneplan.book.fields import BookField, State, fields
from zoneplan.book.grower_folder import USUAL, HandedOut, hand_out
from zoneplan.book.history import record
from zoneplan.book.inputs import season_of
from zoneplan.book.opening import open_book
from zoneplan.book.plans import plan_of
from zoneplan.book.put_out import FieldPlan, HandOut, LeftOut, NoFieldLeftError
from zoneplan.book.tables import plans, states
from zoneplan.errors import BookError, ZoneplanError, named, nearest, quoted
from zoneplan.export.manifest import Options
from zoneplan.fault_report import write_report

_MOST_S = 3600.0  # of one grower by the clock: half a second a field, and he may have hundreds


@dataclass(frozen=True)
class Due:
    """What a book has for one grower."""

    grower: str
    season: str
    fields: tuple[BookField, ...]  # whose plans stand
    left_out: tuple[BookField, ...]  # to be planned first


def due(book: Book, growers: Collection[str] = ()) -> list[Due]:
    """Tell what there is to hand out, grower by grower.

    Parameters
    ----------
    growers : collection of str, optional
        Only these.

    Raises
    ------
    BookError
        When the book knows no such grower.
    """
    everybody: dict[str, list[BookField]] = {}
    for field in fields(book):
        everybody.setdefault(field.grower, []).append(field)
    strangers = [name for name in growers if name not in everybody]
    if strangers:
        raise BookError(
            f"The book has no grower {', '.join(map(quoted, strangers))}. "
            f"{nearest(strangers[0], everybody)}".rstrip()
            + f"\nThere is: {named(sorted(everybody)) or 'none'}."
        )
    return [
        Due(
            grower,
            his[0].season,
            tuple(field for field in his if field.state not in _TO_BE_PLANNED),
            tuple(field for field in his if field.state in _TO_BE_PLANNED),
        )
        for grower, his in everybody.items()
        if not growers or grower in growers
    ]


_TO_BE_PLANNED = (State.TO_PLAN, State.OUT_OF_DATE)


@dataclass(frozen=True)
class By:
    """Who hands out, and how."""

    who: str
    prepared_by: str  # who is to be asked, as the sheets say it; empty where nobody is named
    phone: str = ""  # where to call them
    dated: date | None = None  # the day that the sheets carry
    options: Options = USUAL


def hand_out_due(book: Book, one: Due, out: Path, by: By) -> HandedOut:
    """Hand out what a book has for one grower, and write that into its history.

    A field that is left out, for a fault in its plan or its files, is not marked as handed out.
    One that is planned again meanwhile goes with the plan that it had, and is told.

    Parameters
    ----------
    book, one : Book, Due
        The book, and what it has; at least one field.
    out : Path
        The folder of all growers' folders.
    by : By
        Who hands it out, and how.

    Raises
    ------
    BookError, OutputError
    """
    ids = [field.plan_id for field in one.fields]
    asked = sa.select(plans.c.id, plans.c.numbers_sha256).where(plans.c.id.in_(ids))
    with book.read() as connection:
        season_id, _ = season_of(connection)
        digests = dict(connection.execute(asked).tuples().all())
    field_plans: list[FieldPlan] = []
    damaged: list[LeftOut] = []
    for field in one.fields:
        try:
            field_plans.append(_field_plan(book, field, digests))
        except BookError as error:
            words = " ".join(str(error).split())
            damaged.append(LeftOut(field.farm, field.name, field.revision or 0, (words,)))
    given = HandOut(
        one.grower,
        one.season,
        by.prepared_by,
        tuple(field_plans),
        by.phone,
        by.dated,
        tuple(damaged),
    )

    def remember(left_out: Sequence[LeftOut]) -> list[BookField]:
        """Write down what was handed out; give what another plan holds by now."""
        faults = {(left.farm, left.field): left for left in left_out}
        stands = sa.select(states.c.field_id, states.c.plan_id).where(
            states.c.season_id == season_id
        )
        with book.write() as connection:
            plan_ids = dict(connection.execute(stands).tuples().all())
            for field in one.fields:
                plan = digests[field.plan_id or 0]
                what: dict[str, Any] = {"revision": field.revision, "plan": plan}
                left = faults.get((field.farm, field.name))
                if left is not None:
                    what["fault"] = "; ".join(left.faults)
                if left is not None and left.report:
                    what["report"] = left.report
                record(
                    connection,
                    "handed out" if left is None else "not handed out",
                    who=by.who,
                    field_id=field.id,
                    season_id=season_id,
                    **what,
                )
        given_out = (field for field in one.fields if (field.farm, field.name) not in faults)
        return [field for field in given_out if plan_ids[field.id] != field.plan_id]

    try:
        handed = hand_out(given, out, by.options)
    except NoFieldLeftError as error:
        remember(error.left_out)
        raise
    overtaken = remember(handed.left_out)
    return replace(handed, overtaken=tuple((field.farm, field.name) for field in overtaken))


def _field_plan(book: Book, field: BookField, digests: Mapping[int, str]) -> FieldPlan:
    assert field.plan_id is not None  # its plan stands
    assert field.revision is not None
    digest = digests[field.plan_id]
    return FieldPlan(field.farm, field.name, field.revision, digest, plan_of(book, field.plan_id))


@dataclass(frozen=True)
class _Task:
    """One grower's hand-out, in a process of its own."""

    key: str  # the grower
    address: str
    out: Path
    by: By


def hand_out_all(
    address: str,
    growers: Collection[str],
    out: Path,
    by: By,
    *,
    done: Callable[[Outcome], None],
    workers: int = 1,
) -> None:
    """Hand out to several growers at once.

    Parameters
    ----------
    address : str
        Of the book: each process opens it.
    growers : collection of str
        Each with at least one field whose plan stands.
    out, by
        As for `hand_out_due`.
    done : callable
        Told of each as it comes: its `finished` is a `HandedOut`, or it has a fault.
    workers : int
        How many processes.

    Raises
    ------
    ZoneplanError
        When no process can be started.
    """
    tasks = (_Task(name, address, out, by) for name in growers)
    for outcome in each(_work, tasks, workers, most_s=_MOST_S):
        done(outcome)


def _work(task: _Task) -> Outcome:
    try:
        with open_book(task.address) as book:
            (one,) = due(book, [task.key])
            handed = hand_out_due(book, one, task.out, task.by)
    except ZoneplanError as error:
        return Outcome(task.key, fault=fault_of(error))
    except Exception as error:  # his own: the others get theirs
        return Outcome(task.key, fault=_ours(error))
    return Outcome(task.key, finished=handed)


def _ours(error: Exception) -> Fault:
    report = write_report(error, "zoneplan book hand-out")
    return Fault(
        "our-fault",
        f"a fault of zoneplan, not yours: {type(error).__name__}: {quoted(error, 200)}.\n"
        "What he had before is as it was; the others get theirs.\n"
        + (
            f"A report is kept in {report}: send it to those who gave you zoneplan."
            if report
            else "No folder takes a report: write down what you did."
        ),
    )
