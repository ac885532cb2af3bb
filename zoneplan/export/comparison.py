"""Whether a file's zones are the plan's: value by value, area by area."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from zoneplan.export.wgs84 import slack_m
from zoneplan.field.area import WGS_84_GEOD, geodesic_area_ha
from zoneplan.field.crs import WGS_84, move
from zoneplan.plan.model import Plan
from zoneplan.units import M2_PER_HA

PLACE_DEGREES = 1e-7  # about a centimetre: no file rounds more coarsely

Values = Mapping[Any, Any]


def unlike_rows(found: Sequence[Values], wanted: Sequence[Values]) -> list[str]:
    """Tell how rows differ from those that should be there.

    Parameters
    ----------
    found, wanted : sequence of mapping
        Values by column; the first that is wanted is the number of a zone.
    """
    number, *_ = wanted[0]
    zones = [it.get(number) for it in found], [it[number] for it in wanted]
    if zones[0] != zones[1]:
        return [f"it has the zones {_listed(zones[0])}, not {_listed(zones[1])}"]
    missing = [name for name in wanted[0] if name not in found[0]]
    strange = [name for name in found[0] if name not in wanted[0]]
    return [
        *(f"it has no column {name}" for name in missing),
        *(f"it has a column {name}, which is not ours" for name in strange),
        *(
            f"zone {one[number]}: {name} is {one[name]!r}, not {value!r}"
            for one, other in zip(found, wanted, strict=True)
            for name, value in other.items()
            if name not in missing and not alike(one[name], value)
        ),
    ]


def unlike_ground(shapes: Sequence[Any], plan: Plan, decimals: int) -> Iterator[str]:
    """Tell where shapes in WGS 84 degrees, with so many decimals, are not the zones' ground."""
    for setting, shape in zip(plan.settings, shapes, strict=True):
        zone = setting.zone
        area_ha = geodesic_area_ha(shape, WGS_84)
        slack_m2 = slack_m(decimals) * float(WGS_84_GEOD.geometry_length(shape))
        if not near(area_ha, zone.area_ha, slack_m2):
            yield f"zone {zone.id} encloses {area_ha:.6f} ha, not {zone.area_ha:.6f}"
        place = move(zone.shape, plan.field.crs, WGS_84).bounds
        if not np.allclose(shape.bounds, place, rtol=0, atol=PLACE_DEGREES):
            yield f"zone {zone.id} does not lie where the plan has it"


def near(found_ha: float, wanted_ha: float, slack_m2: float) -> bool:
    """Whether two areas are the same but for so many square metres."""
    return abs(found_ha - wanted_ha) * M2_PER_HA <= slack_m2


def alike(found: Any, wanted: Any) -> bool:
    """Whether a value came through: nothing and an empty text are the same.

    >>> alike("", None), alike(1, True), alike(644.0000000001, 644.0), alike("644", 644.0)
    (True, True, True, False)
    """
    if wanted is None or wanted == "":
        return found is None or found == ""
    if isinstance(wanted, float):
        numeric = isinstance(found, int | float)
        return numeric and math.isclose(found, wanted, rel_tol=1e-9, abs_tol=1e-9)
    return bool(found == wanted)


def _listed(numbers: Sequence[Any]) -> str:
    return ", ".join(map(str, numbers)) or "none"
