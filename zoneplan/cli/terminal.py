"""The only way to the terminal: what names and files hold is shown there and never acts."""

import json
from typing import Any

import click

from zoneplan.errors import ZoneplanError
from zoneplan.harmless import in_json_line, on_terminal


def echo(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print on standard output, or on standard error."""
    click.echo(on_terminal(text), err=err, nl=nl)


def echo_json(document: dict[str, Any]) -> None:
    """Print one line for a machine."""
    click.echo(in_json_line(json.dumps(document, ensure_ascii=False)))


_COMMANDS = {
    "book-none": "zoneplan book new BOOK",
    "book-damaged": "zoneplan book restore BACKUP BOOK",
    "book-no-season": "zoneplan book set BOOK --season 2027",
    "book-no-planter": "zoneplan book add planter BOOK FILE",
    "book-no-soil": "zoneplan book add soil BOOK FILE",
    "book-no-field": "zoneplan book list BOOK",
    "book-to-plan": "zoneplan book plan BOOK",
    "book-to-plan-again": "zoneplan book plan BOOK --again",
}


def advised(error: ZoneplanError) -> str:
    """Tell an error, and which option says what was not clear.

    >>> print(advised(ZoneplanError("It has no system.", parameter="crs", example="EPSG:4326")))
    It has no system.
    Say it with --layer-crs EPSG:4326
    """
    from zoneplan.say.figures import listing
    from zoneplan.sources import ask_of

    if error.code == "field-columns":
        named = " ".join(f"--{column}" for column in error.example.split(", "))
        return f"{error}\nSay it with {named}, or with --one-grower NAME --field COLUMN"
    if error.code in _COMMANDS:
        return f"{error}\nThe command: {_COMMANDS[error.code]}"
    if not error.parameters:
        return str(error)
    asks = [ask_of(parameter) for parameter in error.parameters]
    options = [ask.option.format(key) for ask, key in asks]
    return f"{error}\nSay it with {listing(options)} {error.example}".rstrip()
