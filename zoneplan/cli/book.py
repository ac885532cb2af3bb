"""`zoneplan book`: many growers' fields in one book, from their outlines to what is handed out."""

import getpass
import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from zoneplan.cli.options import PATH, SERVICES, Option, options, request_options, values_of
from zoneplan.cli.services import disclose, names_services
from zoneplan.cli.tell import columns, say
from zoneplan.cli.terminal import echo, echo_json
from zoneplan.errors import ZoneplanError
from zoneplan.progress import watched
from zoneplan.request import Request
from zoneplan.sources import Sources
from zoneplan.units import HA_PER_ACRE, to

if TYPE_CHECKING:
    from zoneplan.batch import Outcome
    from zoneplan.book.bring_in import Delivery
    from zoneplan.book.conditions import Scope
    from zoneplan.book.fields import BookField
    from zoneplan.book.history import Event
    from zoneplan.book.opening import Book
    from zoneplan.book.planning import Progress
    from zoneplan.book.preview import Change, Preview
    from zoneplan.book.supply import Added

SOME_FAILED = 3  # the exit code where some fields have faults and the rest are done
_STATES = ("to plan", "planned", "reviewed", "agreed", "sent", "out of date")
_BOOK = click.argument("book", metavar="BOOK")
_MOST_ROWS = 40  # of a table of what is wrong


def _option(*names: str, **settings: Any) -> Option:
    return click.option(*names, **settings)


_BY = (_option("--by", "who", metavar="NAME", help="Who does it; you, unless given."),)
_WHOSE = (
    _option("--grower", metavar="NAME", help="For this grower alone."),
    _option("--farm", metavar="NAME", help="For this farm of his."),
    _option("--field", metavar="NAME", help="For this field."),
)
_WORKERS = (
    _option(
        "--workers",
        type=click.IntRange(1, 256),
        metavar="N",
        help="How many fields at once; as many as there are processors, unless given.",
    ),
    _option("--on", metavar="ADDRESS", help="Plan on a cluster: tcp://host:8786"),
)


@click.group()
def book() -> None:
    """Keep many growers' fields in one book: plan them all, review, hand out.

    BOOK is a file, or the address of a PostgreSQL database: postgresql://user@host/database
    """


# ---- making one, and bringing in ---------------------------------------------------------------


@book.command()
@_BOOK
@_option("--season", metavar="YEAR", help="Which it begins with; the next spring's, unless given.")
def new(book: str, season: str | None) -> None:
    """Make an empty BOOK.

    \b
    Example:
      zoneplan book new season.book --season 2027
    """
    from zoneplan.book.opening import new_book

    with new_book(book, season) as opened:
        echo(f"Made {opened.address}.\nBring fields in: zoneplan book add fields")


@book.group()
def add() -> None:
    """Put fields, soil, a planter or rules into a book."""


@add.command()
@_BOOK
@click.argument("fields", type=PATH)
@_option("--grower", metavar="COLUMN", help="Column with the grower's name.")
@_option("--farm", metavar="COLUMN", help="Column with the farm's name.")
@_option("--field", metavar="COLUMN", help="Column with the field's name.")
@_option("--one-grower", metavar="NAME", help="Whose all of them are, where no column says so.")
@_option("--layer-crs", "crs", metavar="CODE", help="Coordinate system of a file that states none.")
@_option("--check", "only_check", is_flag=True, help="Only look it over: nothing is kept.")
@_option("--leave-out", is_flag=True, help="Keep the others where some outlines have problems.")
@_option("--gone", is_flag=True, help="What FIELDS does not hold is planted no more.")
@options(_BY)
def fields(
    book: str,
    fields: Path,
    grower: str | None,
    farm: str | None,
    field: str | None,
    *,
    one_grower: str | None,
    crs: str | None,
    only_check: bool,
    leave_out: bool,
    gone: bool,
    who: str | None,
) -> None:
    """Bring in the outlines of FIELDS, one file with many fields, after looking them over.

    Doubles, ground that two growers claim, and outlines that are broken or no field's size are
    told in a table, and nothing is kept until they are put right or left out. Bring next year's
    file in the same way: what is new, moved, renamed or gone is told.

    \b
    Example:
      zoneplan book add fields season.book fields.zip --grower OWNER --farm FARM --field NAME
    """
    from zoneplan.book.bring_in import Columns, bring_in, look_over
    from zoneplan.book.opening import open_book

    with open_book(book) as opened:
        names = Columns(grower, farm, field)
        delivery = look_over(opened, fields, names, one_grower=one_grower, crs=crs, gone=gone)
        echo(_delivery(delivery, gone=gone))
        if only_check:
            echo("Nothing was kept: it was only looked over.")
            return
        bring_in(opened, delivery, who=_who(who), leave_out=leave_out, gone=gone)
        echo(f"Kept in {opened.address}.")


