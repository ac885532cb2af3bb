"""What is drawn and not yet used, kind by kind: nothing of it is lost until it is used or put back.

The map and the text box are two ways to the same outlines. The map is given outlines anew only
where they came from elsewhere than the map itself, for that makes it load again.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from zoneplan.pages.outline import Outline, from_map

Outlines = tuple[Outline, ...]


@dataclass
class Sketch:
    """One kind of outlines on the drawing table."""

    kept: Outlines = ()  # as they are used
    now: Outlines = ()  # as they are drawn
    laid: Outlines = ()  # as the map was given them
    turn: int = 0  # counts how often the map was to forget what it holds
    typed: str | None = None  # what was typed and could not be read
    fault: str | None = None
    said: str | None = None  # of what was just done
    names: dict[str, str] = field(default_factory=dict)  # by the mark of what was just drawn

    @property
    def unused(self) -> bool:
        """Whether something was drawn or typed that is not used yet."""
        return self.now != self.kept or self.typed is not None


def sketch(what: str, kept: Sequence[Outline]) -> Sketch:
    """What is drawn of one kind on one field, brought up to what is used of it."""
    table = st.session_state.setdefault("sketches", {})
    found: Sketch = table.setdefault((st.session_state["field"], what), Sketch())
    if found.kept != tuple(kept):
        found.now = found.laid = rebased(found.now, found.kept, kept)
        found.kept = tuple(kept)
        found.fault = None
    return found


def rebased(
    now: Sequence[Outline], before: Sequence[Outline], after: Sequence[Outline]
) -> Outlines:
    """What is drawn, after what is used was changed elsewhere.

    >>> a, b, c = (Outline(name, ()) for name in "abc")
    >>> [it.name for it in rebased([a, b, c], [a, b], [b])]  # a was let go, c is new
    ['b', 'c']
    """
    left = [it for it in now if it not in before or it in after]
    return (*left, *(it for it in after if it not in before and it not in left))


def taken(it: Sketch, features: Iterable[dict[str, Any]], name: str) -> Outlines:
    """The outlines that the map sends. One that is new gets the name, and keeps it."""
    named = []
    for feature in features:
        told = feature.get("properties") or {}
        if "mark" in told:
            told = {"name": it.names.setdefault(told["mark"], name)}
        named.append({**feature, "properties": told})
    return tuple(from_map(named))
