"""`zoneplan batch`: plan every field of one file."""

import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from zoneplan.cli.options import (
    PATH,
    SERVICES,
    Headed,
    file_options,
    files_of,
    options,
    request_of,
    request_options,
    sources_of,
)
from zoneplan.cli.tell import advised, disclose, echo, echo_json, names_services, say
from zoneplan.errors import ZoneplanError
from zoneplan.progress import watched
from zoneplan.request import Request
from zoneplan.sources import Sources

if TYPE_CHECKING:
    from zoneplan.batch import Fault, Progress
    from zoneplan.batch.folder import ListedField, Report
    from zoneplan.field.shapes import Field

_OWN = ("name", "pick")  # of each field
_STOPPED, _SOME_FAILED = 130, 3
_MOST_TOLD = 10
_RUN = (
    click.option(
        "--workers",
        type=click.IntRange(1, 256),
        metavar="N",
        help="Fields planned at once. As many as there are processors, unless given.",
    ),
    click.option(
        "--on",
        metavar="ADDRESS",
        help="Plan on a cluster, whose scheduler is at this address: tcp://host:8786. It needs "
        "pip install 'zoneplan[cluster]'.",
    ),
    click.option("--again", is_flag=True, help="Plan all fields, also those that are done."),
    click.option(
        "--json",
        "as_json",
        is_flag=True,
        help="Print one summary for programs on standard output, and nothing else there.",
    ),
)


@click.command(cls=Headed)
@click.argument("fields", type=PATH)
@options(request_options(without=_OWN), SERVICES, file_options(()), _RUN)
def batch(
    fields: Path,
    out: Path,
    *,
    workers: int | None,
    on: str | None,
    again: bool,
    as_json: bool,
    **given: Any,
) -> None:
    """Plan every field in FIELDS, one file of outlines, each into a folder of its own in DIR.

    Writes plan.json of each, and the kinds of files that are asked for; fields.csv, a line a
    field; and faults.csv, why some have no plan. A fault of one field stops no other. Run again,
    it goes on where it was stopped, and plans only what is new or has changed.

    Exit status: 0 all are planned; 3 some are not, see faults.csv; 1 nothing was begun.

    \b
    Example:
      zoneplan batch fields.shp --soil survey.zip --machine planter.toml --out plans
    """
    from zoneplan.batch.folder import fields_in, plan_into

    if not given["soils"]:
        raise click.UsageError("Missing option '--soil'.")
    given |= dict.fromkeys(_OWN)
    request, sources = request_of(given, Request()), sources_of(None, given)
    listed, notes = fields_in(fields, request.crs)
    for note in notes:
        _tell_note(note)
    own = _asked(listed, sources, given)
    if own:
        from zoneplan.public import without_words

        sources = without_words(sources)
    try:
        report = plan_into(
            out,
            listed,
            request,
            sources,
            own=own,
            options=files_of(given, request),
            workers=workers,
            on=on,
            again=again,
            watch=_pace(),
        )
    except KeyboardInterrupt:
        echo(
            f"\nStopped. What is done is in {out}: run it again, and it goes on from there.",
            err=True,
        )
        sys.exit(_STOPPED)
    if as_json:
        echo_json(_digest(report, out))
    else:
        _tell(report, out)
    if report.failed or report.passed_over:
        sys.exit(_SOME_FAILED)


def _asked(
    listed: "Sequence[ListedField]", sources: Sources, given: dict[str, Any]
) -> "dict[int, Sources | ZoneplanError]":
    """Ask public services for all fields at once, where the options name any."""
    if not names_services(sources):
        return {}
    from zoneplan.batch.work import shape_of
    from zoneplan.field.outline import field_of
    from zoneplan.public import services_on

    disclose(sources, offline=given["offline"])
    grounds: dict[int, tuple[Field, Sources]] = {}
    own: dict[int, Sources | ZoneplanError] = {}
    for field in listed:
        try:
            ground = field_of(shape_of(field.outline), field.name, "the boundary")
        except ZoneplanError as error:
            own[field.number] = error
        else:
            grounds[field.number] = ground, sources
    with watched(lambda doing: say(f"{doing} ...")):
        return own | services_on(grounds, refresh=given["refresh"], offline=given["offline"])


def _tell_note(note: Any) -> None:
    from zoneplan.say.notices import words

    echo(words(note), err=True)


def _pace() -> "Callable[[Progress], None]":
    """Tell how far a run is: on one line of a terminal, else now and then."""
    began_s = time.monotonic()
    told_s = [began_s]
    line = sys.stderr.isatty()

    def tell(progress: "Progress") -> None:
        now_s = time.monotonic()
        if progress.left and now_s - told_s[0] < (0.5 if line else 30.0):
            return
        told_s[0] = now_s
        text = how_far(progress, now_s - began_s)
        echo(f"\r{text:<78}" if line else text, err=True, nl=not line or not progress.left)

    return tell


def how_far(progress: "Progress", seconds: float) -> str:
    """Say how far a run is after so many seconds.

    >>> from zoneplan.batch import Progress
    >>> how_far(Progress(planned=396, failed=4, left=1600), 60.0)
    '400 of 2,000 fields, 4 with a fault; 400 a minute, 4 min left'
    """
    done = progress.planned + progress.failed
    a_minute = 60 * done / seconds if seconds > 0 else 0.0
    faults = f", {progress.failed:,} with a fault" if progress.failed else ""
    left = f", {_minutes(progress.left / a_minute)} left" if progress.left and a_minute else ""
    return f"{done:,} of {done + progress.left:,} fields{faults}; {a_minute:,.0f} a minute{left}"


def _minutes(minutes: float) -> str:
    if minutes < 1:
        return f"{60 * minutes:.0f} s"
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.1f} h"


def _tell(report: "Report", out: Path) -> None:
    parts = [f"{len(report.planned):,} planned"]
    if report.as_they_were:
        parts.append(f"{len(report.as_they_were):,} as they were")
    if report.failed:
        parts.append(f"{len(report.failed):,} with a fault")
    if report.passed_over:
        parts.append(f"{len(report.passed_over):,} passed over")
    echo(f"Fields: {', '.join(parts)}. In {out}: fields.csv lists them all.")
    _tell_faults(report.failed, "faults.csv has the rest")
    if report.passed_over:
        echo("Passed over, for they ended their process the last time; --again tries them:")
        _tell_faults(report.passed_over, "faults.csv has the rest")


def _tell_faults(faults: "Sequence[tuple[ListedField, Fault]]", rest: str) -> None:
    for field, fault in faults[:_MOST_TOLD]:
        echo(f"  {field.name}: {fault.words.partition(chr(10))[0]}")
    for advice in dict.fromkeys(_advice(fault) for _, fault in faults if fault.parameters):
        echo(advice)
    if len(faults) > _MOST_TOLD:
        echo(f"  and {len(faults) - _MOST_TOLD:,} more: {rest}.")


def _advice(fault: "Fault") -> str:
    """Which option would put a fault right."""
    error = ZoneplanError("", parameter=fault.parameters, example=fault.example)
    return advised(error).strip()


def _digest(report: "Report", out: Path) -> dict[str, Any]:
    def faults(listed: "Sequence[tuple[ListedField, Fault]]") -> list[dict[str, str]]:
        return [
            {"field": field.name, "code": fault.code, "why": fault.words} for field, fault in listed
        ]

    return {
        "out": str(out),
        "planned": [field.name for field in report.planned],
        "as_they_were": [field.name for field in report.as_they_were],
        "failed": faults(report.failed),
        "passed_over": faults(report.passed_over),
    }