@add.command()
@_BOOK
@click.argument("files", nargs=-1, required=True, type=PATH)
@options(_WHOSE, SERVICES, _BY)
def soil(
    book: str,
    files: tuple[Path, ...],
    who: str | None,
    *,
    refresh: bool,
    offline: bool,
    **names: str | None,
) -> None:
    """Copy soil layers into BOOK: surveys, rasters, points or polygons; FILES may be folders.

    Each field is planned from those that lie on it. The book holds what is in the files: they may
    be moved or deleted afterwards. The word "survey" asks the public soil survey of the United
    States for the soils of the fields, once for all, and keeps each field's.

    \b
    Example:
      zoneplan book add soil season.book wss_SSA_IA015.zip
      zoneplan book add soil season.book survey --grower "A. Sample"
    """
    from zoneplan.book.opening import open_book
    from zoneplan.book.supply import add_soil

    with open_book(book) as opened:
        for path in files:
            if names_services(Sources("springs", soils=(path,))):
                _add_public_soil(opened, who, refresh=refresh, offline=offline, **names)
                continue
            say(f"Reading {path.name} ...")
            _tell_added(add_soil(opened, path, who=_who(who), scope=None, **names))


def _add_public_soil(
    opened: "Book", who: str | None, *, refresh: bool, offline: bool, **names: str | None
) -> None:
    from zoneplan.book.public_soil import add_public_soil

    disclose(Sources("springs", soils=(Path("survey"),)), offline=offline)
    with watched(lambda doing: say(f"{doing} ...")):
        results = add_public_soil(opened, who=_who(who), refresh=refresh, offline=offline, **names)
    faults = [(one, it) for one, it in results if isinstance(it, ZoneplanError)]
    news = Counter(it.news for _, it in results if not isinstance(it, ZoneplanError))
    counted = ", ".join(f"{count:,} {word}" for word, count in news.items()) or "none"
    echo(f"Public soil survey, field by field: {counted}.")
    for one, fault in faults[:_MOST_ROWS]:
        echo(f"  {one.path}: {str(fault).partition(chr(10))[0]}")
    if faults:
        echo(f"{len(faults):,} of {len(results):,} fields have none.")
        sys.exit(SOME_FAILED)


@add.command()
@_BOOK
@click.argument("file")
@options(_WHOSE, _BY)
def planter(book: str, file: str, who: str | None, **names: str | None) -> None:
    """Copy a planter's FILE into BOOK, or set a generic one by its name.

    \b
    Example:
      zoneplan book add planter season.book our-planter.toml --grower "A. Sample"
    """
    from zoneplan.book.opening import open_book
    from zoneplan.book.supply import add_planter

    with open_book(book) as opened:
        _tell_added(add_planter(opened, file, who=_who(who), **names))


@add.command()
@_BOOK
@click.argument("file", type=PATH)
@options(_WHOSE, _BY)
def rules(book: str, file: Path, who: str | None, **names: str | None) -> None:
    """Copy a FILE of rules into BOOK, to be laid over the stock ones.

    See first what it would change: zoneplan book preview

    \b
    Example:
      zoneplan book add rules season.book our-coop.toml
    """
    from zoneplan.book.opening import open_book
    from zoneplan.book.supply import add_rules

    with open_book(book) as opened:
        _tell_added(add_rules(opened, file, who=_who(who), **names))


