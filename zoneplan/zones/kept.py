"""How many zones: what every number of them keeps of the variation in the need for downforce."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zoneplan.notices import Notice, notice
from zoneplan.units import N_PER_LBF
from zoneplan.zones.alike import is_alike, nearest_first
from zoneplan.zones.patchwork import Patchwork
from zoneplan.zones.zone import Decision

# Judged: what is left out is then a 20th of the variance, so the need inside the zones
# strays from what they are planned for by 22 % of what it strays by over the field.
KEPT_SHARE = 0.95
RESOLUTION_N = 20 * N_PER_LBF  # agronomy judgement: no row unit shows a smaller change

_Values = NDArray[np.float64]


@dataclass(frozen=True)
class Number:
    """One number of zones that the field may be parted into."""

    zones: int
    kept: float  # share of the variation in the need for downforce, 0 to 1
    settled: bool  # no two neighbours are alike


class Needs:
    """The need for downforce on every piece of a patchwork, about its mean, at each wetness.

    A wetness at which a piece has no number, as where it is to wait, is left out there.
    """

    def __init__(self, patchwork: Patchwork) -> None:
        of_shape, decisions, areas_m2 = zip(
            *(
                (number, patchwork.decide(facts, site), m2)
                for number, ground in enumerate(patchwork.grounds)
                for facts, site, m2 in ground
            ),
            strict=True,
        )
        self._wetnesses = max(len(decision.needs_n) for decision in decisions)
        needs_n = np.array([self._row(decision) for decision in decisions])
        area = np.where(np.isnan(needs_n), 0.0, np.array(areas_m2)[:, None])
        needs_n = np.nan_to_num(needs_n)
        whole = np.maximum(area.sum(axis=0), np.finfo(float).tiny)
        self._mean_n = (area * needs_n).sum(axis=0) / whole
        self.known = bool(area.any())  # else there is nothing to choose by
        off_n = needs_n - self._mean_n
        # Of each shape: its area, times its need, times its need squared. They add up.
        self.moments = np.zeros((len(patchwork.shapes), 3, self._wetnesses))
        np.add.at(
            self.moments, list(of_shape), np.stack([area, area * off_n, area * off_n**2], axis=1)
        )
        variances = self.moments[:, 2].sum(axis=0) / whole
        self.strays_n = float(np.sqrt(variances.max(initial=0.0)))  # at the worst wetness

    def lost(self, moments: _Values, decision: Decision) -> float:
        """What a zone of such ground loses: area by the square of how far it is off. [m² N²].

        Where a zone has no number it tells nothing, as if it had the mean of the field.
        """
        planned_n = np.nan_to_num(self._row(decision) - self._mean_n)
        return float((moments[2] - 2 * planned_n * moments[1] + planned_n**2 * moments[0]).sum())

    def _row(self, decision: Decision) -> _Values:
        needs_n = decision.needs_n or (None,) * self._wetnesses
        return np.array(needs_n, dtype=float)


def join_to_number(
    patchwork: Patchwork, alike_n: float, most_zones: int | None
) -> tuple[list[Number], list[Notice]]:
    """Join the two neighbours that differ least as long as enough variation is kept.

    Parameters
    ----------
    patchwork : Patchwork
        In which no two neighbours are alike. Changed in place.
    alike_n : float
        Least difference in any load that tells two neighbours apart. [N]
    most_zones : int, optional
        No more zones than this, unless they cannot join.

    Returns
    -------
    tuple
        Every number of zones that the field can be parted into, from the most to the
        fewest; and notices of what the chosen one keeps. Both are empty, and nothing joins,
        where no piece has a number.

    Notes
    -----
    Chosen is the fewest that keeps KEPT_SHARE. Where even the most keeps less, as where a
    system that holds a margin answers the openers by itself, it is that share of what the
    most keeps. Where the need nowhere strays from its mean by RESOLUTION_N, root mean
    square, it is the fewest there is.
    """
    needs = Needs(patchwork)
    if not needs.known:
        return [], []
    numbers, joins = _fewer_and_fewer(patchwork.copy(), needs, alike_n)
    chosen = _chosen(numbers, needs, most_zones)
    for one, other in joins[: numbers[0].zones - chosen.zones]:
        patchwork.join(one, other)
    return numbers, _notes(numbers, chosen, needs, most_zones)


def _fewer_and_fewer(
    patchwork: Patchwork, needs: Needs, alike_n: float
) -> tuple[list[Number], list[tuple[int, int]]]:
    patches = patchwork.patches
    moments = {key: needs.moments[patch.members].sum(axis=0) for key, patch in patches.items()}
    losses = {key: needs.lost(moments[key], patch.decision) for key, patch in patches.items()}
    total = float(needs.moments[:, 2].sum())
    numbers, joins = [], []

    def number(settled: bool) -> Number:
        # A blend of soils may need something beside the mean: worse than nothing is nothing.
        kept = max(0.0, 1 - math.fsum(losses.values()) / total) if total else 1.0
        return Number(len(patches), kept, settled)

    for difference_n, one, other in nearest_first(patchwork):
        numbers.append(number(settled=not is_alike(difference_n, alike_n)))
        joins.append((one, other))
        patchwork.join(one, other)
        moments[one] += moments.pop(other)
        del losses[other]
        losses[one] = needs.lost(moments[one], patches[one].decision)
    numbers.append(number(settled=True))
    return numbers, joins


def _chosen(numbers: Sequence[Number], needs: Needs, most_zones: int | None) -> Number:
    settled = [number for number in numbers if number.settled]
    fewest = settled[-1]
    most_kept = numbers[0].kept
    enough = KEPT_SHARE if most_kept >= KEPT_SHARE else KEPT_SHARE * most_kept
    chosen = fewest
    if needs.strays_n >= RESOLUTION_N:
        chosen = next(number for number in reversed(settled) if number.kept >= enough)
    if most_zones is not None and chosen.zones > most_zones:
        chosen = next((number for number in settled if number.zones <= most_zones), fewest)
    return chosen


def _notes(
    numbers: Sequence[Number], chosen: Number, needs: Needs, most_zones: int | None
) -> list[Notice]:
    """Note what is kept, and what a third less and a third more would keep."""
    few = max(1, round(chosen.zones / 3))
    kept = {number.zones: number.kept for number in numbers}
    fewer, more = max(chosen.zones - few, min(kept)), min(chosen.zones + few, max(kept))
    notes = [
        notice(
            "zones-keep",
            zones=chosen.zones,
            share=kept[chosen.zones],
            fewer=fewer if fewer != chosen.zones else None,
            fewer_share=kept[fewer] if fewer != chosen.zones else None,
            more=more if more != chosen.zones else None,
            more_share=kept[more] if more != chosen.zones else None,
            before_edits=False,
        )
    ]
    if needs.strays_n < RESOLUTION_N:
        notes.append(
            notice(
                "need-hardly-strays",
                strays_n=needs.strays_n,
                resolution_n=RESOLUTION_N,
                before_edits=False,
            )
        )
    if most_zones is not None and chosen.zones > most_zones:
        notes.append(
            notice(
                "more-zones-than-asked", zones=chosen.zones, asked=most_zones, before_edits=False
            )
        )
    return notes
