"""zoneplan: from a field's soil map to a row-unit plan for the corn planter.

sources = Sources("springs", Path("boundary.geojson"), soils=(Path("survey/"),))
made = run(Request(tillage="no-till", speed_mps=2.2), sources)
write_plan(made.plan, Path("plan/"))
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from zoneplan.export.bundle import write_plan
    from zoneplan.plan.model import Plan
    from zoneplan.request import Request
    from zoneplan.run import Run, run
    from zoneplan.sources import Sources, Upload

_HOMES = {
    "Plan": "zoneplan.plan.model",
    "Request": "zoneplan.request",
    "Run": "zoneplan.run",
    "Sources": "zoneplan.sources",
    "Upload": "zoneplan.sources",
    "run": "zoneplan.run",
    "write_plan": "zoneplan.export.bundle",
}

__all__ = [
    "Plan",
    "Request",
    "Run",
    "Sources",
    "Upload",
    "run",
    "write_plan",
]


def __getattr__(name: str) -> Any:
    """Fetch a public name from its floor when first asked: `--help` needs no maps."""
    if name not in _HOMES:
        raise AttributeError(f"module 'zoneplan' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
