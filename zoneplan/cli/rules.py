"""`zoneplan rules`: check a rules file, show the whole table."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from zoneplan.cli.tell import echo, paragraph

if TYPE_CHECKING:
    from zoneplan.rules.rule import Rules

_FILES = click.argument("files", nargs=-1, type=click.Path(path_type=Path))


@click.group()
def rules() -> None:
    """Look at the rules that plans are made by, or check your own."""


@rules.command()
@_FILES
def check(files: tuple[Path, ...]) -> None:
    """Check FILES laid over the stock rules; tell every fault at once.

    In a file a rule with the id of a stock rule takes its place, and others are added. Every
    texture, moisture and tillage must have exactly one rule of each kind that everyone needs.

    \b
    Example:
      zoneplan rules check our-coop.toml
    """
    from zoneplan.rules.read import read_rules
    from zoneplan.rules.words import PROVED

    book = read_rules(files)
    echo(f"No faults: {len(book.every)} rules. Revised {book.revised}.")
    for line in (*PROVED, *_aims_in_words(book)):
        echo(line)


@rules.command()
@_FILES
def show(files: tuple[Path, ...]) -> None:
    """Print every rule with its reason and source.

    FILES of your own, where some are given, are laid over the stock rules first. Each rule says
    how sure it is: measured in a trial, advised by a source, or judged by us.

    \b
    Example:
      zoneplan rules show
    """
    from zoneplan.rules.read import read_rules
    from zoneplan.rules.words import rule_table

    heads, *rows = rule_table(read_rules(files))
    for name, *cells in rows:
        echo(name)
        for head, cell in zip(heads[1:], cells, strict=True):
            echo(paragraph(f"{head}: {cell}", indent=4))


def _aims_in_words(book: "Rules") -> list[str]:
    """Tell the contact that every base aim implies, and warn where it is less than is wanted.

    >>> from zoneplan.rules.read import read_rules
    >>> _aims_in_words(read_rules())[0]
    'aim-coarse-dry: 110 lb keeps the wheels down 97 % of the time.'
    """
    from zoneplan.plan.swing_chain import LEAST_SHARE, implied_contact
    from zoneplan.rules.words import written
    from zoneplan.say.quantities import percent

    lines = []
    for rule in book.aim.rules:
        if rule.kind != "base" or rule.amount is None:
            continue
        least, most = (percent(share) for share in implied_contact(book, rule))
        shares = least if least == most else f"{least} to {most}"
        words = f"{rule.id}: {written(rule.amount.fixed, book.aim.unit)} keeps the wheels down "
        words += f"{shares} of the time."
        if implied_contact(book, rule)[0] < LEAST_SHARE:
            words += " That is less than the 96 % of common practice: the plan will lift it."
        lines.append(words)
    return lines
