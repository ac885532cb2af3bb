"""The chain from a base aim to a margin target: what each fact makes of the swing, and so of it.

The aim keeps its contact, so it grows as the swing does. Facts are let in one after the other,
from the base rule's own ground to the ground that is planned; each link tells what its fact adds,
and all links add up to the target.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from zoneplan.plan.soil_state import SoilState, soil_state
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.opener_load import (
    REFERENCE_DEPTH_M,
    REFERENCE_SPEED_MPS,
    ground_ratio,
    opener_load_n,
)
from zoneplan.rowunit.swing import MeasuredSwing, Swing, SwingFactors, swing
from zoneplan.rowunit.target import Target, contact_share
from zoneplan.rules.choose import factor_of
from zoneplan.rules.rule import Choice, Reason, Rule, Rules
from zoneplan.rules.words import sources_in_words
from zoneplan.soil.texture import GROUP_OF, SoilFacts
from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Confidence, Moisture, System, Tillage
from zoneplan.units import N_PER_LBF

LEAST_SHARE = 0.96  # common practice, no source
LEAST_TOLD_N = 0.1 * N_PER_LBF  # a smaller step is arithmetic


@dataclass(frozen=True)
class Pass:
    """All that moves a swing: one soil at one moisture, and how a planter goes over it."""

    soil: SoilState
    available_share: float
    tillage: Tillage = Tillage.TILLED
    speed_mps: float = REFERENCE_SPEED_MPS
    residue_frac: float = 0.0
    depth_m: float = REFERENCE_DEPTH_M
    traffic: bool = False
    excess_density_mg_m3: float = 0.0
    system: System = System.SPRINGS
    slope_frac: float = 0.0
    measured: MeasuredSwing | None = None

    @cached_property
    def ground_ratio(self) -> float:
        """Opener load on this ground over that on a smooth tilled seedbed. [1 = the same]."""
        return ground_ratio(
            self.tillage,
            traffic=self.traffic,
            excess_density_mg_m3=self.excess_density_mg_m3,
        )

    @property
    def opener_load_n(self) -> float:
        """The soil's push on the discs. [N]."""
        return self.opener_load_at_n(self.available_share)

    def opener_load_at_n(self, available_share: float) -> float:
        """The soil's push on the discs at another moisture. [N]."""
        return opener_load_n(
            self.soil.texture_ratio,
            self.soil.moisture_ratio(available_share),
            self.ground_ratio,
            self.depth_m,
            self.speed_mps,
        )

    def swing(self, factors: SwingFactors) -> Swing:
        """How the gauge-wheel load swings, at any opener load."""
        return swing(
            self.tillage,
            self.speed_mps,
            self.system,
            factors,
            residue_pct=100 * self.residue_frac,
            slope_frac=self.slope_frac,
            measured=self.measured,
        )

    def swing_n(self, factors: SwingFactors) -> float:
        """Standard deviation of the gauge-wheel load. [N]."""
        return self.swing(factors).at_n(self.opener_load_n)

    @property
    def reference(self) -> "Pass":
        """The same soil and moisture where the base rules keep their aims."""
        return Pass(self.soil, self.available_share)


def swing_factors(rules: Rules) -> SwingFactors:
    """Fill what makes a swing from the stored rules."""

    def value(acts: str, **which: Tillage | System) -> float:
        return _fixed(factor_of(rules.swing, acts, **which))

    speed, residue = (factor_of(rules.swing, acts) for acts in ("speed", "residue"))
    slope = factor_of(rules.swing, "slope")
    return SwingFactors(
        bounce_n={tillage: value("bounce", tillage=tillage) for tillage in Tillage},
        speed_mps=REFERENCE_SPEED_MPS,
        per_mps=_each(speed),
        least_speed_factor=_bound(speed.least),
        bare_pct=100 * _over(residue),
        per_residue_pct=_each(residue) / 100,
        most_residue_factor=_bound(residue.most),
        uneven_share=value("uneven"),
        felt_share={system: value("felt", system=system) for system in System},
        per_slope=_each(slope),
        most_slope_frac=(_bound(slope.most) - 1) / _each(slope) if _each(slope) else 0.0,
    )


