"""`zoneplan plan`, `open` and `check`: made, made again from what was saved, read back."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from zoneplan.cli import loading
from zoneplan.cli.options import (
    BASE,
    FILES,
    PATH,
    SAVE,
    SAYING,
    SERVICES,
    Headed,
    files_of,
    options,
    request_of,
    request_options,
    sources_of,
)
from zoneplan.cli.tell import (
    digest,
    disclose,
    echo,
    echo_json,
    names_services,
    reasons,
    say,
    table,
    took,
)
from zoneplan.errors import OutputError, SavedError, listed
from zoneplan.plain_file import exists, read_plain
from zoneplan.progress import stages, watched
from zoneplan.request import Request
from zoneplan.sources import Sources
from zoneplan.terms import FileKind

if TYPE_CHECKING:
    from zoneplan.export.manifest import Options
    from zoneplan.plan.model import Plan
    from zoneplan.run import Job


@click.command(cls=Headed)
@click.argument("boundary", type=PATH, required=False)
@options(request_options(), SERVICES, BASE, FILES, SAVE, SAYING)
def plan(
    boundary: Path | None, out: Path, *, why: bool, as_json: bool, timings: bool, **given: Any
) -> None:
    """Cut the soil layers to BOUNDARY, build zones, and say for each what the
    planter does there, what margin to aim for, and how to set the closing wheels.

    BOUNDARY is the field's outline: GeoJSON, GeoPackage, KML or a shapefile, zipped or not.
    The margin is the load left on the gauge wheels of each row once the openers hold their depth.

    Writes the plan, files of its zones, a task set for the cab, and sheets to print.
    Ground the soil layers do not cover is listed, never guessed.

    For a machine file of your own planter begin with `zoneplan machine new`.

    \b
    Example:
      zoneplan plan demo_fields/creek/boundary.geojson \\
        --soil demo_fields/creek/survey \\
        --machine demo_fields/creek/machine.toml --out creek-plan
    """
    with loading():
        from zoneplan.export.bundle import check_folder, write_plan
        from zoneplan.run import Job, run

    request, sources = request_of(given, _base(given)), sources_of(boundary, given)
    files_asked = files_of(given, request)
    _refuse_nothing(request, sources)
    _refuse_taken(given["save"])
    if message := check_folder(out):
        echo(message, err=True)
    with watched(lambda doing: say(f"{doing} ...")):
        sources = _asked(request, sources, given)
        finished = run(request, sources).plan
        files = write_plan(finished, out, files_asked)
        if given["save"]:
            save(Job(request, sources), finished, given["save"])
    tell(finished, files, notes_of(finished, files_asked), why=why, as_json=as_json)
    if timings:
        echo(took(stages()), err=True)


def _asked(request: Request, sources: Sources, given: Mapping[str, Any]) -> Sources:
    """Ask the public services that the options name; nobody else, and nobody where none is."""
    if not names_services(sources):
        return sources
    from zoneplan.public import with_services

    disclose(sources, offline=given["offline"])
    (answer,) = with_services(
        [(request, sources)], refresh=given["refresh"], offline=given["offline"]
    )
    if not isinstance(answer, Sources):
        raise answer
    return answer


def save(job: "Job", finished: "Plan", path: Path) -> None:
    """Save the plan with all that it was made from."""
    from zoneplan.store.archive import saved

    content = saved(job, finished)
    try:
        with path.open("xb") as file:
            file.write(content)
    except OSError as error:
        raise OutputError(
            f"The plan cannot be saved as {path}: {error.strerror or error}.\n"
            "Its other files are written. Name another place."
        ) from error


def _refuse_nothing(request: Request, sources: Sources) -> None:
    """A field needs a boundary and soil, as files or drawn."""
    if sources.boundary is None and not request.outlines("boundary"):
        raise click.UsageError("Missing argument 'BOUNDARY'.")
    if not sources.soils and not request.outlines("soil"):
        raise click.UsageError("Missing option '--soil'.")


def _base(given: Mapping[str, Any]) -> Request:
    """The request that the options are laid over."""
    path: Path | None = given["request_file"]
    if path is None:
        return Request()
    from zoneplan.store.request_json import MOST_MB, read_request

    return read_request(read_plain(path, MOST_MB, SavedError), path.name)


def _refuse_taken(path: Path | None) -> None:
    if path is not None and exists(path):
        raise OutputError(
            f"{path} is there already, and a saved plan is written over nothing.\n"
            "Name another file, or move that one."
        )


def notes_of(finished: "Plan", options: "Options") -> Sequence[str]:
    """What the numbers of the task set mean, where one was asked for."""
    if FileKind.TASKSET not in options.files:
        return ()
    from zoneplan.export.taskset_words import taskset_notes

    return taskset_notes(
        finished, options.moisture, grid=options.taskset_grid, value=options.taskset_value
    )


def tell(
    finished: "Plan",
    files: dict[str, Path],
    notes: Sequence[str],
    *,
    why: bool,
    as_json: bool,
    changed: Sequence[str] | None = None,
) -> None:
    """Print the result: for a machine one digest, for a person a short table.

    `notes` are of the task set; `changed` are the numbers that are other than they were, where it
    was planned before.
    """
    if as_json:
        changes = {} if changed is None else {"changed": list(changed)}
        echo_json({**digest(finished, files), **changes})
        return
    echo(table(finished))
    if why:
        echo("\n" + reasons(finished))
    folder = files["plan.json"].parent
    echo(f"\nWritten to {folder}: {', '.join(files)}")
    for note in notes:
        echo(f"Task set: {note}")


@click.command("open", cls=Headed)
@click.argument("saved", type=PATH)
@options(FILES, SAYING)
def open_(saved: Path, out: Path, *, why: bool, as_json: bool, timings: bool, **given: Any) -> None:
    """Plan again what was SAVED, from the files in it, and tell every number that is other than
    it was.

    Writes what `zoneplan plan` writes. A plan is saved by the app, or by `zoneplan plan --save`;
    one that an older zoneplan saved is opened too.

    \b
    Example:
      zoneplan open "Creek field (saved plan).zip" --out creek-plan
    """
    with loading():
        from zoneplan.export.bundle import check_folder, write_plan
        from zoneplan.run import run
        from zoneplan.store.archive import MOST_MB, opened
        from zoneplan.store.changed_since_saved import changed_since_saved

    saved_plan = opened(read_plain(saved, MOST_MB, SavedError), saved.name)
    if message := check_folder(out):
        echo(message, err=True)
    request, sources = saved_plan.job.request, saved_plan.job.sources
    files_asked = files_of(given, request)
    with watched(lambda doing: say(f"{doing} ...")):
        finished = run(request, sources).plan
        files = write_plan(finished, out, files_asked)
    changed = changed_since_saved(saved_plan.document, finished)
    notes = notes_of(finished, files_asked)
    tell(finished, files, notes, why=why, as_json=as_json, changed=changed)
    if timings:
        echo(took(stages()), err=True)
    if as_json:
        return
    if not changed:
        echo(f"Opened: {saved_plan.field}, with the numbers it had.")
        return
    echo(
        f"\nOpened: {saved_plan.field}, but not all of its numbers are what they were. Print the "
        "sheets again, and put no older file into the cab."
    )
    for line in changed:
        echo(f"  {line}")


@click.command()
@click.argument("folder", metavar="DIR", type=PATH)
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
