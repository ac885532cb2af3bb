"""`zoneplan book review`, `hand-out`, `replies`, `backup`, `restore` and `export`."""

import os
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click import option

from zoneplan.cli.book import (
    BOOK,
    BY,
    MOST_ROWS,
    SOME_FAILED,
    STATES,
    WORKERS,
    count_of,
    opened,
    who_of,
)
from zoneplan.cli.options import PATH, options
from zoneplan.cli.tell import echo, say

if TYPE_CHECKING:
    from zoneplan.batch import Outcome
    from zoneplan.book.database import Book


@click.command()
@BOOK
@click.argument("field")
@option("--state", required=True, type=click.Choice(STATES[2:5]), help="What it is now.")
@option("--note", default="", metavar="TEXT", help="A note, kept beside it.")
@option("--revision", type=int, metavar="N", help="Revision of the plan that was looked at.")
@options(BY)
@opened
def review(
    book: "Book", field: str, state: str, note: str, revision: int | None, who: str | None
) -> None:
    """Say of a FIELD's plan that it was reviewed, agreed to, or sent.

    It holds for the numbers of that plan: planned again with the same, it stands; with others, it
    is void, and what moved is told.

    \b
    Example:
      zoneplan book review season.book "Home / North 40" --state agreed --by "A. Sample"
    """
    from zoneplan.book.fields import State
    from zoneplan.book.plans import record_state

    one = record_state(book, field, State(state), who=who_of(who), note=note, revision=revision)
    echo(f"{one.path}, revision {one.revision}: {one.state}, by {one.who}.")


@click.command("hand-out")
@BOOK
@option("--out", required=True, type=PATH, metavar="DIR", help="Folder of the growers' folders.")
@option(
    "--grower",
    "growers",
    multiple=True,
    metavar="NAME",
    help="Only this grower's. Repeat for more.",
)
@option(
    "--prepared-by",
    default="",
    metavar="TEXT",
    help="Who made the plans, and can be asked; whom --by names, unless given.",
)
@option("--phone", default="", metavar="TEXT", help="Where to call whoever made them.")
@option(
    "--dated",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="The day that the sheets carry; today, unless given.",
)
@option(
    "--paper",
    type=click.Choice(["letter", "a4"]),
    default="letter",
    show_default=True,
    help="Paper of the sheets.",
)
@option(
    "--units",
    type=click.Choice(["us", "si"]),
    default="us",
    show_default=True,
    help="Units on the sheets and pages.",
)
@options(WORKERS[:1], BY)
def hand_out(
    book: str,
    out: Path,
    growers: tuple[str, ...],
    prepared_by: str,
    phone: str,
    dated: datetime | None,
    paper: str,
    units: str,
    workers: int | None,
    who: str | None,
) -> None:
    """Make one folder and one zip for each grower: booklet, task set, zone files and pages.

    Nothing of another grower is inside. Fields whose plan is missing or out of date are told, and
    left out; so is one with a file that cannot be made, or does not say what its plan says.

    Exit status: 0 all that was ready is handed out; 3 some is not; 1 nothing is.

    \b
    Example:
      zoneplan book hand-out season.book --out hand-outs --prepared-by "the agronomist"
    """
    from dataclasses import replace

    from zoneplan.book.grower_folder import USUAL
    from zoneplan.book.hand_out import By, due, hand_out_all
    from zoneplan.book.opening import open_book

    with open_book(book) as opened:
        everybody = due(opened, growers)
    left = [field for one in everybody for field in one.left_out]
    for field in left[:MOST_ROWS]:
        echo(f"Left out, for it is {field.state}: {field.path}")
    if len(left) > MOST_ROWS:
        echo(f"and {len(left) - MOST_ROWS:,} more.")
    if left:
        echo(f"{count_of(left)} left out. Plan them first: zoneplan book plan {book}")
    for one in everybody:
        if not one.fields:
            echo(f"Nothing to hand out: {one.grower}")
    if not any(one.fields for one in everybody):
        sys.exit(1)
    ready = {one.grower: one for one in everybody if one.fields}
    faults, left_out, overtaken = [], [], []

    def tell(outcome: "Outcome") -> None:
        if outcome.fault:
            faults.append(outcome.key)
            echo(f"Not handed out: {outcome.key}: {outcome.fault.words}")
            return
        handed = outcome.finished
        count = count_of(ready[outcome.key].fields[len(handed.left_out) :])
        echo(f"{outcome.key}: {count}, {handed.folder}, {handed.archive.name}")
        for one in handed.left_out:
            left_out.append(one)
            echo(f"  Left out, for a fault: {one.farm} / {one.field}")
            for fault in one.faults:
                echo(f"    {fault}")
            if one.report:
                echo(f"    A report is kept in {one.report}")
        for farm, field in handed.overtaken:
            overtaken.append(field)
            echo(f"  Planned again meanwhile, and handed out as it was: {farm} / {field}")
        if handed.missing:
            echo(f"  No task set: {handed.missing}")

    say(f"Making the files of {len(ready)} growers ...")
    day = (dated or datetime.now()).date()  # noqa: DTZ005 the day of who sits here
    options = replace(USUAL, paper=paper, units=units)
    hand_out_all(
        book,
        list(ready),
        out,
        By(who_of(who), prepared_by or who or "", phone, day, options),
        done=tell,
        workers=min(workers or os.cpu_count() or 1, len(ready) or 1),
    )
    if left_out:
        echo("Please report what was left out for a fault, and the fields that it happens with.")
    if overtaken:
        echo(f"{count_of(overtaken)} planned again meanwhile: hand out again, once all is planned.")
    if faults or left_out or overtaken:
        sys.exit(SOME_FAILED if len(faults) < len(ready) else 1)


