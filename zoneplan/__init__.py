"""zoneplan: from a field's soil map to a row-unit plan for the corn planter.

field = read_field("boundary.geojson")
layers, marks = read_layers(["survey/"], field)
plan = plan_field(field, layers, read_machine("springs"), read_rules(), conditions)
write_plan(plan, Path("plan/"))
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from zoneplan.export.bundle import write_plan
    from zoneplan.field.layer import read_layers
    from zoneplan.field.outline import read_field
    from zoneplan.plan.model import Plan
    from zoneplan.plan.plan_field import plan_field
    from zoneplan.plan.requirement import Conditions
    from zoneplan.rowunit.machine_file import read_machine
    from zoneplan.rules.read import read_rules

_HOMES = {
    "Conditions": "zoneplan.plan.requirement",
    "Plan": "zoneplan.plan.model",
    "plan_field": "zoneplan.plan.plan_field",
    "read_field": "zoneplan.field.outline",
    "read_layers": "zoneplan.field.layer",
    "read_machine": "zoneplan.rowunit.machine_file",
    "read_rules": "zoneplan.rules.read",
    "write_plan": "zoneplan.export.bundle",
}

__all__ = [
    "Conditions",
    "Plan",
    "plan_field",
    "read_field",
    "read_layers",
    "read_machine",
    "read_rules",
    "write_plan",
]


def __getattr__(name: str) -> Any:
    """Fetch a public name from its floor when first asked: `--help` needs no maps."""
    if name not in _HOMES:
        raise AttributeError(f"module 'zoneplan' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
