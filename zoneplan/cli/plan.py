"""`zoneplan plan`: read, plan, write."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from zoneplan.cli.options import (
    FILES,
    PATH,
    SAYING,
    options,
    request_of,
    request_options,
    sources_of,
)
from zoneplan.cli.tell import digest, reasons, say, table
from zoneplan.cli.terminal import echo, echo_json
from zoneplan.progress import watched
from zoneplan.request import Request
from zoneplan.sources import Sources

if TYPE_CHECKING:
    from zoneplan.export.taskset.words import Value
    from zoneplan.plan.model import Plan


@click.command()
@click.argument("boundary", type=PATH, required=False)
@options(request_options(), FILES, SAYING)
def plan(boundary: Path | None, out: Path, *, why: bool, as_json: bool, **given: Any) -> None:
    """Cut the soil layers to BOUNDARY, build zones, and say for each what the
    planter does there, what margin to aim for, and how to set the closing wheels.

    Writes the plan, files of its zones, a task set for the cab, and sheets to print.
    Ground the soil layers do not cover is listed, never guessed.

    \b
    Example:
      zoneplan plan demo_fields/creek/boundary.geojson \\
        --soil demo_fields/creek/survey \\
        --machine demo_fields/creek/machine.toml --out creek-plan
    """
    from zoneplan.export.bundle import check_folder
    from zoneplan.run import run

    request, sources = request_of(given, Request()), sources_of(boundary, given)
    _refuse_nothing(request, sources)
    if told := check_folder(out):
        echo(told, err=True)
    with watched(lambda doing: say(f"{doing} ...")):
        finished = run(request, sources).plan
        write(finished, request, out, given, why=why, as_json=as_json)


def write(
    finished: "Plan",
    request: Request,
    out: Path,
    given: Mapping[str, Any],
    *,
    why: bool,
    as_json: bool,
) -> None:
    """Write the files of a plan as the options ask for them, and print it."""
    from zoneplan.export.bundle import write_plan
    from zoneplan.export.taskset.words import taskset_notes

    value: Value = "margin" if given["taskset_margin"] else "downforce"
    grid = given["taskset_grid"]
    files = write_plan(
        finished,
        out,
        moisture=request.moisture,
        all_moistures=given["all_moistures"],
        paper=given["paper"],
        units=given["units"],
        taskset_version=int(given["taskset_version"]),
        taskset_grid=grid,
        taskset_value=value,
    )
    tell(finished, files, why=why, as_json=as_json)
    if not as_json:
        for note in taskset_notes(finished, request.moisture, grid=grid, value=value):
            echo(f"Task set: {note}")


def _refuse_nothing(request: Request, sources: Sources) -> None:
    """A field needs a boundary and soil, as files or drawn."""
    if sources.boundary is None and not request.outlines("boundary"):
        raise click.UsageError("Missing argument 'BOUNDARY'.")
    if not sources.soils and not request.outlines("soil"):
        raise click.UsageError("Missing option '--soil'.")


def tell(finished: "Plan", files: dict[str, Path], *, why: bool, as_json: bool) -> None:
    """Print the result: for a machine one digest, for a person a short table."""
    if as_json:
        echo_json(digest(finished, files))
        return
    echo(table(finished))
    if why:
        echo("\n" + reasons(finished))
    folder = files["plan.json"].parent
    echo(f"\nWritten to {folder}: {', '.join(files)}")
