"""`zoneplan book plan` and `preview`: plan what changed, and see what a change would do."""

import sys
import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click import option

from zoneplan.cli.book import (
    BOOK,
    BY,
    MOST_ROWS,
    SOME_FAILED,
    WHOSE,
    WORKERS,
    count_of,
    first_rows,
    opened,
    who_of,
)
from zoneplan.cli.options import PATH, Headed, options, request_options, values_of
from zoneplan.cli.tell import echo, echo_json, say
from zoneplan.errors import BookError, named
from zoneplan.request import Request

if TYPE_CHECKING:
    from zoneplan.batch import Progress
    from zoneplan.book.database import Book
    from zoneplan.book.fields import BookField
    from zoneplan.book.preview import Change, Preview
    from zoneplan.book.supply import Scope

_WHOSE = ("grower", "farm", "field")


@click.command("plan")
@BOOK
@options(WHOSE, WORKERS, BY)
@option("--again", is_flag=True, help="Plan all, changed or not, those with a fault too.")
@opened
def plan_(
    book: "Book", workers: int | None, on: str | None, who: str | None, *, again: bool, **names: Any
) -> None:
    """Plan every field of BOOK that has no plan, or whose inputs have changed since.

    Each is in the book as soon as it is done: whatever stops the run, the next one goes on where
    this one stood. A field that cannot be planned keeps its fault beside it.

    \b
    Example:
      zoneplan book plan season.book --workers 2
    """
    from zoneplan.book.planning import plan_all

    run = partial(plan_all, book, who=who_of(who), workers=workers, on=on, again=again)
    try:
        report = run(watch=_watch(), **names)
    except KeyboardInterrupt:
        echo("Stopped. What was done is in the book; plan again to go on.", err=True)
        sys.exit(130)
    echo(f"Planned {count_of(report.planned)}; {report.up_to_date:,} up to date.")
    for field, state in report.voided:
        echo(f"No longer {state}, for its numbers are others: {field.path}")
    for field, lines in report.moved[:MOST_ROWS]:
        more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
        echo(f"Moved: {field.path}: {lines[-1]}{more}")  # causes stand first, numbers last
    if len(report.moved) > MOST_ROWS:
        echo(f"and {len(report.moved) - MOST_ROWS:,} more moved: zoneplan book show tells what")
    if report.passed_over:
        echo(f"Passed over with the fault they had: {count_of(report.passed_over)}. --again tries.")
        _faults([(field, field.fault or "") for field in report.passed_over])
    if report.failed:
        echo(f"Not planned: {count_of(report.failed)}.")
        _faults([(field, fault.words) for field, fault in report.failed])
    if report.failed or report.passed_over:
        sys.exit(SOME_FAILED if report.planned or report.up_to_date else 1)


@click.command("preview", cls=Headed)
@BOOK
@option("--rules", "rules_file", type=PATH, metavar="FILE", help="If these rules held.")
@option("--planter", "planter_file", metavar="FILE", help="If this were the planter.")
@options(WHOSE, request_options((Request,), without=("name", "pick")), WORKERS, BY)
@option(
    "--take",
    multiple=True,
    metavar="FIELD",
    help='Make the change: "all", or for these fields. Repeat for more. Nothing, unless given.',
)
@option("--json", "as_json", is_flag=True, help="Print it for a program.")
@opened
def preview_(
    book: "Book",
    rules_file: Path | None,
    planter_file: str | None,
    *,
    take: tuple[str, ...],
    as_json: bool,
    **given: Any,
) -> None:
    """Tell what a change of rules, planter or conditions would do, before it is made.

    Which fields and how many acres get other numbers, the largest moves, and which agreements
    would be void. Then take it for all, for some, or leave it.

    \b
    Example:
      zoneplan book preview season.book --rules our-coop.toml
    """
    from zoneplan.book.planning import plan_all
    from zoneplan.book.preview import preview
    from zoneplan.book.preview import take as take_change

    who = who_of(given["who"])
    change = _change(rules_file, planter_file, values_of(given), who)
    scope = partial(_scope, names={part: given[part] for part in _WHOSE})
    many = {"workers": given["workers"], "on": given["on"]}
    if take == ("none",):
        take = ()
    some = None if "all" in take else _chosen(book, take, given)
    shown = preview(book, change, scope, watch=_watch(), **many)
    if as_json:
        echo_json(_preview_document(shown))
    else:
        echo(_preview(shown))
    if not take:
        if not as_json:
            echo("Nothing was changed. To make the change: the same with --take all")
        return
    take_change(book, change, scope, some)
    chosen = [{}] if some is None else [_names_of(field) for field in some]
    reports = [plan_all(book, who=who, **names, **many) for names in chosen]
    planned = [field for report in reports for field in report.planned]
    if not as_json:
        were = "was" if len(planned) == 1 else "were"
        echo(f"The change is made; {count_of(planned)} {were} planned from it.")


