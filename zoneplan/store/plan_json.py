"""A whole plan as JSON, and back: equal to what it was, rules and shapes and all.

Every noun is written as its fields stand, so this form goes with one release; plan.json has names
that stay.
"""

import datetime
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any, get_args, get_type_hints

import cattrs
import shapely.geometry
from cattrs.strategies import configure_tagged_union
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import SavedError, listed
from zoneplan.notices import Notice, as_dict, notice_from
from zoneplan.plan.model import Instruction, Plan
from zoneplan.rowunit.machine import Machine
from zoneplan.sources import SourceFile

SCHEMA = "zoneplan-whole/1"


@dataclass(frozen=True)
class WholePlan:
    """A plan, what it was asked as plain values, and the files that it was made from."""

    plan: Plan
    request: Mapping[str, Any]
    sources: tuple[SourceFile, ...] = ()


def whole_plan_bytes(whole: WholePlan) -> bytes:
    """Write a plan with everything in it, so that it can be loaded equal to what it was."""
    document = {"schema": SCHEMA, "zoneplan": version("zoneplan")} | CONVERTER.unstructure(whole)
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
        if document.get("schema") != SCHEMA:
            raise ValueError(f"its form is not {SCHEMA}")
        whole: WholePlan = CONVERTER.structure(document, WholePlan)
    except cattrs.BaseValidationError as error:
        faults = cattrs.transform_error(error, path=name)
        raise SavedError(f"{listed(name, faults)}\n{_INSTEAD}") from error
    except (ValueError, RecursionError, AttributeError) as error:
        raise SavedError(f"{name} cannot be loaded: {error}.\n{_INSTEAD}") from error
    return whole


_INSTEAD = "It goes with the zoneplan that wrote it. Plan it again from its saved plan."


# ---- what cattrs does not know by itself -------------------------------------------------------


def _converter() -> cattrs.Converter:
    made = cattrs.Converter(unstruct_collection_overrides={tuple: list})
    made.register_unstructure_hook(datetime.date, datetime.date.isoformat)
    made.register_structure_hook(datetime.date, lambda text, _: datetime.date.fromisoformat(text))
    made.register_unstructure_hook_func(_is_shape, shapely.geometry.mapping)
    made.register_structure_hook_func(_is_shape, lambda told, _: shapely.geometry.shape(told))
    made.register_unstructure_hook(Notice, as_dict)
    made.register_structure_hook(Notice, lambda told, _: notice_from(told))
    made.register_unstructure_hook_func(_is_condition, _bounded)
    made.register_structure_hook_func(_is_condition, lambda told, _: _unbounded(told))
    configure_tagged_union(Instruction, made)
    configure_tagged_union(get_type_hints(Machine)["system"], made)
    return made


def _is_shape(kind: Any) -> bool:
    kinds = get_args(kind) or (kind,)
    return all(isinstance(it, type) and issubclass(it, BaseGeometry) for it in kinds)


def _is_condition(kind: Any) -> bool:
    return bool(kind == tuple[object, ...])  # words, or the least of a number and what it is below


def _bounded(allowed: tuple[Any, ...]) -> list[Any]:
    """Write a bound that is none as null: JSON has no infinity."""
    return [None if isinstance(it, float) and math.isinf(it) else it for it in allowed]


def _unbounded(told: list[Any]) -> tuple[Any, ...]:
    least, below = -math.inf, math.inf
    return tuple((below if place else least) if it is None else it for place, it in enumerate(told))


CONVERTER = _converter()
