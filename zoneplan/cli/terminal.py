"""The only way to the terminal: what names and files hold is shown there and never acts."""

import json
from typing import Any

import click

from zoneplan.harmless import in_json_line, on_terminal


def echo(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print on standard output, or on standard error."""
    click.echo(on_terminal(text), err=err, nl=nl)


def echo_json(document: dict[str, Any]) -> None:
    """Print one line for a machine."""
    click.echo(in_json_line(json.dumps(document, ensure_ascii=False)))
