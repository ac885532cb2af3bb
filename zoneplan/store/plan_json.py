"""A whole plan as JSON, and back: equal to what it was, rules and shapes and all.

Every noun is written as its fields stand, so this form goes with one release; plan.json has names
that stay.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cattrs

from zoneplan.errors import SavedError, listed
from zoneplan.export.load_plan import converter
from zoneplan.plan.model import Plan
from zoneplan.release import release
from zoneplan.sources import SourceFile

SCHEMA = "zoneplan-whole/1"
CONVERTER = converter(every_fault=True)


@dataclass(frozen=True)
class WholePlan:
    """A plan, what it was asked as plain values, and the files that it was made from."""

    plan: Plan
    request: Mapping[str, Any]
    sources: tuple[SourceFile, ...] = ()


def whole_plan_bytes(whole: WholePlan) -> bytes:
    """Write a plan with everything in it, so that it can be loaded equal to what it was."""
    document = {"schema": SCHEMA, "zoneplan": release()} | CONVERTER.unstructure(whole)
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
