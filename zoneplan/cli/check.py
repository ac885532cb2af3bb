"""`zoneplan check`: read a plan's folder back."""

from pathlib import Path

import click

from zoneplan.cli.terminal import echo
from zoneplan.errors import OutputError, listed


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def check(folder: Path) -> None:
    """Read every file of a plan in DIR back and compare it with the plan, zone by zone;
    tell every fault at once.

    Files that are missing, altered or foreign are told apart.

    \b
    Example:
      zoneplan check creek-plan
    """
    from zoneplan.export.check import check_bundle
    from zoneplan.export.manifest import MANIFEST, read_manifest

    faults = check_bundle(folder)
    if faults:
        raise OutputError(
            listed(str(folder), faults) + "\nDo not take it to the field. Copy it again from where "
            "it is whole, or write it again from its plan."
        )
    count = 1 + len(read_manifest((folder / MANIFEST).read_bytes()).digests)
    echo(f"No faults: {count} files.")
