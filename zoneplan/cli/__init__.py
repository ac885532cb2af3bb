"""The command line: an argument parser in front of the one core."""

import errno
import sys
from typing import Any

import click

from zoneplan.cli.advice import advised
from zoneplan.cli.app import app
from zoneplan.cli.book import book
from zoneplan.cli.check import check
from zoneplan.cli.demo import demo
from zoneplan.cli.machine import machine
from zoneplan.cli.open import open_
from zoneplan.cli.plan import plan
from zoneplan.cli.rules import rules
from zoneplan.cli.soil import soil
from zoneplan.cli.terminal import echo
from zoneplan.errors import ZoneplanError
from zoneplan.fault_report import write_report
from zoneplan.harmless import guard_terminal, on_terminal

OUR_FAULT = 70  # as os.EX_SOFTWARE is where there is one


class _Doors(click.Group):
    """Prints what a user can put right and exits 1; anything else is our fault and is kept."""

    def invoke(self, ctx: click.Context) -> Any:
        guard_terminal()
        try:
            return super().invoke(ctx)
        except ZoneplanError as error:
            echo(advised(error), err=True)
            sys.exit(1)
        except click.UsageError as error:  # it repeats what was written
            raise click.UsageError(on_terminal(error.format_message()), error.ctx) from None
        except (click.ClickException, click.Abort, click.exceptions.Exit):
            raise
        except Exception as error:
            if isinstance(error, OSError) and error.errno == errno.EPIPE:
                raise  # nobody reads on
            echo(_our_fault(error, ctx.invoked_subcommand or "zoneplan"), err=True)
            sys.exit(OUR_FAULT)


def _our_fault(error: Exception, command: str) -> str:
    path = write_report(error, f"zoneplan {command}")
    where = f"A report is kept in {path}:" if path else "No folder takes a report:"
    say = "send it to those who gave you zoneplan." if path else "write down what you did."
    return (
        f"A fault of zoneplan, not yours: {type(error).__name__}.\n"
        "Your files are as they were. Trust nothing that this run may have written.\n"
        f"{where} {say}"
    )


@click.group(cls=_Doors)
@click.version_option(package_name="zoneplan")
def main() -> None:
    """Turn a field's soil map into a row-unit plan for the corn planter."""


for _command in (plan, open_, check, demo, app, rules, machine, soil, book):
    main.add_command(_command)
