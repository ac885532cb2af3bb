"""From plain values to nouns and back, by the fields of each noun: what cattrs needs for a plan."""

import datetime
import math
from typing import Any, get_args, get_type_hints

import cattrs
import shapely.geometry
from cattrs.strategies import configure_tagged_union
from shapely.geometry.base import BaseGeometry

from zoneplan.notices import Notice, as_dict, notice_from
from zoneplan.plan.model import Instruction
from zoneplan.rowunit.machine import Machine


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
