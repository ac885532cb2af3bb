"""`zoneplan check`: read a plan's folder back."""

from pathlib import Path

import click

from zoneplan.cli import loading
from zoneplan.cli.terminal import echo
from zoneplan.errors import OutputError, listed


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def check(folder: Path) -> None:
    """Read every file of a plan in DIR back and compare it with the plan, zone by zone;
    tell every fault at once.

    Files that are missing, altered or foreign are told apart. What a write that was stopped
    left there is undone first, and told.

    It proves that nothing happened to the files by accident, and that they say the same. It
    proves nothing about who made them: whoever changes a file on purpose can change the checksum
    in manifest.json, and plan.json, with it.

    \b
    Example:
      zoneplan check creek-plan
    """
    with loading():
        from zoneplan.export.bundle import tidied
        from zoneplan.export.check import check_bundle
        from zoneplan.export.document import is_earlier
        from zoneplan.export.manifest import MANIFEST, read_manifest

    if message := tidied(folder):
        echo(message, err=True)
    faults = check_bundle(folder)
    if faults:
        raise OutputError(
            listed(str(folder), faults) + "\nDo not take it to the field. Copy it again from where "
            "it is whole, or write it again from its plan."
        )
    manifest = read_manifest((folder / MANIFEST).read_bytes())
    count = 1 + len(manifest.digests)
    echo(
        f"No faults: {count} files, unharmed since they were written. (That is against accident, "
        "not forgery: it does not prove who made them.)"
    )
    if is_earlier((folder / "plan.json").read_bytes()):
        echo(
            "They are of an earlier zoneplan, which compared them with one another; we looked at "
            "their checksums alone."
        )
    elif "zones" not in manifest.options.files:
        echo("There are no files of its zones to compare with: we looked at checksums alone.")