@book.command()
@_BOOK
@click.argument("what", type=click.Choice(["soil", "planter", "rules"]))
@click.argument("name")
@options(_WHOSE, _BY)
def remove(book: str, what: str, name: str, who: str | None, **names: str | None) -> None:
    """Let soil, a planter or rules hold no more. Plans and history keep what they were.

    \b
    Example:
      zoneplan book remove season.book rules our-coop
    """
    from zoneplan.book.opening import open_book
    from zoneplan.book.supply import take_away

    with open_book(book) as opened:
        take_away(opened, what, name, who=_who(who), **names)
        echo(f"{name} holds no more. What was planned from it is out of date.")


_SET = (
    _option("--planter", metavar="NAME", help="A planter of the book, or a generic one."),
    _option("--unset", multiple=True, metavar="NAME", help="Take a value away again, by its name."),
)


@book.command("set")
@_BOOK
@options(_WHOSE, _SET, request_options((Request,), without=("name", "pick")), _BY)
@_option("--season", metavar="YEAR", help="Turn the book to this season; it may be a new one.")
def set_(book: str, **given: Any) -> None:
    """Set what fields are planned for: for the whole BOOK, a grower, a farm or a field.

    The narrower wins. A new season begins with what was set for the one before.

    \b
    Example:
      zoneplan book set season.book --grower "A. Sample" --tillage no-till --speed 5
    """
    from zoneplan.book.conditions import set_conditions, set_season
    from zoneplan.book.opening import open_book

    who = _who(given["who"])
    names = {part: given[part] for part in ("grower", "farm", "field")}
    asked = values_of(given) | dict.fromkeys(given["unset"])
    if given["planter"]:
        asked["planter"] = given["planter"]
    if not asked and not given["season"]:
        raise click.UsageError("Say what to set: see zoneplan book set --help")
    with open_book(book) as opened:
        if given["season"]:
            is_new = set_season(opened, given["season"], who=who)
            echo(f"The season is {given['season']}" + (", a new one." if is_new else "."))
        if asked:
            scope = set_conditions(opened, asked, who=who, **names)
            echo(f"Set for {scope.words}: {', '.join(asked)}.")


# ---- planning ----------------------------------------------------------------------------------


@book.command("plan")
@_BOOK
@options(_WHOSE, _WORKERS, _BY)
@_option("--again", is_flag=True, help="Plan all, changed or not, those with a fault too.")
def plan_(
    book: str,
    workers: int | None,
    on: str | None,
    who: str | None,
    *,
    again: bool,
    **names: Any,
) -> None:
    """Plan every field of BOOK that has no plan, or whose inputs have changed since.

    Each is in the book as soon as it is done: whatever stops the run, the next one goes on where
    this one stood. A field that cannot be planned keeps its fault beside it.

    \b
    Example:
      zoneplan book plan season.book --workers 2
    """
    from zoneplan.book.opening import open_book
    from zoneplan.book.planning import plan_all

    with open_book(book) as opened:
        run = partial(plan_all, opened, who=_who(who), workers=workers, on=on, again=again)
        try:
            report = run(watch=_watch(), **names)
        except KeyboardInterrupt:
            echo("Stopped. What was done is in the book; plan again to go on.", err=True)
            sys.exit(130)
    echo(f"Planned {_count(report.planned)}; {report.up_to_date:,} up to date.")
    for field, state in report.voided:
        echo(f"No longer {state}, for its numbers are others: {field.path}")
    for field, lines in report.moved:
        more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
        echo(f"Moved: {field.path}: {lines[0]}{more}")
    if report.passed_over:
        echo(f"Passed over with the fault they had: {_count(report.passed_over)}. --again tries.")
        for field in report.passed_over:
            echo(f"  {field.path}: {(field.fault or '').splitlines()[0]}")
    for field, fault in report.failed:
        echo(f"Not planned: {field.path}: {fault.words}")
    if report.failed or report.passed_over:
        sys.exit(SOME_FAILED if report.planned or report.up_to_date else 1)


