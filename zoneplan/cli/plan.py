"""`zoneplan plan`: read, plan, write."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from zoneplan.cli.options import (
    COLUMNS,
    DAY,
    FIELD,
    FILES,
    LIE,
    PATH,
    SAYING,
    SOIL,
    ZONES,
    options,
)
from zoneplan.cli.tell import digest, reasons, say, table
from zoneplan.cli.terminal import echo, echo_json
from zoneplan.errors import LayerError
from zoneplan.terms import Moisture
from zoneplan.units import HA_PER_ACRE, M2_PER_HA, M_PER_FT, M_PER_IN, MPS_PER_MPH

if TYPE_CHECKING:
    from zoneplan.export.taskset_words import Value
    from zoneplan.field.layer import Told
    from zoneplan.field.shapes import Field, MarkLayer
    from zoneplan.plan.model import Plan
    from zoneplan.plan.requirement import Conditions
    from zoneplan.rowunit.machine import Machine
    from zoneplan.zones.zone import Zoning


@click.command()
@click.argument("boundary", type=PATH)
@options(SOIL)
@click.option(
    "--machine",
    required=True,
    metavar="FILE_OR_NAME",
    help="Machine file, or one of springs, set-air, looped-air, hydraulic.",
)
@options(DAY, FIELD, LIE, ZONES, FILES, SAYING)
def plan(
    boundary: Path, machine: str, out: Path, *, why: bool, as_json: bool, **given: Any
) -> None:
    r"""Cut the soil layers to BOUNDARY, build zones, and say for each what the
    planter does there, what margin to aim for, and how to set the closing wheels.

    Writes the plan, files of its zones, a task set for the cab, and sheets to print.
    Ground the soil layers do not cover is listed, never guessed.

    \b
    Example:
      zoneplan plan demo_fields/creek/boundary.geojson \
        --soil demo_fields/creek/survey \
        --machine demo_fields/creek/machine.toml --out creek-plan
    """
    from zoneplan.export.bundle import check_folder, write_plan
    from zoneplan.export.taskset_words import taskset_notes

    if told := check_folder(out):
        echo(told, err=True)
    finished = plan_of(boundary, machine, given)
    say(f"Writing {out} ...")
    value: Value = "margin" if given["taskset_margin"] else "downforce"
    files = write_plan(
        finished,
        out,
        moisture=Moisture(given["moisture"]),
        all_moistures=given["all_moistures"],
        paper=given["paper"],
        units=given["units"],
        taskset_version=int(given["taskset_version"]),
        taskset_grid=given["taskset_grid"],
        taskset_value=value,
    )
    tell(finished, files, why=why, as_json=as_json)
    if not as_json:
        for note in taskset_notes(
            finished, Moisture(given["moisture"]), grid=given["taskset_grid"], value=value
        ):
            echo(f"Task set: {note}")


def plan_of(boundary: Path, machine: str, given: dict[str, Any]) -> "Plan":
    """Read what was named, cheap things first, and plan."""
    from zoneplan.field.child import prepare
    from zoneplan.field.layer import read_layers
    from zoneplan.field.outline import read_field
    from zoneplan.plan.plan_field import plan_field
    from zoneplan.rowunit.calibrate import read_observation
    from zoneplan.rowunit.machine_file import read_machine
    from zoneplan.rules.read import read_rules

    prepare()  # it starts while we read what is small
    planter = read_machine(machine)
    rulebook = read_rules(given["rule_files"])
    observation = read_observation(given["observed"], planter) if given["observed"] else None
    say(f"Reading {boundary} ...")
    field = read_field(boundary, pick=given["pick"], crs=given["layer_crs"], name=given["name"])
    say(f"Reading {', '.join(map(str, given['soils']))} ...")
    layers, edges = read_layers(given["soils"], field, _told(given))
    marks = [*_lie(field, planter, given), *edges]
    say("Drawing zones ...")
    return plan_field(
        field,
        layers,
        planter,
        rulebook,
        _conditions(planter, given),
        observation,
        marks,
        _zoning(given),
    )


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


def _told(given: dict[str, Any]) -> "Told":
    from zoneplan.field.layer import Told

    bands = dict(band.partition("=")[::2] for band in given["bands"])
    if not all(bands.values()):
        raise LayerError(
            f"--band {', '.join(given['bands'])} does not say which part is which band.\n"
            "Write part=band, as in --band clay=2 or --band clay=soil.tif:2"
        )
    named = {part: given[f"{part}_column"] for part in COLUMNS}
    return Told(
        crs=given["layer_crs"],
        columns={part: name for part, name in named.items() if name},
        bands=bands or None,
        raster_unit=given["raster_unit"],
        samples=given["samples"],
    )


def _conditions(planter: "Machine", given: dict[str, Any]) -> "Conditions":
    from zoneplan.plan.requirement import Conditions

    speed_mph, depth_in = given["speed"], given["depth"]
    return Conditions(
        tillage=given["tillage"],
        speed_mps=planter.speed_mps if speed_mph is None else speed_mph * MPS_PER_MPH,
        depth_m=planter.depth_m if depth_in is None else depth_in * M_PER_IN,
        residue_frac=given["residue"] / 100,
    )


def _zoning(given: dict[str, Any]) -> "Zoning":
    from zoneplan.zones.zone import Zoning

    area_ac, width_ft = given["least_area"], given["least_width"]
    return Zoning(
        least_area_m2=None if area_ac is None else area_ac * HA_PER_ACRE * M2_PER_HA,
        least_width_m=None if width_ft is None else width_ft * M_PER_FT,
        most_zones=given["most_zones"],
    )


def _lie(field: "Field", planter: "Machine", given: dict[str, Any]) -> list["MarkLayer"]:
    """Where ground lies, as far as somebody says it; the first of two that differ wins."""
    from zoneplan.field.drawn import read_drawn
    from zoneplan.field.lie import read_terrain
    from zoneplan.field.tracks import read_tracks
    from zoneplan.zones.headland import headland

    crs = given["layer_crs"]
    marks = []
    if given["drawn"]:
        marks.append(read_drawn(given["drawn"], field, crs))
    if given["tracks"]:
        width_ft = given["track_width"]
        width_m = planter.width_m if width_ft is None else width_ft * M_PER_FT
        marks.append(read_tracks(given["tracks"], field, width_m, crs))
    if given["headland"]:
        sides = given["headland_sides"] or None
        marks.append(headland(field, given["headland"], planter.width_m, sides))
    if given["elevation"]:
        marks.append(read_terrain(given["elevation"], field, crs))
    return marks
