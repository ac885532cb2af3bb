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

Document = Mapping[str, Any]
_STRUCTURE = converter(every_fault=False).structure  # what it does not know it passes over


def restored(document: Document, shapes: Mapping[int, BaseGeometry]) -> Plan:
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
    zones = [(zone, move(shapes[zone["id"]], WGS_84, crs)) for zone in document["zones"]]
    machine, rules = document["machine"], document["rules"]
    nothing = {"unit": "N", "revised": rules["revised"], "rules": []}
    plan: Plan = _STRUCTURE(
        {
            **document,
            "field": {
                **document["field"],
                "shape": shapely.union_all([shape for _, shape in zones]),
            },
            "rules": {**{name: {"decides": name, **nothing} for name in DECIDES}, **rules},
            "settings": [_setting(zone, shape) for zone, shape in zones],
            "setting_kind": machine["setting_kind"],
            "setting_unit": machine["setting_unit"],
            "counts": [
                {"rms_n": 0.0, **count, "kept": count["share"]} for count in document["kept"]
            ],
        },
        Plan,
    )
    return plan


def _setting(document: Document, shape: BaseGeometry) -> Document:
    """A zone's part of plan.json, by the fields of the nouns."""
    soil, site = document["soil"], document["site"]
    part = None if site["part"] is None else {"kind": site["part_kind"], "name": site["part"]}
    zone = {
        **document,
        "shape": shape,
        "facts": {**soil, "notes": soil["notices"]},
        "soils": [(entry["named"], entry["share"]) for entry in document["soils"]],
        "site": {**site, "part": part},
        "marked": [
            ({"kind": mark["kind"], "name": mark["mark"]}, mark["share"])
            for mark in document["marked"]
        ],
    }
    moistures = {
        name: _moisture(moisture, soil["ground"])
        for name, moisture in document["moistures"].items()
    }
    return {"zone": zone, "moistures": moistures, "usual_share": document.get("usual_share")}


def _moisture(document: Document, ground: str) -> Document:
    kind = (
        "Wait" if document["wait"] else "NoNumbers" if document["margin_n"] is None else "Setting"
    )
    chains = {
        name: [{**link, "adds": link["adds_n"]} for link in document[name]]
        for name in ("reasons", "closing_reasons", "stop_reasons")
    }
    return {**document, **chains, "ground": ground, "_type": kind}
