"""`zoneplan demo`: plan the demo fields."""

from pathlib import Path

import click

from zoneplan.cli.tell import digest, say, table
from zoneplan.cli.terminal import echo, echo_json


@click.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("zoneplan-demo"),
    show_default=True,
    metavar="DIR",
    help="Folder for the results, one inside for each field.",
)
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Print one digest for machines on standard output, and nothing else there.",
)
def demo(out: Path, as_json: bool) -> None:
    """Plan the three invented demo fields and say where the results are.

    Writes for each what `zoneplan plan` writes: sheets to print, and files of its zones.

    \b
    Example:
      zoneplan demo
    """
    from zoneplan.demo import demo_fields, plan_demo
    from zoneplan.export.bundle import check_folder, write_plan

    check_folder(out)
    digests = []
    for one in demo_fields():
        say(f"Planning {one.name} ...")
        if message := check_folder(out / one.name):
            echo(message, err=True)
        plan = plan_demo(one)
        files = write_plan(plan, out / one.name)
        digests.append(digest(plan, files))
        if not as_json:
            echo(table(plan) + "\n")
    if as_json:
        echo_json({"fields": digests})
    else:
        echo(f"The demo plans are in {out.resolve()}: start with summary.pdf in each folder.")