def implied_contact(rules: Rules, aim: Rule) -> tuple[float, float]:
    """Least and most share of the time down that an aim implies, over its textures. [0 to 1].

    Parameters
    ----------
    rules : Rules
        Whose swing is taken: tilled, level, bare ground, 2 in deep, 5 mph, on springs.
    aim : Rule
        A base rule of the aim.
    """
    assert aim.amount is not None
    factors, shares = swing_factors(rules), []
    for texture, group in GROUP_OF.items():
        for moisture in Moisture:
            if group in aim.when.get("texture_group", (group,)) and moisture in aim.when.get(
                "moisture", (moisture,)
            ):
                soil = soil_state(SoilFacts(texture=texture))
                swing_n = Pass(soil, AVAILABLE_SHARE[moisture]).swing_n(factors)
                shares.append(contact_share(aim.amount.fixed, swing_n))
    return min(shares), max(shares)


def measured_swing(machine: Machine, tillage: Tillage) -> MeasuredSwing | None:
    """The machine's own swing, where its file gives one, for the ground it is planned on."""
    if machine.swing_n is None:
        return None
    logged = machine.swing_tillage or tillage
    return MeasuredSwing(machine.swing_n, logged, machine.speed_mps)


def chain(
    rules: Rules, factors: SwingFactors, planned: Pass, aim: Choice, most: Choice, target: Target
) -> tuple[Reason, ...]:
    """Tell how a target came about: aim, what each fact adds, lifted or held, rounded.

    Parameters
    ----------
    rules, factors : Rules, SwingFactors
        Whose words tell the links, and their numbers.
    planned : Pass
        Soil, moisture and how the planter goes over it.
    aim, most, target : Choice, Choice, Target
        What the rules say, and what came of it.
    """
    links = [*aim.reasons]
    links += _swing_links(rules, factors, planned, aim.value or 0.0)
    at_n = math.fsum(link.adds or 0.0 for link in links)  # steps too small to tell are in the last
    if target.lifted:
        links.append(_link(factor_of(rules.swing, "least"), "least", target.margin_n - at_n))
    elif target.capped:
        rule = most.reasons[0]
        links.append(replace(rule, kind="most", adds=target.margin_n - at_n))
    elif abs(target.margin_n - at_n) > 1e-9:
        links.append(
            Reason("rounding", "rounding", target.margin_n - at_n, "", "", Confidence.JUDGED)
        )
    return tuple(links)


def _swing_links(
    rules: Rules, factors: SwingFactors, planned: Pass, aim_n: float
) -> Iterator[Reason]:
    at, at_n = planned.reference, aim_n
    swing_n = at.swing_n(factors)
    for acts, step in _steps(planned):
        at = step(at)
        next_n = at.swing_n(factors)
        adds_n = at_n * (next_n / swing_n - 1)
        if abs(adds_n) >= LEAST_TOLD_N:
            which: dict[str, Tillage | System] = {}
            if acts == "bounce":
                which = {"tillage": planned.tillage}
            elif acts == "felt":
                which = {"system": planned.system}
            rule = factor_of(rules.swing, acts, **which)
            yield replace(_link(rule, "swing", adds_n), factor=next_n / swing_n)
            at_n, swing_n = at_n + adds_n, next_n


def _steps(planned: Pass) -> list[tuple[str, Callable[[Pass], Pass]]]:
    """The facts in the order that they are let in."""
    return [
        ("bounce", lambda at: replace(at, tillage=planned.tillage)),
        ("speed", lambda at: replace(at, speed_mps=planned.speed_mps)),
        ("residue", lambda at: replace(at, residue_frac=planned.residue_frac)),
        ("depth", lambda at: replace(at, depth_m=planned.depth_m)),
        ("traffic", lambda at: replace(at, traffic=planned.traffic)),
        (
            "density",
            lambda at: replace(at, excess_density_mg_m3=planned.excess_density_mg_m3),
        ),
        ("felt", lambda at: replace(at, system=planned.system)),
        ("slope", lambda at: replace(at, slope_frac=planned.slope_frac)),
        ("measured", lambda at: replace(at, measured=planned.measured)),
    ]


def _link(rule: Rule, kind: str, adds_n: float) -> Reason:
    return Reason(rule.id, kind, adds_n, rule.why, sources_in_words(rule), rule.confidence)


def _fixed(rule: Rule) -> float:
    assert rule.amount is not None
    return rule.amount.fixed


def _each(rule: Rule) -> float:
    assert rule.amount is not None
    return rule.amount.each / rule.amount.step


def _over(rule: Rule) -> float:
    assert rule.amount is not None
    return rule.amount.over


def _bound(value: float | None) -> float:
    assert value is not None
    return value
