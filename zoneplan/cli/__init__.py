"""The command line: an argument parser in front of the one core."""

import sys
from typing import Any

import click

from zoneplan.cli.app import app
from zoneplan.cli.check import check
from zoneplan.cli.demo import demo
from zoneplan.cli.machine import machine
from zoneplan.cli.plan import plan
from zoneplan.cli.rules import rules
from zoneplan.errors import ZoneplanError


class _Doors(click.Group):
    """Prints what a user can put right and exits 1; anything else is our bug and is shown."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except ZoneplanError as error:
            click.echo(str(error), err=True)
            sys.exit(1)


@click.group(cls=_Doors)
@click.version_option(package_name="zoneplan")
def main() -> None:
    """Turn a field's soil map into a row-unit plan for the corn planter."""


for _command in (plan, check, demo, app, rules, machine):
    main.add_command(_command)
