"""Join neighbours that need the same."""

import heapq
import math
from collections.abc import Iterator

from zoneplan.zones.patchwork import Patchwork


def join_alike(patchwork: Patchwork, alike_n: float) -> None:
    """Join the two neighbours that differ least until no two are alike."""
    for difference_n, one, other in nearest_first(patchwork):
        if not is_alike(difference_n, alike_n):
            return
        patchwork.join(one, other)


def is_alike(difference_n: float, alike_n: float) -> bool:
    """Whether two differ by less than `alike_n` [N], or not at all."""
    return difference_n < alike_n or difference_n == 0.0


def nearest_first(patchwork: Patchwork) -> Iterator[tuple[float, int, int]]:
    """Find the two neighbours that differ least, again and again.

    Whoever asks for the next two must have joined these. Neighbours with other labels or
    marks are never among them.

    Yields
    ------
    tuple
        By how much they differ [N], and their keys.
    """
    queue: list[tuple[float, int, int]] = []

    def consider(one: int, other: int) -> None:
        difference_n = patchwork.difference_n(one, other)
        if difference_n < math.inf:
            heapq.heappush(queue, (difference_n, min(one, other), max(one, other)))

    for key, patch in patchwork.patches.items():
        for near in patch.borders_m:
            if key < near:
                consider(key, near)
    while queue:
        difference_n, one, other = heapq.heappop(queue)
        gone = not patchwork.patches.keys() >= {one, other}
        if gone or difference_n != patchwork.difference_n(one, other):
            continue  # one of them has joined another since
        yield difference_n, one, other
        for near in patchwork.patches[one].borders_m:
            consider(one, near)
