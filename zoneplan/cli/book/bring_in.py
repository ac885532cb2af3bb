"""`zoneplan book new`, `add`, `remove` and `set`: a book, and what fields are planned from."""

import sys
from collections import Counter
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
    count_of,
    first_rows,
    named_by_option,
    opened,
    set_name,
    set_words,
    who_of,
)
from zoneplan.cli.options import PATH, SERVICES, Headed, options, request_options, values_of
from zoneplan.cli.tell import disclose, echo, names_services, say
from zoneplan.errors import ZoneplanError
from zoneplan.progress import watched
from zoneplan.request import Request
from zoneplan.sources import Sources
from zoneplan.units import HA_PER_ACRE

if TYPE_CHECKING:
    from zoneplan.book.bring_in import Delivery
    from zoneplan.book.database import Book
    from zoneplan.book.supply import Added


@click.command()
@BOOK
@option("--season", metavar="YEAR", help="Season to begin with; the next spring's, unless given.")
def new(book: str, season: str | None) -> None:
    """Make an empty BOOK.

    \b
    Example:
      zoneplan book new season.book --season 2027
    """
    from zoneplan.book.opening import new_book

    with new_book(book, season) as opened:
        echo(f"Made {opened.address}.\nBring fields in: zoneplan book add fields")


@click.group()
def add() -> None:
    """Put fields, soil, a planter or rules into a book."""


