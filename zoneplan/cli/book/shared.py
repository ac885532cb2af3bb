"""What the commands of a book share."""

import getpass
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import click

from zoneplan.ask import asks
from zoneplan.cli.options import Option
from zoneplan.request import Request

if TYPE_CHECKING:
    pass


SOME_FAILED = 3  # the exit code where some fields have faults and the rest are done
STATES = ("to plan", "planned", "reviewed", "agreed", "sent", "out of date")
BOOK = click.argument("book", metavar="BOOK")
MOST_ROWS = 40  # of a table of what is wrong


def option(*names: str, **settings: Any) -> Option:
    """Make an option."""
    return click.option(*names, **settings)


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
