"""The only way to the terminal: what names and files hold is shown there and never acts."""

import json
import warnings
from typing import Any, TextIO

import click

from zoneplan.harmless import in_json_line, on_terminal


def echo(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print on standard output, or on standard error."""
    click.echo(on_terminal(text), err=err, nl=nl)


def echo_json(told: dict[str, Any]) -> None:
    """Print one line for a machine."""
    click.echo(in_json_line(json.dumps(told, ensure_ascii=False)))


def echo_warning(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """Print what a library warns of, in place of `warnings.showwarning`: it may repeat a name."""
    told = on_terminal(warnings.formatwarning(message, category, filename, lineno, line))
    if file is None:
        click.echo(told, err=True, nl=False)
    else:
        file.write(told)
