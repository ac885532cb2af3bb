"""A plan put together again: from plan.json and a zone file, or from one that was written whole.

From its files all that plan.json tells comes back, and the shapes; the rules come back as their
date and digest alone. Written whole it comes back equal to what it was, rules and shapes and all;
every noun is written as its fields stand, so that form goes with one release, and plan.json has
names that stay. From plain values to nouns it goes by the fields of each noun.
"""

import datetime
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args, get_type_hints

import cattrs
import shapely
from cattrs.strategies import configure_tagged_union
from shapely.geometry.base import BaseGeometry

from zoneplan import release
from zoneplan.errors import SavedError, listed
from zoneplan.field.crs import WGS_84, move
from zoneplan.notices import Notice, as_dict, notice_from
from zoneplan.plan.model import Instruction, Plan
from zoneplan.rowunit.machine import Machine
from zoneplan.rules.rule import DECIDES
from zoneplan.sources import SourceFile

Document = Mapping[str, Any]

_SCHEMA = "zoneplan-whole/1"


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


def converter(*, every_fault: bool) -> cattrs.Converter:
    """Make a converter of all that a plan holds.

    `every_fault` says whether structuring tells all that is wrong at once, each with its place;
    else the first is raised as it is.
    """
    made = cattrs.Converter(
        unstruct_collection_overrides={tuple: list}, detailed_validation=every_fault
    )
    made.register_unstructure_hook(datetime.date, datetime.date.isoformat)
    made.register_structure_hook(datetime.date, lambda text, _: datetime.date.fromisoformat(text))
    made.register_unstructure_hook_func(_is_shape, shapely.geometry.mapping)
    made.register_structure_hook_func(_is_shape, lambda value, _: _shape(value))
    made.register_unstructure_hook(Notice, as_dict)
    made.register_structure_hook(Notice, lambda value, _: notice_from(value))
    made.register_unstructure_hook_func(_is_condition, _bounded)
    made.register_structure_hook_func(_is_condition, lambda value, _: _unbounded(value))
    configure_tagged_union(Instruction, made)
    systems = get_type_hints(Machine)["system"]
    configure_tagged_union(systems, made, tag_generator=_kind_of, tag_name="kind")
    return made


def _kind_of(system: Any) -> str:
    return str(system.kind)


def _is_shape(kind: Any) -> bool:
    kinds = get_args(kind) or (kind,)
    return all(isinstance(member, type) and issubclass(member, BaseGeometry) for member in kinds)


def _shape(value: Any) -> BaseGeometry:
    return value if isinstance(value, BaseGeometry) else shapely.geometry.shape(value)


def _is_condition(kind: Any) -> bool:
    return bool(kind == tuple[object, ...])  # words, or the least of a number and what it is below


def _bounded(allowed: tuple[Any, ...]) -> list[Any]:
    """Write a bound that is none as null: JSON has no infinity."""
    return [None if isinstance(bound, float) and math.isinf(bound) else bound for bound in allowed]


def _unbounded(bounds: list[Any]) -> tuple[Any, ...]:
    least, below = -math.inf, math.inf
    return tuple(
        (below if place else least) if bound is None else bound
        for place, bound in enumerate(bounds)
    )


_STRUCTURE = converter(every_fault=False).structure  # what it does not know it passes over
CONVERTER = converter(every_fault=True)


# ---- written whole ---------------------------------------------------------------------------


@dataclass(frozen=True)
class WholePlan:
    """A plan, what it was asked as plain values, and the files that it was made from."""

    plan: Plan
    request: Mapping[str, Any]
    sources: tuple[SourceFile, ...] = ()


def whole_plan_bytes(whole: WholePlan) -> bytes:
    """Write a plan with everything in it, so that it can be loaded equal to what it was."""
    document = {"schema": _SCHEMA, "zoneplan": release()} | CONVERTER.unstructure(whole)
    return (json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")


def load_plan(content: bytes, name: str = "The plan") -> WholePlan:
    """Load a plan that was written whole.

    Raises
    ------
    SavedError
        When it was written in another form, by another release, or is damaged.
    """
    try:
        document = json.loads(content)
        if document.get("schema") != _SCHEMA:
            raise ValueError(f"its form is not {_SCHEMA}")
        whole: WholePlan = CONVERTER.structure(document, WholePlan)
    except cattrs.BaseValidationError as error:
        faults = cattrs.transform_error(error, path=name)
        raise SavedError(f"{listed(name, faults)}\n{_INSTEAD}") from error
    except (ValueError, RecursionError, AttributeError) as error:
        raise SavedError(f"{name} cannot be loaded: {error}.\n{_INSTEAD}") from error
    return whole


_INSTEAD = "It goes with the zoneplan that wrote it. Plan it again from its saved plan."
