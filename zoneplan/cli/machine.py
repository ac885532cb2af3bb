"""`zoneplan machine`: check, show or begin a machine file."""

from pathlib import Path

import click

from zoneplan.cli.tell import echo

_SYSTEMS = ["springs", "set-air", "closed-loop-air", "hydraulic"]


@click.group()
def machine() -> None:
    """Describe a planter: its row unit's weights and its downforce system.

    A machine file is TOML. Begin one with `new`, fill it in, and `check` it.
    """


@machine.command()
@click.argument("file", type=click.Path(path_type=Path))
def check(file: Path) -> None:
    """Check a machine FILE; tell every fault at once.

    \b
    Example:
      zoneplan machine check demo_fields/creek/machine.toml
    """
    from zoneplan.rowunit.machine_file import read_machine

    planter = read_machine(file)
    echo(f"No faults: {planter.name}, {planter.rows} rows, {planter.system.kind}.")


@machine.command()
@click.argument("file_or_name")
def show(file_or_name: str) -> None:
    """Print a planter as zoneplan understands it.

    FILE_OR_NAME is a machine file, or the name of a generic planter: springs, set-air,
    closed-loop-air or hydraulic.

    \b
    Example:
      zoneplan machine show set-air
    """
    from zoneplan.rowunit.machine import describe
    from zoneplan.rowunit.machine_file import read_machine

    for label, value in describe(read_machine(file_or_name)):
        echo(f"{label:32} {value}")


@machine.command()
@click.argument("system", type=click.Choice(_SYSTEMS))
def new(system: str) -> None:
    """Print a machine file to start from, with every number explained.

    \b
    Example:
      zoneplan machine new springs > our-planter.toml
    """
    from zoneplan.rowunit.machine_file import new_machine_text

    echo(new_machine_text(system), nl=False)