@book.command("preview")
@_BOOK
@_option("--rules", "rules_file", type=PATH, metavar="FILE", help="If these rules held.")
@_option("--planter", "planter_file", metavar="FILE", help="If this were the planter.")
@options(_WHOSE, request_options((Request,), without=("name", "pick")), _WORKERS, _BY)
@_option(
    "--take",
    multiple=True,
    metavar="FIELD",
    help='Make the change: "all", or for these fields. Repeat for more. Nothing, unless given.',
)
@_option("--json", "as_json", is_flag=True, help="Print it for a machine.")
def preview_(
    book: str,
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
    from zoneplan.book.fields import find_field
    from zoneplan.book.opening import open_book
    from zoneplan.book.planning import plan_all
    from zoneplan.book.preview import preview
    from zoneplan.book.preview import take as take_change

    who = _who(given["who"])
    change = _change(rules_file, planter_file, values_of(given), who)
    scope = partial(_scope, names={part: given[part] for part in ("grower", "farm", "field")})
    many = {"workers": given["workers"], "on": given["on"]}
    with open_book(book) as opened:
        shown = preview(opened, change, scope, watch=_watch(), **many)
        if as_json:
            echo_json(_preview_document(shown))
        else:
            echo(_preview(shown))
        if not take or take == ("none",):
            if not as_json:
                echo("Nothing was changed. To make the change: the same with --take all")
            return
        some = None if "all" in take else [find_field(opened, name) for name in take]
        take_change(opened, change, scope, some)
        chosen = [None] if some is None else [field.path for field in some]
        reports = [plan_all(opened, who=who, **_names_of(path, opened), **many) for path in chosen]
        planned = sum(len(report.planned) for report in reports)
        if not as_json:
            echo(f"The change is made; {planned:,} fields were planned from it.")


# ---- looking -----------------------------------------------------------------------------------


@book.command("list")
@_BOOK
@options(_WHOSE)
@_option("--state", "states", multiple=True, type=click.Choice(_STATES), help="Only in this state.")
@_option("--needs-a-look", "needy", is_flag=True, help="Only what needs a look, the worst first.")
@_option("--json", "as_json", is_flag=True, help="Print it for a machine.")
def list_(book: str, states: tuple[str, ...], *, needy: bool, as_json: bool, **names: Any) -> None:
    """List the fields of BOOK: acres, state, and what needs a look.

    \b
    Example:
      zoneplan book list season.book --needs-a-look
    """
    from zoneplan.book.fields import State
    from zoneplan.book.fields import fields as fields_of
    from zoneplan.book.look import by_need, needs_a_look
    from zoneplan.book.opening import open_book

    with open_book(book) as opened:
        listed = fields_of(opened, state=[State(name) for name in states], **names)
    if needy:
        listed = [field for field in by_need(listed) if needs_a_look(field)]
    if as_json:
        echo_json({"fields": [_document(field) for field in listed]})
        return
    head = ("#", "grower", "farm", "field", "acres", "state", "plan", "needs a look")
    rows = [head, *map(_row, listed)]
    echo(columns(rows, widest=32))
    acres = sum(field.acres for field in listed)
    echo(f"\n{_count(listed)}, {acres:,.1f} acres.")


@book.command()
@_BOOK
@click.argument("field")
@_option("--json", "as_json", is_flag=True, help="Print it for a machine.")
def show(book: str, field: str, *, as_json: bool) -> None:
    """Show one FIELD: its state, what it is planned from, and its plan.

    FIELD is its name, "farm / field", "grower / farm / field", or its number: "#12".

    \b
    Example:
      zoneplan book show season.book "Home / North 40"
    """
    from zoneplan.book.fields import find_field
    from zoneplan.book.look import needs_a_look
    from zoneplan.book.opening import open_book
    from zoneplan.book.plans import plan_document, plan_of
    from zoneplan.cli.tell import table

    with open_book(book) as opened:
        one = find_field(opened, field)
        if as_json:
            document = None if one.plan_id is None else plan_document(opened, one.plan_id)
            echo_json({**_document(one), "plan": document})
            return
        echo(f"{one.path}, #{one.id}: {one.acres:,.1f} acres, season {one.season}")
        by = f", by {one.who} at {one.at}" if one.who else ""
        stood = f" (was {one.stood})" if one.stood != one.state else ""
        echo(f"State: {one.state}{stood}{by}{f': {one.note}' if one.note else ''}")
        for look in needs_a_look(one):
            echo(f"Needs a look: {look.words}")
        for line in (one.voided or {}).get("moved", ()):
            echo(f"  {line}")
        if one.fault:
            echo(f"Fault: {one.fault}")
        if one.plan_id is not None:
            echo(f"\nRevision {one.revision}\n{table(plan_of(opened, one.plan_id))}")


@book.command("history")
@_BOOK
@click.argument("field", required=False)
@_option("--latest", type=click.IntRange(1), metavar="N", help="Only so many that came last.")
@_option("--json", "as_json", is_flag=True, help="Print it for a machine.")
def history_(book: str, field: str | None, latest: int | None, *, as_json: bool) -> None:
    """Tell what was done in BOOK, or to one FIELD: when, by whom. Nothing of it can be changed.

    \b
    Example:
      zoneplan book history season.book "North 40"
    """
    from zoneplan.book.fields import find_field
    from zoneplan.book.history import history
    from zoneplan.book.opening import open_book

    with open_book(book) as opened:
        field_id = None if field is None else find_field(opened, field).id
        events = history(opened, field_id, latest)
    if as_json:
        echo_json({"history": [vars(event) for event in events]})
        return
    for event in events:
        echo(_event(event))


# ---- what people say, and what leaves the book -------------------------------------------------


@book.command()
@_BOOK
@click.argument("field")
@_option("--state", required=True, type=click.Choice(_STATES[2:5]), help="What it is said to be.")
@_option("--note", default="", metavar="TEXT", help="What is said besides.")
@_option("--revision", type=int, metavar="N", help="Of the plan that was looked at.")
@options(_BY)
def review(
    book: str, field: str, state: str, note: str, revision: int | None, who: str | None
) -> None:
    """Say of a FIELD's plan that it was reviewed, agreed to, or sent.

    It holds for the numbers of that plan: planned again with the same, it stands; with others, it
    is void, and what moved is told.

    \b
    Example:
      zoneplan book review season.book "Home / North 40" --state agreed --by "A. Sample"
    """
    from zoneplan.book.fields import State
    from zoneplan.book.opening import open_book
    from zoneplan.book.states import record_state

    with open_book(book) as opened:
        one = record_state(opened, field, State(state), who=_who(who), note=note, revision=revision)
    echo(f"{one.path}, revision {one.revision}: {one.state}, by {one.who}.")


@book.command("hand-out")
@_BOOK
@_option("--out", required=True, type=PATH, metavar="DIR", help="Folder of the growers' folders.")
@_option("--grower", "growers", multiple=True, metavar="NAME", help="Only his. Repeat for more.")
@_option("--prepared-by", default="", metavar="TEXT", help="Whom to ask, as the sheets say it.")
@_option("--phone", default="", metavar="TEXT", help="Where to call them.")
@_option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@_option("--units", type=click.Choice(["us", "si"]), default="us", show_default=True)
@options(_WORKERS[:1], _BY)
def hand_out(
    book: str,
    out: Path,
    growers: tuple[str, ...],
    prepared_by: str,
    phone: str,
    paper: str,
    units: str,
    workers: int | None,
    who: str | None,
) -> None:
    """Make one folder and one zip for each grower: booklet, task set, zone files and pages.

    Nothing of another grower is inside. Fields whose plan is missing or out of date are told, and
    left out.

    \b
    Example:
      zoneplan book hand-out season.book --out hand-outs --prepared-by "the agronomist"
    """
    from dataclasses import replace

    from zoneplan.book.grower_folder import USUAL
    from zoneplan.book.hand_out import due, hand_out_all
    from zoneplan.book.opening import open_book

    with open_book(book) as opened:
        everybody = due(opened, growers)
    for one in everybody:
        for field in one.left_out:
            echo(f"Left out, for it is {field.state}: {field.path}")
        if not one.fields:
            echo(f"Nothing to hand out: {one.grower}")
    ready = {one.grower: one for one in everybody if one.fields}
    name, faults = _who(who), []

    def tell(outcome: "Outcome") -> None:
        if outcome.fault:
            faults.append(outcome.key)
            echo(f"Not handed out: {outcome.key}: {outcome.fault.words}")
            return
        handed = outcome.finished
        count = _count(ready[outcome.key].fields)
        echo(f"{outcome.key}: {count}, {handed.folder}, {handed.archive.name}")
        if handed.missing:
            echo(f"  No task set: {handed.missing}")

    say(f"Making the files of {len(ready)} growers ...")
    hand_out_all(
        book,
        list(ready),
        out,
        who=name,
        prepared_by=prepared_by or name,
        phone=phone,
        done=tell,
        options=replace(USUAL, paper=paper, units=units),
        workers=min(workers or os.cpu_count() or 1, len(ready) or 1),
    )
    if faults:
        sys.exit(SOME_FAILED if len(faults) < len(ready) else 1)


@book.command()
@_BOOK
@click.argument("files", nargs=-1, required=True, type=PATH)
@options(_BY)
def replies(book: str, files: tuple[Path, ...], who: str | None) -> None:
    """Read landowners' answers back in: FILES that their pages saved.

    One that agrees makes a plan agreed; one that asks for a call puts it back on the list. An
    answer to other numbers than hold now is told, and changes nothing.

    \b
    Example:
      zoneplan book replies season.book answers/*.json
    """
    from zoneplan.book.opening import open_book
    from zoneplan.book.replies import take_replies

    with open_book(book) as opened:
        taken = take_replies(opened, files, who=_who(who))
    for one in taken:
        echo(f"{one.name}: {one.words}")
    if not all(one.applied for one in taken):
        sys.exit(SOME_FAILED if any(one.applied for one in taken) else 1)


@book.command("backup")
@_BOOK
@click.argument("file", type=PATH)
def backup_(book: str, file: Path) -> None:
    """Copy BOOK into FILE, which is a book itself; others may go on working meanwhile.

    \b
    Example:
      zoneplan book backup season.book season-monday.book
    """
    from zoneplan.book.copies import backup
    from zoneplan.book.opening import open_book

    with open_book(book) as opened:
        backup(opened, file)
    echo(f"Copied to {file}.")


@book.command("restore")
@click.argument("file", type=PATH)
@_BOOK
def restore_(file: Path, book: str) -> None:
    """Make a new BOOK from the backup in FILE: a file, or in an empty database.

    So a book moves to a server, or from one.

    \b
    Example:
      zoneplan book restore season-monday.book season.book
    """
    from zoneplan.book.copies import restore

    echo(f"Restored {restore(file, book)}.")


@book.command("export")
@_BOOK
@_option("--out", required=True, type=PATH, metavar="DIR", help="A new folder for all of it.")
@options(_BY)
def export_(book: str, out: Path, who: str | None) -> None:
    """Write all that BOOK holds as a GeoPackage and plain files that need no zoneplan.

    \b
    Example:
      zoneplan book export season.book --out season-files
    """
    from zoneplan.book.copies import export
    from zoneplan.book.opening import open_book

    with open_book(book) as opened:
        names = export(opened, out, who=_who(who))
    echo(f"Written to {out}: {', '.join(names)}")


# ---- words -------------------------------------------------------------------------------------


def _who(name: str | None) -> str:
    if name:
        return name
    with suppress(Exception):  # a machine may know no user
        return getpass.getuser()
    return "somebody"


def _count(fields: Sequence[object]) -> str:
    return "1 field" if len(fields) == 1 else f"{len(fields):,} fields"


def _tell_added(added: "Added") -> None:
    about = f" ({added.about})" if added.about else ""
    echo(f"{added.what.capitalize()} {added.name}{about}, for {added.scope}: {added.news}.")
    if not added.used:
        echo(f"To plan for it: zoneplan book set BOOK --planter {added.name}")


def _watch() -> "Callable[[Progress], None]":
    """Tell progress on a terminal, once a second: done, failed, left, how fast, how long yet."""
    began = last = time.monotonic()

    def tell(progress: "Progress") -> None:
        nonlocal last
        moment = time.monotonic()
        if progress.left and moment - last < 1:
            return
        last, passed_s = moment, moment - began
        rate = (progress.done + progress.failed) / passed_s if passed_s else 0.0
        left = f", {progress.left / rate / 60:.0f} min left" if rate and progress.left else ""
        say(
            f"{progress.done:,} planned, {progress.failed:,} failed, {progress.left:,} to go; "
            f"{60 * rate:,.0f} a minute{left}"
        )

    return tell


def _delivery(delivery: "Delivery", *, gone: bool) -> str:
    lines = []
    if delivery.remarks:
        rows = [("outline", "whose", "what", "why")]
        rows += [
            (
                str(remark.brought.number),
                remark.brought.path,
                remark.problem or "to know",
                remark.words,
            )
            for remark in delivery.remarks[:_MOST_ROWS]
        ]
        lines += [columns(rows, widest=60)]
        if len(delivery.remarks) > _MOST_ROWS:
            lines.append(f"and {len(delivery.remarks) - _MOST_ROWS:,} more")
        lines.append("")
    acres = sum(one.area_ha for one in delivery.fields) / HA_PER_ACRE
    lines.append(f"{delivery.source} holds {_count(delivery.fields)}, {acres:,.1f} acres:")
    lines.append(
        f"  {len(delivery.new):,} new, {len(delivery.moved):,} moved, "
        f"{len(delivery.renamed):,} renamed, {len(delivery.same):,} as they are, "
        f"{len({remark.brought.number for remark in delivery.problems}):,} that cannot be kept"
    )
    lines += [
        f"  moved: {one.path}, by {off_ha / HA_PER_ACRE:.1f} acres"
        for _, one, off_ha in delivery.moved
    ]
    lines += [f"  renamed: {field.path}, now {one.path}" for field, one in delivery.renamed]
    if delivery.gone:
        then = "planted no more" if gone else "left as they are; with --gone, planted no more"
        lines.append(f"  {len(delivery.gone):,} of the book are not in it: {then}")
        lines += [f"    {field.path}" for field in delivery.gone[:_MOST_ROWS]]
    return "\n".join(lines)


def _document(field: "BookField") -> dict[str, Any]:
    """One field for a machine."""
    from zoneplan.book.look import needs_a_look

    looks = needs_a_look(field)
    return {
        "id": field.id,
        "grower": field.grower,
        "farm": field.farm,
        "field": field.name,
        "season": field.season,
        "acres": round(field.acres, 2),
        "state": str(field.state),
        "stood": str(field.stood),
        "needs_a_look": [look.why for look in looks],
        "why": [look.words for look in looks],
        "revision": field.revision,
        "by": field.who,
        "at": field.at,
        "note": field.note,
        "fault": field.fault,
        "totals": dict(field.totals),
    }


def _row(field: "BookField") -> tuple[str, ...]:
    from zoneplan.book.look import needs_a_look

    return (
        str(field.id),
        field.grower,
        field.farm,
        field.name,
        f"{field.acres:,.1f}",
        field.state,
        "" if field.revision is None else str(field.revision),
        "; ".join(look.words for look in needs_a_look(field)),
    )


def _event(event: "Event") -> str:
    where = " / ".join(part for part in (event.grower, event.farm, event.field) if part)
    about = "; ".join(f"{name}: {_brief(value)}" for name, value in event.what.items() if value)
    return "  ".join(part for part in (event.at, event.who, event.did, where, about) if part)


def _brief(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {_brief(part)}" for name, part in value.items())
    if isinstance(value, list):
        return f"{_brief(value[0])}" + (f" and {len(value) - 1} more" if len(value) > 1 else "")
    text = str(value)
    return text if len(text) <= 100 else f"{text[:97]}..."


# ---- previews ----------------------------------------------------------------------------------


def _change(
    rules_file: Path | None, planter_file: str | None, asked: dict[str, Any], who: str
) -> "Change":
    """What would be put into the book."""
    if not (rules_file or planter_file or asked):
        raise click.UsageError("Say what would change: --rules, --planter or a condition.")

    def change(connection: Any, scope: "Scope") -> None:
        from zoneplan.book.conditions import put_conditions
        from zoneplan.book.supply import put_planter, put_rules

        if rules_file:
            put_rules(connection, rules_file, scope, who=who)
        if planter_file:
            added = put_planter(connection, planter_file, scope, who=who)
            put_conditions(connection, scope, {"planter": added.name}, who=who)
        if asked:
            put_conditions(connection, scope, asked, who=who)

    return change


def _scope(connection: Any, names: dict[str, str | None]) -> "Scope":
    from zoneplan.book.conditions import scope_of

    return scope_of(connection, **names)


def _names_of(path: str | None, opened: Any) -> dict[str, Any]:
    if path is None:
        return {}
    from zoneplan.book.fields import find_field

    one = find_field(opened, path)
    return {"grower": one.grower, "farm": one.farm, "field": one.name}


def _preview(shown: "Preview") -> str:
    lines = []
    if shown.moves:
        rows = [("grower / farm / field", "acres", "of them move", "largest move", "would be void")]
        rows += [
            (
                move.field.path,
                f"{move.field.acres:,.1f}",
                f"{move.moved_acres:,.1f}",
                "a number comes or goes"
                if move.largest_n is None
                else f"{to(move.largest_n, 'lb', 'force'):.0f} lb",
                str(move.voids or ""),
            )
            for move in shown.moves[:_MOST_ROWS]
        ]
        lines += [columns(rows, widest=50)]
        if len(shown.moves) > _MOST_ROWS:
            lines.append(f"and {len(shown.moves) - _MOST_ROWS:,} more")
        lines.append("")
    void = [move for move in shown.moves if move.voids]
    lines.append(
        f"{_count(shown.moves)} would get other numbers, {shown.acres:,.1f} acres in all; "
        f"{len(void):,} would lose what was said of them; {len(shown.still):,} would be planned "
        f"anew with the numbers they have; {shown.untouched:,} are not touched."
    )
    if shown.first:
        lines.append(f"{_count(shown.first)} would be planned for the first time.")
    lines += [f"Could not be planned: {field.path}: {words}" for field, words in shown.failed]
    return "\n".join(lines)


def _preview_document(shown: "Preview") -> dict[str, Any]:
    return {
        "moves": [
            {
                "grower": move.field.grower,
                "farm": move.field.farm,
                "field": move.field.name,
                "acres": round(move.field.acres, 2),
                "moved_acres": round(move.moved_acres, 2),
                "largest_n": move.largest_n,
                "would_void": move.voids and str(move.voids),
            }
            for move in shown.moves
        ],
        "acres": round(shown.acres, 2),
        "same_numbers": _paths(shown.still),
        "first": _paths(shown.first),
        "failed": [{"field": field.path, "fault": words} for field, words in shown.failed],
        "untouched": shown.untouched,
    }


def _paths(fields: "Iterable[BookField]") -> list[str]:
    return [field.path for field in fields]
