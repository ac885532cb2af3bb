"""Teeth: what is thin in zones, and the zones that must join for it."""

import functools
from collections import defaultdict
from collections.abc import Sequence
from math import inf
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from zoneplan.field.shapes import Mark
from zoneplan.notices import Notice, notice
from zoneplan.zones.marks import binding
from zoneplan.zones.patchwork import Patchwork
from zoneplan.zones.tidy import nearest
from zoneplan.zones.width import NOTHING, SLACK_M, narrow_in, thin_parts
from zoneplan.zones.zone import Decision

SOME_SHARE = 0.01  # judged: less of the field in thin parts than this is not worth a note
_Shapes = NDArray[np.object_]


class Teeth:
    """Finds the teeth of zones: what is thin in them, though the field is not.

    Ground that somebody marked on purpose keeps the ground it was given. It has a tooth where
    it is thin though all that was marked so is not.

    Parameters
    ----------
    shapes, decisions : array of Polygon, sequence of Decision
        The field as it is given: a valid coverage, and what is needed there.
    least_width_m : float
        Width that is asked for. [m; 0 for any]
    """

    def __init__(
        self, shapes: _Shapes, decisions: Sequence[Decision], least_width_m: float
    ) -> None:
        self.least_width_m = least_width_m
        # Judged: a square of the least width, less the slack at its edges.
        self.large_m2 = max(least_width_m - 2 * SLACK_M, 0.0) ** 2
        given: dict[tuple[Mark, ...], list[int]] = defaultdict(list)
        for number, decision in enumerate(decisions):
            for marks in {(), binding(decision.marks)}:
                given[marks].append(number)
        # By binding marks; what has none may become any ground, and is as wide as the field.
        self._narrow = {marks: narrow_in(shapes[of], least_width_m) for marks, of in given.items()}
        self._found = functools.cache(self._find)

    def of(self, shape: Polygon, decision: Decision) -> list[Polygon]:
        """Find the teeth of a zone with this outline, and this need."""
        return self._found(shape, binding(decision.marks))

    def any_large(self, shape: Polygon, decision: Decision) -> bool:
        """Whether one of its teeth is as large as a square of the least width."""
        return any(tooth.area >= self.large_m2 for tooth in self.of(shape, decision))

    def notes(self, outlines: _Shapes, decisions: Sequence[Decision]) -> list[Notice]:
        """Note what is thin in finished zones, if it is much or large; and in marked ground."""
        field_m2 = float(shapely.area(outlines).sum())
        asked: dict[str, Any] = {"width_m": self.least_width_m, "before_edits": False}
        zones = list(zip(outlines, decisions, strict=True))
        left_m2 = sum(tooth.area for zone in zones for tooth in self.of(*zone))
        marked_m2 = sum(
            narrow.difference(self._narrow[()]).area for narrow in self._narrow.values()
        )
        notes = []
        if left_m2 >= SOME_SHARE * field_m2 or any(self.any_large(*zone) for zone in zones):
            notes.append(notice("thin-parts-left", share=left_m2 / field_m2, **asked))
        if marked_m2 >= SOME_SHARE * field_m2:
            notes.append(notice("thin-marks-kept", share=marked_m2 / field_m2, **asked))
        return notes

    def _find(self, shape: Polygon, marks: tuple[Mark, ...]) -> list[Polygon]:
        return thin_parts(shape, self.least_width_m, self._narrow.get(marks, NOTHING))


def join_thin(patchwork: Patchwork, teeth: Teeth) -> bool:
    """Join the smallest patch with a large tooth to the neighbour it differs from least.

    Only where that needs the same in kind, by label and marks, and where the tooth is not as
    thin in all ground of that kind. So no number comes to wide ground that has none, no patch
    joins in vain, and each time there is one patch less.

    Returns
    -------
    bool
        Whether there was one to join.
    """
    patches = patchwork.patches
    shapes = {key: patchwork.shape(key) for key in patches}
    thin = [key for key in patches if teeth.any_large(shapes[key], patches[key].decision)]

    def would_help(key: int) -> bool:
        decision = patches[key].decision
        alike = [shapes[near] for near in patches if patchwork.difference_n(key, near) < inf]
        narrow = narrow_in(np.array(alike, dtype=object), teeth.least_width_m)
        return any(
            tooth.difference(narrow).area >= teeth.large_m2
            for tooth in teeth.of(shapes[key], decision)
        )

    # To the square centimetre, or rounding would decide between two that are as large.
    for key in sorted(thin, key=lambda key: (round(shapes[key].area, 4), key)):
        if patches[key].borders_m:
            near = nearest(patchwork, key)
            if patchwork.difference_n(key, near) < inf and would_help(key):
                patchwork.join(key, near)
                return True
    return False