def _chosen(book: "Book", take: "Collection[str]", given: "Mapping[str, Any]") -> "list[BookField]":
    """The fields that a change is taken for, each one of those that it is for."""
    from zoneplan.book.fields import fields, find_field

    meant = {one.id for one in fields(book, **{part: given[part] for part in _WHOSE})}
    some = [find_field(book, name) for name in take]
    others = [one.path for one in some if one.id not in meant]
    if others:
        raise BookError(
            f"The change is not for {named(others)}.\nNothing was changed.\n"
            "Take it for fields of those that it is for, or ask for it without their names."
        )
    return some


def _faults(faults: "Sequence[tuple[BookField, str]]") -> None:
    """Tell each fault once, with the fields that have it."""
    fields: dict[str, list[str]] = {}
    for field, words in faults:
        fields.setdefault(words, []).append(field.path)
    for words, paths in list(fields.items())[:MOST_ROWS]:
        more = f" and {len(paths) - 1:,} more" if len(paths) > 1 else ""
        echo(f"  {paths[0]}{more}: " + words.replace("\n", "\n    "))
    if len(fields) > MOST_ROWS:
        echo(f"and {len(fields) - MOST_ROWS:,} more faults: zoneplan book list --needs-a-look")


def _watch() -> "Callable[[Progress], None]":
    """Tell progress on a terminal, once a second: done, failed, left, how fast, how long yet."""
    began = last = time.monotonic()

    def tell(progress: "Progress") -> None:
        nonlocal last
        moment = time.monotonic()
        if progress.left and moment - last < 1:
            return
        last, passed_s = moment, moment - began
        rate = (progress.planned + progress.failed) / passed_s if passed_s else 0.0
        left = f", {progress.left / rate / 60:.0f} min left" if rate and progress.left else ""
        say(
            f"{progress.planned:,} planned, {progress.failed:,} failed, {progress.left:,} to go; "
            f"{60 * rate:,.0f} a minute{left}"
        )

    return tell


def _change(
    rules_file: Path | None, planter_file: str | None, asked: dict[str, Any], who: str
) -> "Change":
    """What would be put into the book."""
    if not (rules_file or planter_file or asked):
        raise click.UsageError("Say what would change: --rules, --planter or a condition.")

    def change(connection: Any, scope: "Scope") -> None:
        from zoneplan.book.supply import put_conditions, put_planter, put_rules

        if rules_file:
            put_rules(connection, rules_file, scope, who=who)
        if planter_file:
            put_planter(connection, planter_file, scope, who=who, use=True)
        if asked:
            put_conditions(connection, scope, asked, who=who)

    return change


def _scope(connection: Any, names: dict[str, str | None]) -> "Scope":
    from zoneplan.book.supply import scope_of

    return scope_of(connection, **names)


def _names_of(field: "BookField") -> dict[str, Any]:
    return {"grower": field.grower, "farm": field.farm, "field": field.name}


def _preview(shown: "Preview") -> str:
    lines = []
    if shown.moves:
        head = (
            "grower / farm / field",
            "acres",
            "of them change",
            "largest change",
            "would no longer be",
        )
        rows = [
            (
                move.field.path,
                f"{move.field.acres:,.1f}",
                f"{move.moved_acres:,.1f}",
                move.words,
                str(move.voids or ""),
            )
            for move in shown.moves
        ]
        lines += first_rows(head, rows, widest=50)
    void = [move for move in shown.moves if move.voids]
    lines.append(
        f"{count_of(shown.moves)} would get other numbers, {shown.acres:,.1f} acres in all; "
        f"{len(void):,} would lose their review or agreement; {len(shown.still):,} would be "
        f"planned again with the numbers they have; {shown.untouched:,} are not touched."
    )
    if shown.late:
        lines.append(
            f"{shown.late:,} of these are out of date by a change made before, and are planned "
            "again by: zoneplan book plan"
        )
    if shown.first:
        lines.append(f"{count_of(shown.first)} would be planned for the first time.")
    lines += [f"Could not be planned: {field.path}: {words}" for field, words in shown.failed]
    return "\n".join(lines)


def _preview_document(shown: "Preview") -> dict[str, Any]:
    return {
        "moves": [
            {
                **_names_of(move.field),
                "acres": round(move.field.acres, 2),
                "moved_acres": round(move.moved_acres, 2),
                "largest_n": move.largest_n,
                "turns": [{**vars(turn), "acres": round(turn.acres, 2)} for turn in move.turns],
                "would_void": move.voids and str(move.voids),
            }
            for move in shown.moves
        ],
        "acres": round(shown.acres, 2),
        "same_numbers": _paths(shown.still),
        "first": _paths(shown.first),
        "failed": [{"field": field.path, "fault": words} for field, words in shown.failed],
        "untouched": shown.untouched,
        "out_of_date": shown.late,
    }


def _paths(fields: "Iterable[BookField]") -> list[str]:
    return [field.path for field in fields]
