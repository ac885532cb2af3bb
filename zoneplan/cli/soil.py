"""`zoneplan soil`: ask the public soil survey about a field, when a person wants it."""

from pathlib import Path

import click

from zoneplan.cli.options import PATH, SERVICES, options
from zoneplan.cli.tell import columns, echo, paragraph, say
from zoneplan.errors import OutputError, ServiceError
from zoneplan.plain_file import MB, exists
from zoneplan.progress import watched


@click.command()
@click.argument("boundary", type=PATH, required=False)
@click.option("--out", type=PATH, metavar="FILE", help="File to write, such as soil.json.")
@click.option("--pick", metavar="TEXT", help='Which field: its number, or "column=value".')
@click.option("--layer-crs", "crs", metavar="CODE", help="Coordinate system of the boundary.")
@options(SERVICES)
@click.option(
    "--cache",
    "cache_work",
    is_flag=False,
    flag_value="show",
    type=click.Choice(["show", "empty"]),
    help="Show what is kept of earlier answers, or empty it; ask nothing.",
)
@click.option(
    "--probe",
    "try_services",
    is_flag=True,
    help="Try the real services with an invented square in Iowa and print what they answer, to be "
    "sent to those who gave you zoneplan.",
)
def soil(
    boundary: Path | None,
    out: Path | None,
    pick: str | None,
    crs: str | None,
    cache_work: str | None,
    *,
    refresh: bool,
    offline: bool,
    try_services: bool,
) -> None:
    """Ask the public soil survey of the United States for the soils of BOUNDARY.

    BOUNDARY is the field's outline, as for `zoneplan plan`. Grown by 30 m, it is sent to the
    government's soil data service and to nobody else. Writes one file that --soil takes: the map
    cut to the outline, its tables, and which edition they are of. The answers are kept on this
    machine, so that the same field, and what its neighbours share, is asked for once.

    \b
    Example:
      zoneplan soil boundary.geojson --out soil.json
      zoneplan soil --cache
    """
    if cache_work:
        _cache(empty=cache_work == "empty")
    elif try_services:
        _probe()
    elif boundary is None:
        raise click.UsageError("Missing argument 'BOUNDARY'.")
    elif out is None:
        raise click.UsageError("Missing option '--out'.")
    else:
        _ask(boundary, out, pick, crs, refresh=refresh, offline=offline)


def _ask(
    boundary: Path, out: Path, pick: str | None, crs: str | None, *, refresh: bool, offline: bool
) -> None:
    from zoneplan.field.outline import read_field
    from zoneplan.field.service.soil import SoilService
    from zoneplan.field.survey.columns import vintage_notice
    from zoneplan.public import disclosure
    from zoneplan.say.notices import words

    _refuse_other(out)
    service = SoilService(refresh=refresh, offline=offline)
    field = read_field(boundary, pick=pick, crs=crs)
    if not offline:
        echo(disclosure(survey=True, heights=False), err=True)
    with watched(lambda doing: say(f"{doing} ...")):
        answer = service.survey(field)
    _write(out, answer.content)
    echo(f"Written to {out}: {answer.polygons} polygons of {answer.map_units} map units.")
    for vintage in answer.vintages:
        echo(paragraph(words(vintage_notice(vintage)), indent=0))
    echo(f"Plan with it: --soil {out}")


def _refuse_other(out: Path) -> None:
    """Write over nothing but an answer of before."""
    from zoneplan.field.survey.answer import is_answer

    if exists(out) and not is_answer(out):
        raise OutputError(
            f"{out} is there already, and is no answer of the soil survey.\n"
            "It would be lost.\nName another file, such as soil.json."
        )
    if out.suffix.lower() != ".json":
        raise OutputError(
            f"{out} does not end in .json.\n"
            "Only by that is the file known for an answer of the soil survey when it is read.\n"
            "Name it soil.json, or anything that ends so."
        )


def _write(out: Path, content: bytes) -> None:
    beside = out.with_name(f".{out.name}.part")
    try:
        beside.write_bytes(content)
        beside.replace(out)
    except OSError as error:
        raise OutputError(
            f"The soils cannot be written to {out}: {error.strerror or error}.\n"
            "They are kept in the cache.\nName another place, and ask again: nothing is sent twice."
        ) from error


def _cache(*, empty: bool) -> None:
    from zoneplan.field.service.cache import MOST_MB, Cache, cache_folder

    cache = Cache(cache_folder())
    if empty:
        count, size = cache.empty()
        echo(f"Emptied {cache.folder}: {count:,} answers, {size / MB:,.1f} MB.")
        return
    entries = cache.entries()
    size = sum(bytes_ for _, bytes_ in entries)
    echo(
        f"{cache.folder} keeps {len(entries):,} answers, {size / MB:,.1f} MB of {MOST_MB:,} at the "
        "most; those that were used longest ago go first."
    )
    if entries:
        rows = [
            (f"{entry.asked:%Y-%m-%d}", entry.what, f"{size / 1000:,.0f} kB")
            for entry, size in entries
        ]
        echo(columns([("asked", "what", "size"), *rows], widest=72))
        echo("Empty it with: zoneplan soil --cache empty")


def _probe() -> None:
    import platform
    import time

    from zoneplan import release
    from zoneplan.field.service.elevation import HeightService
    from zoneplan.field.service.manners import POLITE
    from zoneplan.field.service.probe import probe
    from zoneplan.field.service.questions import Questions

    soils, heights = Questions(POLITE), HeightService()
    echo(
        f"zoneplan {release()}, Python {platform.python_version()}, "
        f"{platform.system()}: {soils.host} and {heights.host} are asked about an invented square "
        "in Iowa. Nothing of yours is sent. Copy all of this to those who gave you zoneplan."
    )
    odd = 0
    for line in probe(soils, heights, POLITE, time.monotonic):
        odd += ": NOT " in line
        echo(line)
    if odd:
        raise ServiceError(
            f"{odd} of these are not as zoneplan expects them.\n"
            "It may not get soils or heights from here.\n"
            "Send this report; download the survey area meanwhile, and give its zip as it comes."
        )
    echo("All as expected.")
