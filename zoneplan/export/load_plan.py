"""A plan put together again from its files, to hold the other files against.

All that plan.json tells comes back, and the shapes come from a zone file; the rules come back
as their date and digest alone.
"""

from collections.abc import Mapping
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from zoneplan.export.structure import converter
from zoneplan.field.crs import WGS_84, move
from zoneplan.plan.model import Plan
from zoneplan.rules.rule import DECIDES

Told = Mapping[str, Any]
_STRUCTURE = converter(every_fault=False).structure  # what it does not know it passes over


def restored(document: Told, shapes: Mapping[int, BaseGeometry]) -> Plan:
    """Put a plan together again.

    Parameters
    ----------
    document : mapping
        What plan.json holds, checked against its schema.
    shapes : mapping of int to geometry
        Each zone's shape by its number, in WGS 84 degrees.

    Raises
    ------
    KeyError, TypeError
        When a zone has no shape, or the machine is not told as this version tells it.
    """
    crs = document["field"]["crs"]
    zones = [(it, move(shapes[it["id"]], WGS_84, crs)) for it in document["zones"]]
    machine, rules = document["machine"], document["rules"]
    nothing = {"unit": "N", "revised": rules["revised"], "rules": []}
    plan: Plan = _STRUCTURE(
        {
            **document,
            "field": {
                **document["field"],
                "shape": shapely.union_all([shape for _, shape in zones]),
            },
            "rules": {**{it: {"decides": it, **nothing} for it in DECIDES}, **rules},
            "settings": [_setting(it, shape) for it, shape in zones],
            "setting_kind": machine["setting_kind"],
            "setting_unit": machine["setting_unit"],
            "counts": [{"rms_n": 0.0, **it, "kept": it["share"]} for it in document["kept"]],
        },
        Plan,
    )
    return plan


def _setting(told: Told, shape: BaseGeometry) -> Told:
    """A zone's part of plan.json, by the fields of the nouns."""
    soil, site = told["soil"], told["site"]
    part = None if site["part"] is None else {"kind": site["part_kind"], "name": site["part"]}
    zone = {
        **told,
        "shape": shape,
        "facts": {**soil, "notes": soil["notices"]},
        "soils": [(it["named"], it["share"]) for it in told["soils"]],
        "site": {**site, "part": part},
        "marked": [
            ({"kind": it["kind"], "name": it["mark"]}, it["share"]) for it in told["marked"]
        ],
    }
    moistures = {name: _moisture(it, soil["ground"]) for name, it in told["moistures"].items()}
    return {"zone": zone, "moistures": moistures, "usual_share": told.get("usual_share")}


def _moisture(told: Told, ground: str) -> Told:
    kind = "Wait" if told["wait"] else "NoNumbers" if told["margin_n"] is None else "Setting"
    chains = {
        name: [{**link, "adds": link["adds_n"]} for link in told[name]]
        for name in ("reasons", "closing_reasons", "stop_reasons")
    }
    return {**told, **chains, "ground": ground, "_type": kind}
