"""The one downforce that costs some ground least, and what it costs there."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zoneplan.units import N_PER_LBF

NEARLY_SHARE = 0.1  # judged: what costs so little more is as good
_NOISE = 1e-12
RESOLUTION_N = 20 * N_PER_LBF  # judged: a smaller difference cannot be told on the ground


@dataclass(frozen=True)
class Spread:
    """The downforces that some ground needs, over its zones and the hopper's fill."""

    needs_n: NDArray[np.float64]
    weights: NDArray[np.float64]  # how much ground has each need
    # Cost of a newton too light, in newtons too heavy: one for all, or one a need.
    light_to_heavy: float | NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """How one downforce suits a spread of needs."""

    cost: float  # N × weight: what is missing counts light_to_heavy times, what is too much once
    light_share: float  # of the ground: short by more than RESOLUTION_N
    heavy_share: float  # of the ground: too much by more than RESOLUTION_N


def best_force_n(spread: Spread) -> float:
    """Find the downforce of least cost, a weighted quantile of the needs. [N].

    Notes
    -----
    Raised from the lightest need, a setting pays as long as the ground that would have too
    little, each hectare times its light-to-heavy ratio, outweighs the ground that has enough.
    With one ratio for all that is the lightest need at or below which lies a share
    light / (light + heavy) of the ground. Where several settings cost the same, this is the
    lightest of them.

    Source
    ------
    Derived: see "The one setting" in DEVELOPERS.md. The general result is Koenker &
    Bassett (1978), Econometrica 46:33-50 (from memory).

    Examples
    --------
    Too light costs twice, so two thirds of the ground must have enough.

    >>> needs, hectares = np.array([100.0, 150.0, 300.0]), np.array([30.0, 50.0, 20.0])
    >>> best_force_n(Spread(needs, hectares, light_to_heavy=2.0))
    150.0
    """
    order = np.argsort(spread.needs_n, kind="stable")
    weights = spread.weights[order]
    lights = weights * np.broadcast_to(spread.light_to_heavy, weights.shape)[order]
    enough, short = np.cumsum(weights), lights.sum() - np.cumsum(lights)
    return float(spread.needs_n[order][np.argmax(enough >= short * (1 - _NOISE))])


def best_position_n(positions_n: Iterable[float], spread: Spread) -> float:
    """Find the position of least cost, the lightest where several cost the same. [N].

    Examples
    --------
    >>> needs, hectares = np.array([100.0, 150.0, 300.0]), np.array([30.0, 50.0, 20.0])
    >>> best_position_n([0.0, 100.0, 200.0], Spread(needs, hectares, light_to_heavy=2.0))
    200.0
    """
    return min(sorted(positions_n), key=lambda position_n: _cost(position_n, spread))


def as_good_n(positions_n: Iterable[float], spread: Spread) -> list[float]:
    """Find the positions that cost nearly as little as the best, that one first. [N].

    Examples
    --------
    >>> needs, hectares = np.array([100.0, 150.0]), np.array([50.0, 50.0])
    >>> as_good_n([0.0, 100.0, 150.0], Spread(needs, hectares, light_to_heavy=1.0))
    [100.0, 150.0]
    """
    costs = {position_n: _cost(position_n, spread) for position_n in sorted(positions_n)}
    best = min(costs.values())
    near = [position_n for position_n, cost in costs.items() if cost <= (1 + NEARLY_SHARE) * best]
    return sorted(near, key=lambda position_n: costs[position_n])


def fit(downforce_n: float, spread: Spread) -> Fit:
    """Weigh up one downforce against the needs.

    Examples
    --------
    >>> needs, hectares = np.array([100.0, 150.0, 300.0]), np.array([30.0, 50.0, 20.0])
    >>> fit(150.0, Spread(needs, hectares, light_to_heavy=2.0))
    Fit(cost=7500.0, light_share=0.2, heavy_share=0.0)
    """
    missing_n = spread.needs_n - downforce_n
    return Fit(
        cost=_cost(downforce_n, spread),
        light_share=float(spread.weights @ (missing_n > RESOLUTION_N) / spread.weights.sum()),
        heavy_share=float(spread.weights @ (missing_n < -RESOLUTION_N) / spread.weights.sum()),
    )


def _cost(downforce_n: float, spread: Spread) -> float:
    missing_n = spread.needs_n - downforce_n
    cost_n = np.where(missing_n > 0, spread.light_to_heavy * missing_n, -missing_n)
    return float(cost_n @ spread.weights)
