"""Marks on the ground, for tests."""

from zoneplan.field.shapes import Mark
from zoneplan.terms import MarkKind


def drawn_zone(name: str) -> Mark:
    """Mark ground as a zone of this name that a person drew."""
    return Mark(MarkKind.DRAWN, name)
