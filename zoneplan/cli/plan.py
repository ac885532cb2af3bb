"""`zoneplan plan`: read, plan, write."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from zoneplan.cli.tell import digest, reasons, say, table
from zoneplan.units import M_PER_IN, MPS_PER_MPH

if TYPE_CHECKING:
    from zoneplan.prescription import Plan

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("boundary", type=_PATH)
@click.option(
    "--soil",
    "soils",
    multiple=True,
    required=True,
    type=_PATH,
    metavar="SOIL",
    help="Soil survey download (folder or zip) or soil polygons. Repeat for more: "
    "where two overlap, the first wins.",
)
@click.option(
    "--machine",
    required=True,
    metavar="FILE_OR_NAME",
    help="Machine file, or one of springs, set-air, looped-air, hydraulic.",
)
@click.option(
    "--tillage",
    type=click.Choice(["tilled", "strip-till", "no-till"]),
    default="tilled",
    show_default=True,
    help="How the ground was prepared.",
)
@click.option(
    "--speed",
    type=click.FloatRange(1, 15),
    metavar="MPH",
    help="Planting speed. The machine file's, unless given.",
)
@click.option(
    "--depth",
    type=click.FloatRange(0.5, 4),
    metavar="IN",
    help="Seed depth. The machine file's, unless given.",
)
@click.option(
    "--residue",
    type=click.FloatRange(0, 100),
    metavar="PCT",
    default=0,
    show_default=True,
    help="Ground covered by residue.",
)
@click.option("--pick", help='Which feature of BOUNDARY: its number, or "column=value".')
@click.option("--name", help="Name of the field. Taken from BOUNDARY unless given.")
@click.option(
    "--layer-crs",
    metavar="CODE",
    help="Coordinate system of files that do not state one, such as EPSG:4326.",
)
@click.option("--texture-column", metavar="NAME", help="Texture class in a polygon layer.")
@click.option("--sand-column", metavar="NAME", help="Sand in a polygon layer.")
@click.option("--silt-column", metavar="NAME", help="Silt in a polygon layer.")
@click.option("--clay-column", metavar="NAME", help="Clay in a polygon layer.")
@click.option("--organic-column", metavar="NAME", help="Organic matter (%) in a polygon layer.")
@click.option(
    "--rules",
    "rule_files",
    multiple=True,
    type=_PATH,
    metavar="FILE",
    help="Your own rules, laid over the stock ones. Repeat for more.",
)
@click.option(
    "--observed",
    type=_PATH,
    metavar="FILE",
    help="One hand check; every opener load is scaled through it.",
)
@click.option("--out", required=True, type=_PATH, metavar="DIR", help="Folder for the results.")
@click.option("--why", is_flag=True, help="Print the rule and source behind each setting.")
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Print one digest for machines on standard output, and nothing else there.",
)
def plan(
    boundary: Path,
    soils: tuple[Path, ...],
    machine: str,
    tillage: str,
    speed: float | None,
    depth: float | None,
    residue: float,
    pick: str | None,
    name: str | None,
    layer_crs: str | None,
    texture_column: str | None,
    sand_column: str | None,
    silt_column: str | None,
    clay_column: str | None,
    organic_column: str | None,
    rule_files: tuple[Path, ...],
    observed: Path | None,
    out: Path,
    why: bool,
    as_json: bool,
) -> None:
    """Cut the soil layers to BOUNDARY, build zones, and give each one a margin
    target, a closing-wheel setting and a downforce.

    Writes plan.json, zones.geojson, zones.zip and summary.pdf. Ground the soil
    layers do not cover is listed, never guessed.

    \b
    Example:
      zoneplan plan demo_fields/creek/boundary.geojson \\
        --soil demo_fields/creek/survey \\
        --machine demo_fields/creek/machine.toml --out creek-plan
    """
    from zoneplan.export.bundle import check_folder, write_plan
    from zoneplan.field.layer import read_layer
    from zoneplan.field.outline import read_field
    from zoneplan.prescription import Conditions, plan_field
    from zoneplan.rowunit.calibrate import read_observation
    from zoneplan.rowunit.machine_file import read_machine
    from zoneplan.rules.read import read_rules

    check_folder(out)
    planter = read_machine(machine)
    rulebook = read_rules(rule_files)
    observation = read_observation(observed, planter) if observed else None
    say(f"Reading {boundary} ...")
    field = read_field(boundary, pick=pick, crs=layer_crs, name=name)
    layers = []
    for soil in soils:
        say(f"Reading {soil} ...")
        layers.append(
            read_layer(
                soil,
                texture=texture_column,
                sand=sand_column,
                silt=silt_column,
                clay=clay_column,
                organic=organic_column,
                crs=layer_crs,
            )
        )
    conditions = Conditions(
        tillage=tillage,
        speed_mps=planter.speed_mps if speed is None else speed * MPS_PER_MPH,
        depth_m=planter.depth_m if depth is None else depth * M_PER_IN,
        residue_frac=residue / 100,
    )
    say("Drawing zones ...")
    finished = plan_field(field, layers, planter, rulebook, conditions, observation)
    say(f"Writing {out} ...")
    files = write_plan(finished, out)
    tell(finished, files, why=why, as_json=as_json)


def tell(finished: "Plan", files: dict[str, Path], *, why: bool, as_json: bool) -> None:
    """Print the result: for a machine one digest, for a person a short table."""
    if as_json:
        click.echo(json.dumps(digest(finished, files), ensure_ascii=False))
        return
    click.echo(table(finished))
    if why:
        click.echo("\n" + reasons(finished))
    click.echo("\nWritten: " + ", ".join(str(path) for path in files.values()))
