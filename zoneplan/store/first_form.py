"""Saved plans of the first form, "zoneplan-work/1", brought into the second: everything in SI.

They keep opening for ever. What is not as the first form had it is handed on as it is: the reader
of the second tells what is wrong with it.
"""

from collections.abc import Mapping
from typing import Any

from zoneplan.request import Request, asks

_OWN_MACHINE = "this field's own planter"
_ASKS = dict(asks(Request))
_NAMES: dict[str, str] = {  # of the first form: what each is called now
    "speed_mph": "speed_mps",
    "depth_in": "depth_m",
    "least_acres": "least_area_m2",
    "least_width_ft": "least_width_m",
    "residue_pct": "residue_frac",
    "headland": "headland_passes",
    "sides": "headland_sides",
}
_PARTS = ("asked", "request", "sources")
_OF_FILES = ("pick", "crs", "columns", "raster_unit")
_ROLES = {"drawn": "zones"}


def in_si(work: Mapping[str, Any]) -> dict[str, Any]:
    """Bring what work.json holds from the first form into the second."""
    asked: Any = work.get("asked")
    rest = {name: value for name, value in work.items() if name not in _PARTS}
    if not isinstance(asked, dict):
        return rest
    ground, machine = asked.get("ground"), asked.get("machine")
    named = ((_NAMES.get(str(name), str(name)), value) for name, value in asked.items())
    request = {
        name: _shown_in_si(name, value)
        for name, value in named
        if name not in ("ground", "machine", "rules")
    }
    if isinstance(request.get("edits"), list):
        request["edits"] = [_edit_of_today(it) for it in request["edits"]]
    sources: dict[str, Any] = {"machine": machine, "rules": asked.get("rules", [])}
    if isinstance(ground, dict):
        request |= {name: ground[name] for name in _OF_FILES if name in ground}
        sources |= {
            _ROLES.get(str(name), str(name)): value
            for name, value in ground.items()
            if name not in _OF_FILES
        }
    else:
        demo = {"demo": ground}
        sources |= {"boundary": demo, "soils": [demo]}
        if machine == _OWN_MACHINE:
            sources["machine"] = demo
    return rest | {"request": request, "sources": sources}


def _edit_of_today(edit: Any) -> Any:
    """Call what an edit holds as it is called now."""
    if not isinstance(edit, dict):
        return edit
    return {("moisture" if name == "wetness" else name): value for name, value in edit.items()}


def _shown_in_si(name: str, value: Any) -> Any:
    """Turn a number that was kept as it was shown into SI."""
    ask = _ASKS.get(name)
    if ask is None or not isinstance(value, int | float) or isinstance(value, bool):
        return value
    try:
        taken: float = ask.taken(value)
    except OverflowError:
        return value
    if name in ("least_area_m2", "least_width_m") and ask.most is not None:
        return min(taken, ask.most)  # which had no limit: so much is the whole field, as more is
    return taken
