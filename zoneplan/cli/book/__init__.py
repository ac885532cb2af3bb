"""`zoneplan book`: many growers' fields in one book; and what its commands share."""

import getpass
from collections.abc import Sequence
from contextlib import suppress
from functools import wraps
from typing import Any

import click
from click import option

from zoneplan.ask import asks
from zoneplan.cli import Group
from zoneplan.cli.options import Command
from zoneplan.cli.tell import columns
from zoneplan.request import Request

COMMANDS = {  # as a season goes: each its module and what it is called there, and its line
    "new": ("book.bring_in:new", "Make an empty BOOK."),
    "add": ("book.bring_in:add", "Put fields, soil, a planter or rules into a book."),
    "set": ("book.bring_in:set_", "Set what fields are planned for."),
    "plan": ("book.plan:plan_", "Plan what changed."),
    "list": ("book.look:list_", "List the fields, and what needs a look."),
    "show": ("book.look:show", "Show one field and its plan."),
    "review": ("book.hand_over:review", "Say how far a plan is."),
    "hand-out": ("book.hand_over:hand_out", "Make each grower his folder and zip."),
    "replies": ("book.hand_over:replies", "Read landowners' answers in."),
    "preview": ("book.plan:preview_", "Tell what a change would do."),
    "remove": ("book.bring_in:remove", "Stop using soil, a planter or rules."),
    "history": ("book.look:history_", "Tell what was done, when and by whom."),
    "backup": ("book.hand_over:backup_", "Copy a book into a file, while others work."),
    "restore": ("book.hand_over:restore_", "Make a book of a backup, here or on a server."),
    "export": ("book.hand_over:export_", "Write all of it as plain files."),
}
SOME_FAILED = 3  # the exit code where some fields have faults and the rest are done
STATES = ("to plan", "planned", "reviewed", "agreed", "sent", "out of date")
BOOK = click.argument("book", metavar="BOOK")
MOST_ROWS = 40  # of a table of what is wrong
BY = (option("--by", "who", metavar="NAME", help="Who does it; you, unless given."),)
WHOSE = (
    option("--grower", metavar="NAME", help="For this grower alone."),
    option("--farm", metavar="NAME", help="For this farm alone."),
    option("--field", metavar="NAME", help="For this field alone."),
)
WORKERS = (
    option(
        "--workers",
        type=click.IntRange(1, 256),
        metavar="N",
        help="How many fields at once; as many as there are processors, unless given.",
    ),
    option("--on", metavar="ADDRESS", help="Plan on a cluster: tcp://host:8786"),
)


def opened(command: Command) -> Command:
    """Hand a command the open book in place of where it is."""

    @wraps(command)
    def on_book(book: str, **given: Any) -> None:
        from zoneplan.book.opening import open_book

        with open_book(book) as open_one:
            command(open_one, **given)

    return on_book


def who_of(name: str | None) -> str:
    """Say who does it: whoever is named, or who sits at the machine."""
    if name:
        return name
    with suppress(Exception):  # a machine may know no user
        return getpass.getuser()
    return "somebody"


def set_name(name: str) -> str:
    """Call what is set as its option does: "speed" for `speed_mps`."""
    ask = dict(asks(Request)).get(name)
    return ask.option.lstrip("-") if ask and ask.option else name


def named_by_option(word: str) -> str:
    """Find what an option sets: `speed_mps` for "speed" or "--speed"."""
    names = {ask.option.lstrip("-"): name for name, ask in asks(Request) if ask.option}
    return names.get(word.lstrip("-"), word)


def set_words(name: str, value: Any) -> str:
    """Say a value that is set, in the unit that its option takes."""
    ask = dict(asks(Request)).get(name)
    if value is None:
        return "not set"
    if ask is None or not isinstance(value, int | float) or isinstance(value, bool):
        return str(value)
    return f"{ask.shown(value):g} {ask.unit}".rstrip()


def count_of(fields: Sequence[object]) -> str:
    """Count fields in words."""
    return "1 field" if len(fields) == 1 else f"{len(fields):,} fields"


def first_rows(head: Sequence[str], rows: Sequence[Sequence[str]], widest: int) -> list[str]:
    """Lay a table out as far as anybody reads it, and say how much more there is."""
    more = [f"and {len(rows) - MOST_ROWS:,} more"] if len(rows) > MOST_ROWS else []
    return [columns([head, *rows[:MOST_ROWS]], widest), *more, ""]


@click.group(cls=Group, table=COMMANDS)
def book() -> None:
    """Keep many growers' fields in one book: plan them all, review, hand out.

    BOOK is a file, or the address of a PostgreSQL database: postgresql://user@host/database

    \b
    A season, from one file to what growers get:
      zoneplan book new season.book
      zoneplan book add fields season.book fields.zip --grower OWNER --farm FARM --field NAME
      zoneplan book add soil season.book survey.zip
      zoneplan book add planter season.book our-planter.toml
      zoneplan book plan season.book
      zoneplan book list season.book --needs-a-look
      zoneplan book hand-out season.book --out hand-outs
    """
