"""The command line: an argument parser in front of the one core.

A command is imported when it is asked for, so that `--help` waits for none of them.
"""

import errno
import gc
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib import import_module
from typing import Any

import click

OUR_FAULT = 70  # as os.EX_SOFTWARE is where there is one
COMMANDS = {  # by name: its module and what it is called there, and its line in the list
    "app": ("app:app", "Plan a field on a screen, in a browser on this machine."),
    "batch": ("batch:batch", "Plan every field of one file, several at once."),
    "book": ("book:book", "Keep many growers' fields in one book: plan, review, hand out."),
    "check": ("plan:check", "Compare every file of a plan with the plan; tell every fault."),
    "demo": ("demo:demo", "Plan the three invented demo fields."),
    "machine": ("machine:machine", "Describe a planter: its weights and its downforce system."),
    "open": ("plan:open_", "Plan again what was saved, and tell every number that changed."),
    "plan": ("plan:plan", "Plan a field: what the planter does in each zone, in files."),
    "rules": ("rules:rules", "Look at the rules that plans are made by, or check your own."),
    "soil": ("soil:soil", "Ask the public soil survey of the United States about a field."),
}


@contextmanager
def loading() -> Iterator[None]:
    """Import inside without looking for garbage, of which there is none yet.

    What is loaded then is left out when garbage is looked for later, and at the end: together
    that took a fifth of the time of a command. Frames find no pyarrow, which they would keep a
    few names in: it takes a seventh as long to load as all the rest.
    """
    gc.disable()
    barred = "pyarrow" not in sys.modules
    if barred:
        sys.modules["pyarrow"] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        if barred:
            del sys.modules["pyarrow"]
        gc.freeze()
        gc.enable()


class Group(click.Group):
    """A group whose commands are named in a table, in the order of a list of them."""

    def __init__(self, *args: Any, table: Mapping[str, tuple[str, str]], **settings: Any) -> None:
        super().__init__(*args, **settings)
        self._table = table

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the commands."""
        del ctx
        return [*self._table]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command that is asked for."""
        del ctx
        if cmd_name not in self._table:
            return None
        module, _, name = self._table[cmd_name][0].partition(":")
        command: click.Command = getattr(import_module(f"zoneplan.cli.{module}"), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Give each its line in the list; none is imported for it."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self._table.items()])


class _Doors(Group):
    """Prints what a user can put right and exits 1; anything else is our fault and is kept."""

    def invoke(self, ctx: click.Context) -> Any:
        from zoneplan.cli.tell import advised, echo
        from zoneplan.errors import ZoneplanError
        from zoneplan.harmless import guard_terminal, on_terminal

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
    from zoneplan.fault_report import write_report

    path = write_report(error, f"zoneplan {command}")
    where = f"A report is kept in {path}:" if path else "No folder takes a report:"
    say = "send it to those who gave you zoneplan." if path else "write down what you did."
    return (
        f"A fault of zoneplan, not yours: {type(error).__name__}.\n"
        "Your files are as they were. Trust nothing that this run may have written.\n"
        f"{where} {say}"
    )


@click.group(cls=_Doors, table=COMMANDS)
@click.version_option(package_name="zoneplan")
def main() -> None:
    """Turn a field's soil map into a row-unit plan for the corn planter.

    To begin: `zoneplan demo` plans three invented fields, and `zoneplan app` does it all on a
    screen. `zoneplan COMMAND --help` tells more of each.
    """
