"""`zoneplan open`: plan a saved plan again, and say what became of its numbers."""

from pathlib import Path
from typing import Any

import click

from zoneplan.cli import loading
from zoneplan.cli.options import FILES, PATH, SAYING, Headed, files_of, options
from zoneplan.cli.plan import notes_of, tell
from zoneplan.cli.tell import say, took
from zoneplan.cli.terminal import echo
from zoneplan.errors import SavedError
from zoneplan.plain_file import read_plain
from zoneplan.progress import stages, watched


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
