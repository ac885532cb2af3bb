"""`zoneplan rules`: check a rules file, show the whole table."""

from pathlib import Path

import click

from zoneplan.cli.tell import paragraph
from zoneplan.cli.terminal import echo

_FILES = click.argument("files", nargs=-1, type=click.Path(path_type=Path))


@click.group()
def rules() -> None:
    """Look at the stored rules, or check your own."""


@rules.command()
@_FILES
def check(files: tuple[Path, ...]) -> None:
    """Check FILES laid over the stock rules; tell every fault at once.

    \b
    Example:
      zoneplan rules check our-coop.toml
    """
    from zoneplan.rules.read import read_rules
    from zoneplan.rules.show import PROVED
    from zoneplan.say.aims import aims_in_words

    book = read_rules(files)
    echo(f"No faults: {len(book.every)} rules. Revised {book.revised}.")
    for line in (*PROVED, *aims_in_words(book)):
        echo(line)


@rules.command()
@_FILES
def show(files: tuple[Path, ...]) -> None:
    """Print every rule with its reason, source and confidence; FILES are laid over.

    \b
    Example:
      zoneplan rules show
    """
    from zoneplan.rules.read import read_rules
    from zoneplan.rules.show import rule_table

    heads, *rows = rule_table(read_rules(files))
    for name, *cells in rows:
        echo(name)
        for head, cell in zip(heads[1:], cells, strict=True):
            echo(paragraph(f"{head}: {cell}", indent=4))