@click.command()
@BOOK
@click.argument("files", nargs=-1, required=True, type=PATH)
@options(BY)
@opened
def replies(book: "Book", files: tuple[Path, ...], who: str | None) -> None:
    """Read landowners' answers back in: FILES that their pages saved.

    One that agrees makes a plan agreed; one that asks for a call puts it back on the list. An
    answer to other numbers than hold now is told, and changes nothing.

    \b
    Example:
      zoneplan book replies season.book answers/*.json
    """
    from zoneplan.book.replies import take_replies

    taken = take_replies(book, files, who=who_of(who))
    for one in taken:
        echo(f"{one.name}: {one.words}")
    if not all(one.applied for one in taken):
        sys.exit(SOME_FAILED if any(one.applied for one in taken) else 1)


@click.command("backup")
@BOOK
@click.argument("file", type=PATH)
@opened
def backup_(book: "Book", file: Path) -> None:
    """Copy BOOK into FILE, which is a book itself; others may go on working meanwhile.

    \b
    Example:
      zoneplan book backup season.book season-monday.book
    """
    from zoneplan.book.copies import backup

    backup(book, file)
    echo(f"Copied to {file}.")


@click.command("restore")
@click.argument("file", type=PATH)
@BOOK
def restore_(file: Path, book: str) -> None:
    """Make a new BOOK from the backup in FILE: a file, or in an empty database.

    So a book moves to a server, or from one.

    \b
    Example:
      zoneplan book restore season-monday.book season.book
    """
    from zoneplan.book.copies import restore

    echo(f"Restored {restore(file, book)}.")


@click.command("export")
@BOOK
@option("--out", required=True, type=PATH, metavar="DIR", help="A new folder for all of it.")
@options(BY)
@opened
def export_(book: "Book", out: Path, who: str | None) -> None:
    """Write all that BOOK holds as a GeoPackage and plain files that need no zoneplan.

    \b
    Example:
      zoneplan book export season.book --out season-files
    """
    from zoneplan.book.copies import export

    names = export(book, out, who=who_of(who))
    echo(f"Written to {out}: {', '.join(names)}")
