"""A plan on its way to paper and into files, and the command line from its start to its end."""

import os
import subprocess
import sys
from dataclasses import replace
from functools import cache
from itertools import count
from pathlib import Path
from shutil import rmtree

import geopandas as gpd
import pyogrio

from tests.bench import data
from tests.bench.measure import Case
from tests.bench.row import Row
from zoneplan.export.bundle import write_plan
from zoneplan.export.sheets.agronomist import agronomist_words
from zoneplan.export.sheets.cab import cab_words
from zoneplan.export.sheets.printed import pdf, summary_words
from zoneplan.export.table import row
from zoneplan.field.crs import WGS_84, move
from zoneplan.plan.model import Plan
from zoneplan.request import Request
from zoneplan.run import SourceSummary, plan_ground, read_setup
from zoneplan.sources import Sources

CREEK = Path(__file__).parents[2] / "demo_fields" / "creek"
PIECES = 300  # of soil, which give more zones than any size asks for
ZONES = (4, 11, 45)
_COMPILING = {"PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX"}


@cache
def _whole() -> Plan:
    summary = SourceSummary("WGS 84", (data.soils(PIECES),), ())
    setup = read_setup(Sources(machine="set-air"))
    return plan_ground(Request(least_area_m2=1_000.0), setup, data.field(), summary).plan


def _planned(zones: int) -> Plan:
    """A plan of exactly so many zones: the first of one that has more."""
    assert len(_whole().settings) >= zones
    return replace(_whole(), settings=_whole().settings[:zones])


def _bundle(zones: int, folder: Path) -> Case:
    """Plans of fields that have other names each: a printer that knows a page sets it at once."""
    plan, turn = _planned(zones), count()
    # What the sheets say is known beforehand; its name alone is put in.
    sheets = [
        ("summary.typ", summary_words(plan, "us")),
        ("cab.typ", cab_words(plan, "us")),
        ("agronomist.typ", agronomist_words(plan, "us")),
    ]

    def named() -> str:
        return f"field {next(turn)}"

    def work() -> None:
        out = folder / "plan"
        write_plan(replace(plan, field=replace(plan.field, name=named())), out)
        rmtree(out)

    def primitive() -> None:
        name = named()
        for template, sheet in sheets:
            pdf(template, {**sheet, "title": name, "short_title": name}, "letter")
        shapes = [move(one.zone.shape, plan.field.crs, WGS_84) for one in plan.settings]
        rows = [row(plan, one) for one in plan.settings]
        pyogrio.write_dataframe(
            gpd.GeoDataFrame(rows, geometry=shapes, crs=WGS_84), folder / "zones.gpkg"
        )
        (folder / "zones.gpkg").unlink()

    return Case(work, primitive)


def _ended(folder: Path, *arguments: object) -> None:
    """Run Python, with all modules compiled beforehand as they are for whoever ran it before."""
    kept_environ = {name: value for name, value in os.environ.items() if name not in _COMPILING}
    subprocess.run(
        [sys.executable, *map(str, arguments)],
        check=True,
        capture_output=True,
        env={**kept_environ, "PYTHONPYCACHEPREFIX": str(folder / "compiled")},
    )


def _demo(_zones: int, folder: Path) -> Case:
    def work() -> None:
        out = folder / "plan"
        _ended(
            folder,
            *("-m", "zoneplan", "plan", CREEK / "boundary.geojson", "--soil", CREEK / "survey"),
            *("--machine", CREEK / "machine.toml", "--out", out),
        )
        rmtree(out)

    return Case(work, lambda: _ended(folder, "-c", "import geopandas, rasterio"))


def _help(_: int, folder: Path) -> Case:
    return Case(
        lambda: _ended(folder, "-m", "zoneplan", "--help"),
        lambda: _ended(folder, "-c", "import click"),
    )


ROWS = (
    Row(
        name="one bundle",
        against="three typst sheets + one GeoPackage",
        today="0.5–3.3 s",
        goal=2,
        sizes=ZONES,
        unit="zones",
        case=_bundle,
    ),
    Row(
        name="zoneplan plan of a demo",
        against="importing geopandas + rasterio",
        today="3.3",
        goal=1.7,
        sizes=(7,),
        unit="zones",
        case=_demo,
    ),
    Row(
        name="zoneplan --help",
        against="importing click",
        today="3",
        goal=2,
        sizes=(1,),
        unit="command",
        case=_help,
    ),
)