@add.command()
@BOOK
@click.argument("fields", type=PATH)
@option("--grower", metavar="COLUMN", help="Column with the grower's name.")
@option("--farm", metavar="COLUMN", help="Column with the farm's name.")
@option("--field", metavar="COLUMN", help="Column with the field's name.")
@option("--one-grower", metavar="NAME", help="Whose all of them are, where no column says so.")
@option("--layer-crs", "crs", metavar="CODE", help="Coordinate system of a file that states none.")
@option("--check", "only_check", is_flag=True, help="Only look it over: nothing is kept.")
@option("--leave-out", is_flag=True, help="Keep the others where some outlines have problems.")
@option(
    "--gone",
    is_flag=True,
    help="What FIELDS does not hold is planted no more: of all growers, or of the one it names.",
)
@options(BY)
@opened
def fields(
    book: "Book",
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
    from zoneplan.book.bring_in import bring_in, look_over
    from zoneplan.book.outlines import Columns

    names = Columns(grower, farm, field)
    delivery = look_over(book, fields, names, one_grower=one_grower, crs=crs, gone=gone)
    echo(_delivery(delivery, gone=gone))
    if only_check:
        echo("Nothing was kept: it was only looked over.")
        return
    bring_in(book, delivery, who=who_of(who), leave_out=leave_out, gone=gone)
    echo(f"Kept in {book.address}.")


@add.command()
@BOOK
@click.argument("files", nargs=-1, required=True, type=PATH)
@options(WHOSE, SERVICES, BY)
@opened
def soil(
    book: "Book",
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
    from zoneplan.book.soil import add_soil

    for path in files:
        if names_services(Sources("springs", soils=(path,))):
            _add_public_soil(book, who, refresh=refresh, offline=offline, **names)
            continue
        say(f"Reading {path.name} ...")
        _tell_added(add_soil(book, path, who=who_of(who), scope=None, **names))


def _add_public_soil(
    opened: "Book", who: str | None, *, refresh: bool, offline: bool, **names: str | None
) -> None:
    from zoneplan.book.soil import add_public_soil

    disclose(Sources("springs", soils=(Path("survey"),)), offline=offline)
    with watched(lambda doing: say(f"{doing} ...")):
        results = add_public_soil(
            opened, who=who_of(who), refresh=refresh, offline=offline, **names
        )
    faults = [(one, outcome) for one, outcome in results if isinstance(outcome, ZoneplanError)]
    news = Counter(outcome.news for _, outcome in results if not isinstance(outcome, ZoneplanError))
    counted = ", ".join(f"{count:,} {word}" for word, count in news.items()) or "none"
    echo(f"Public soil survey, field by field: {counted}.")
    for one, fault in faults[:MOST_ROWS]:
        echo(f"  {one.path}: {str(fault).partition(chr(10))[0]}")
    if faults:
        echo(f"{len(faults):,} of {len(results):,} fields have none.")
        sys.exit(SOME_FAILED)


@add.command()
@BOOK
@click.argument("file")
@options(WHOSE, BY)
@opened
def planter(book: "Book", file: str, who: str | None, **names: str | None) -> None:
    """Copy a planter's FILE into BOOK, or set a generic one by its name.

    \b
    Example:
      zoneplan book add planter season.book our-planter.toml --grower "A. Sample"
    """
    from zoneplan.book.supply import add_planter

    _tell_added(add_planter(book, file, who=who_of(who), **names))


@add.command()
@BOOK
@click.argument("file", type=PATH)
@options(WHOSE, BY)
@opened
def rules(book: "Book", file: Path, who: str | None, **names: str | None) -> None:
    """Copy a FILE of rules into BOOK, to be laid over the stock ones.

    See first what it would change: zoneplan book preview

    \b
    Example:
      zoneplan book add rules season.book our-coop.toml
    """
    from zoneplan.book.supply import add_rules

    _tell_added(add_rules(book, file, who=who_of(who), **names))


@click.command()
@BOOK
@click.argument("what", type=click.Choice(["soil", "planter", "rules"]))
@click.argument("name")
@options(WHOSE, BY)
@opened
def remove(book: "Book", what: str, name: str, who: str | None, **names: str | None) -> None:
    """Stop using soil, a planter or rules. Plans and history keep what they were.

    \b
    Example:
      zoneplan book remove season.book rules our-coop
    """
    from zoneplan.book.supply import take_away

    take_away(book, what, name, who=who_of(who), **names)
    echo(f"{name} is no longer used. What was planned from it is out of date.")


_SET = (
    option("--planter", metavar="NAME", help="A planter of the book, or a generic one."),
    option("--unset", multiple=True, metavar="NAME", help="Take a value away again: --unset speed"),
)


@click.command("set", cls=Headed)
@BOOK
@options(WHOSE, _SET, request_options((Request,), without=("name", "pick")), BY)
@option("--season", metavar="YEAR", help="Turn the book to this season; it may be a new one.")
@opened
def set_(book: "Book", **given: Any) -> None:
    """Set what fields are planned for: for the whole BOOK, a grower, a farm or a field.

    The narrower wins. A new season begins with what was set for the one before.

    \b
    Example:
      zoneplan book set season.book --grower "A. Sample" --tillage no-till --speed 5
    """
    from zoneplan.book.supply import set_conditions, set_season

    who = who_of(given["who"])
    names = {part: given[part] for part in ("grower", "farm", "field")}
    asked = values_of(given) | dict.fromkeys(map(named_by_option, given["unset"]))
    if given["planter"]:
        asked["planter"] = given["planter"]
    if not asked and not given["season"]:
        raise click.UsageError("Say what to set: see zoneplan book set --help")
    if given["season"]:
        is_new = set_season(book, given["season"], who=who)
        echo(f"The season is {given['season']}" + (", a new one." if is_new else "."))
    if asked:
        scope, replaced = set_conditions(book, asked, who=who, **names)
        echo(f"Set for {scope.words}: {', '.join(map(set_name, asked))}.")
        for one in replaced:
            echo(
                f"{set_name(one.name).capitalize()} was {set_words(one.name, one.value)}, set "
                f"by {one.who} at {one.at}. What you set holds now; let them know."
            )


def _tell_added(added: "Added") -> None:
    about = f" ({added.about})" if added.about else ""
    echo(f"{added.what.capitalize()} {added.name}{about}, for {added.scope}: {added.news}.")
    if not added.used:
        echo(f"To plan for it: zoneplan book set BOOK --planter {added.name}")


def _delivery(delivery: "Delivery", *, gone: bool) -> str:
    lines = []
    if delivery.remarks:
        rows = [
            (str(one.outline.number), one.outline.path, one.problem or "to know", one.words)
            for one in delivery.remarks
        ]
        lines += first_rows(("outline", "whose", "what", "why"), rows, widest=60)
    acres = sum(one.area_ha for one in delivery.fields) / HA_PER_ACRE
    lines.append(f"{delivery.source} holds {count_of(delivery.fields)}, {acres:,.1f} acres:")
    lines.append(
        f"  {len(delivery.new):,} new, {len(delivery.moved):,} moved, "
        f"{len(delivery.renamed):,} renamed, {len(delivery.same):,} as they are, "
        f"{len({remark.outline.number for remark in delivery.problems}):,} that cannot be kept"
    )
    lines += [
        f"  moved: {one.path}, by {off_ha / HA_PER_ACRE:.1f} acres"
        for _, one, off_ha in delivery.moved
    ]
    lines += [f"  renamed: {field.path}, now {one.path}" for field, one in delivery.renamed]
    if delivery.gone:
        then = "planted no more" if gone else "left as they are; with --gone, planted no more"
        lines.append(f"  {len(delivery.gone):,} of the book are not in it: {then}")
        lines += [f"    {field.path}" for field in delivery.gone[:MOST_ROWS]]
    return "\n".join(lines)
