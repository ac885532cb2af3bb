"""zoneplan: from a field's soil map to a row-unit plan for the corn planter.

from pathlib import Path

from zoneplan.export.bundle import write_plan
from zoneplan.request import Request
from zoneplan.run import run
from zoneplan.sources import Sources
from zoneplan.terms import Tillage

sources = Sources("springs", Path("boundary.geojson"), soils=(Path("survey"),))
result = run(Request(tillage=Tillage.NO_TILL, speed_mps=2.2), sources)
write_plan(result.plan, Path("plan"))
"""

from functools import cache


@cache
def release() -> str:
    """Give the number of this zoneplan, as it was installed: "1.2.0"."""
    from importlib.metadata import version  # noqa: PLC0415 it takes longer than the parser

    return version("zoneplan")
