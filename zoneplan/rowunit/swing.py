"""How far the gauge-wheel load swings about its mean: what a margin is for.

s = √(bounce² + (0.15 · h · R)²) · slope
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from zoneplan.terms import System, Tillage


@dataclass(frozen=True)
class SwingFactors:
    """What makes a swing: the stored rules that decide it, in SI."""

    bounce_n: Mapping[Tillage, float]  # at `speed_mps`, on `bare_pct` of residue or less
    speed_mps: float
    per_mps: float  # share of the bounce, up and down
    least_speed_factor: float
    bare_pct: float
    per_residue_pct: float
    most_residue_factor: float
    uneven_share: float  # of the opener load, within a few metres
    felt_share: Mapping[System, float]  # h: what a system that follows part of it leaves
    per_slope: float  # share of the swing per rise over run
    most_slope_frac: float


@dataclass(frozen=True)
class MeasuredSwing:
    """A standard deviation of gauge-wheel load from a log, and where it was logged."""

    load_n: float
    tillage: Tillage
    speed_mps: float


@dataclass(frozen=True)
class Swing:
    """The swing on one ground at one speed, at any opener load."""

    bounce_n: float
    uneven_share: float  # of the opener load, as far as the system leaves it
    slope_factor: float
    measured_n: float | None = None  # replaces all of the above

    def at_n(self, opener_load_n: float) -> float:
        """Standard deviation of the gauge-wheel load. [N].

        Parameters
        ----------
        opener_load_n : float
            The soil's load on the discs: one that pushes harder swings more. [N]

        Source
        ------
        Derived: two swings that know nothing of each other, added as squares

        Examples
        --------
        >>> round(Swing(40.0, 0.15, 1.0).at_n(200.0))  # √(40² + 30²)
        50
        """
        if self.measured_n is not None:
            return self.measured_n
        return math.hypot(self.bounce_n, self.uneven_share * opener_load_n) * self.slope_factor


def swing(
    tillage: Tillage,
    speed_mps: float,
    system: System,
    factors: SwingFactors,
    *,
    residue_pct: float = 0.0,
    slope_frac: float = 0.0,
    measured: MeasuredSwing | None = None,
) -> Swing:
    """Say how the gauge-wheel load swings on some ground.

    Parameters
    ----------
    tillage, speed_mps, system : Tillage, float, System
        Ground, planned speed [m/s] and what presses the unit down.
    factors : SwingFactors
        The stored ones.
    residue_pct : float
        Share of the ground that residue covers. [%, 0 to 100]
    slope_frac : float
        Rise over run; 0 where it is not known.
    measured : MeasuredSwing, optional
        Replaces the whole swing for the tillage it was logged on. At another speed it is
        carried there as the bounce would be.

    Source
    ------
    Judged: each number with its reason and source in `rules/data/swing.toml`
    """
    measured_n = None
    if measured is not None and measured.tillage is tillage:
        there = speed_factor(measured.speed_mps, factors)
        measured_n = measured.load_n * speed_factor(speed_mps, factors) / there
    return Swing(
        bounce_n=factors.bounce_n[tillage]
        * speed_factor(speed_mps, factors)
        * residue_factor(residue_pct, factors),
        uneven_share=factors.uneven_share * factors.felt_share[system],
        slope_factor=slope_factor(slope_frac, factors),
        measured_n=measured_n,
    )


def speed_factor(speed_mps: float, factors: SwingFactors) -> float:
    """Bounce at a speed over that at 5 mph. [factor]."""
    return max(1 + factors.per_mps * (speed_mps - factors.speed_mps), factors.least_speed_factor)


def residue_factor(residue_pct: float, factors: SwingFactors) -> float:
    """Bounce over residue over that on bare ground. [factor, from 1]."""
    over_pct = max(residue_pct - factors.bare_pct, 0.0)
    return min(1 + factors.per_residue_pct * over_pct, factors.most_residue_factor)


def slope_factor(slope_frac: float, factors: SwingFactors) -> float:
    """Swing on a slope over that on level ground: the unit hangs or pitches. [factor, from 1]."""
    return 1 + factors.per_slope * min(slope_frac, factors.most_slope_frac)
