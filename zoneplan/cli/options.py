"""The options of `zoneplan plan`, in the order that its help tells them."""

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from zoneplan.rules.rule import TILLAGES
from zoneplan.terms import Moisture

PATH = click.Path(path_type=Path)
COLUMNS = {  # as in field.layer, which would bring the maps
    "texture": "the texture class",
    "sand": "sand",
    "silt": "silt",
    "clay": "clay",
    "organic": "organic matter, %",
    "conductivity": "electrical conductivity",
    "x": "easting or longitude, in a table of points",
    "y": "northing or latitude, in a table of points",
}
Command = Callable[..., Any]


class _Range(click.FloatRange):
    """A range that "nan", which is in none, does not slip through."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        number = super().convert(value, param, ctx)
        if math.isnan(number):
            self.fail(f"{value!r} is no number.", param, ctx)
        return float(number)


def _option(*names: str, **settings: Any) -> Callable[[Command], Command]:
    return click.option(*names, **settings)


FIELD = (
    _option("--pick", help='Which feature of BOUNDARY: its number, or "column=value".'),
    _option("--name", help="Name of the field. Taken from BOUNDARY unless given."),
)
SOIL = (
    _option(
        "--soil",
        "soils",
        multiple=True,
        required=True,
        type=PATH,
        metavar="SOIL",
        help="A soil survey in any shape, rasters of sand, silt and clay (a file, or a folder of "
        "them), points, or polygons with a texture. Repeat for more: where two overlap, the "
        "first wins.",
    ),
    _option(
        "--samples",
        type=PATH,
        metavar="FILE",
        help="Texture samples of this field, to read a conductivity log by.",
    ),
    _option(
        "--layer-crs",
        metavar="CODE",
        help="Coordinate system of files that do not state one, such as EPSG:4326.",
    ),
    *(
        _option(f"--{part}-column", metavar="NAME", help=f"Column of {what}.")
        for part, what in COLUMNS.items()
    ),
    _option(
        "--band",
        "bands",
        multiple=True,
        metavar="PART=BAND",
        help="Which raster band holds sand, silt, clay or organic: clay=2, or clay=soil.tif:2.",
    ),
    _option(
        "--raster-unit",
        type=click.Choice(["percent", "g/kg", "fraction"]),
        help="Unit of the rasters, where their values do not tell.",
    ),
)
LIE = (
    _option(
        "--elevation",
        type=PATH,
        metavar="FILE",
        help="Heights (GeoTIFF): where water gathers is planned wetter, slopes swing more.",
    ),
    _option(
        "--headland",
        type=click.IntRange(1, 20),
        metavar="PASSES",
        help="Passes of the planter round the edge that are a zone of their own.",
    ),
    _option(
        "--headland-side",
        "headland_sides",
        multiple=True,
        type=click.Choice(["north", "east", "south", "west"]),
        help="Headland only along sides that face this way. Repeat for more.",
    ),
    _option("--tracks", type=PATH, metavar="FILE", help="Wheel tracks, as lines or outlines."),
    _option(
        "--track-width",
        type=_Range(1, 200),
        metavar="FT",
        help="Width of a track that is a line. The planter's, unless given.",
    ),
    _option("--drawn", type=PATH, metavar="FILE", help="Zones drawn by hand, as polygons."),
)
ZONES = (
    _option(
        "--least-area",
        type=_Range(0, 1000),
        metavar="ACRES",
        help="Smaller ground gets no zone of its own. From the machine, unless given.",
    ),
    _option(
        "--least-width",
        type=_Range(0, 1000),
        metavar="FT",
        help="Nor does narrower ground. The planter's width, unless given.",
    ),
    _option(
        "--most-zones",
        type=click.IntRange(min=1),
        metavar="N",
        help="No more zones with numbers than this. Else as many as keep the variation.",
    ),
)
DAY = (
    _option(
        "--tillage",
        type=click.Choice(TILLAGES),
        default="tilled",
        show_default=True,
        help="How the ground was prepared.",
    ),
    _option(
        "--speed",
        type=_Range(1, 15),
        metavar="MPH",
        help="Planting speed. The machine file's, unless given.",
    ),
    _option(
        "--depth",
        type=_Range(0.5, 4),
        metavar="IN",
        help="Seed depth. The machine file's, unless given.",
    ),
    _option(
        "--residue",
        type=_Range(0, 100),
        metavar="PCT",
        default=0,
        show_default=True,
        help="Ground covered by residue.",
    ),
    _option(
        "--rules",
        "rule_files",
        multiple=True,
        type=PATH,
        metavar="FILE",
        help="Your own rules, laid over the stock ones. Repeat for more.",
    ),
    _option(
        "--observed",
        type=PATH,
        metavar="FILE",
        help="One hand check; every opener load is scaled through it.",
    ),
)
FILES = (
    _option("--out", required=True, type=PATH, metavar="DIR", help="Folder for the results."),
    _option(
        "--moisture",
        type=click.Choice([str(it) for it in Moisture]),
        default="moist",
        show_default=True,
        help="Which targets go into the files for the cab.",
    ),
    _option("--all-moistures", is_flag=True, help="All three, in columns of their own."),
    _option(
        "--paper",
        type=click.Choice(["letter", "a4"]),
        default="letter",
        show_default=True,
        help="Of the sheets.",
    ),
    _option(
        "--units",
        type=click.Choice(["us", "si"]),
        default="us",
        show_default=True,
        help="On the sheets and the landowner's page. Files keep SI.",
    ),
    _option(
        "--taskset-version",
        type=click.Choice(["3", "4"]),
        default="4",
        show_default=True,
        help="Of the ISO 11783-10 task set.",
    ),
    _option("--taskset-grid", is_flag=True, help="Zones as a grid of cells, not as polygons."),
    _option(
        "--taskset-margin",
        is_flag=True,
        help="Margin targets in place of downforce, labelled as such. Ask your terminal's manual "
        "first: it may take them for downforce.",
    ),
)
SAYING = (
    _option("--why", is_flag=True, help="Print the rule and source behind each setting."),
    _option(
        "--json",
        "as_json",
        is_flag=True,
        help="Print one digest for machines on standard output, and nothing else there.",
    ),
)


def options(*groups: Sequence[Callable[[Command], Command]]) -> Callable[[Command], Command]:
    """Give a command several groups of options, so that its help keeps their order."""

    def given(command: Command) -> Command:
        for option in reversed([option for group in groups for option in group]):
            command = option(command)
        return command

    return given
