"""One soil out of several: the components of a map unit, or the pieces of a zone."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import GROUNDS, SoilFacts, texture_class


@dataclass(frozen=True)
class Limits:
    """What a survey says of one soil, in percent by weight; `None` where it does not."""

    liquid_limit_pct: float | None = None  # 0 is non-plastic, as is a plasticity index of 0
    plasticity_index_pct: float | None = None
    third_bar_pct: float | None = None  # water at 33 kPa, by weight of the fine earth


def mean_limits(parts: Sequence[tuple[Limits, float]]) -> Limits:
    """Blend limits by weight.

    Parameters
    ----------
    parts : sequence of (Limits, float)
        Of each soil, and its weight: thickness, percent of a map unit, or area.

    Notes
    -----
    The three are compared with each other, so all are means over the same parts: those that
    have all three. A non-plastic soil has no limit to average: a zero among them would make
    the whole look wetter than its limit. Where such soils have most of the known weight the
    whole is non-plastic, else they are left out.

    Source
    ------
    Means by weight as the soil survey takes them; non-plastic parts: our own rule

    Examples
    --------
    >>> mean_limits([(Limits(40, 16, 24), 60), (Limits(30, 10, 21), 30), (Limits(0, 0, 8), 10)])
    Limits(liquid_limit_pct=36.666666666666664, plasticity_index_pct=14.0, third_bar_pct=23.0)
    """
    known = [(limits, weight) for limits, weight in parts if _has_limits(limits)]
    stiff_weight = sum(weight for limits, weight in parts if _non_plastic(limits))
    if stiff_weight > sum(weight for _, weight in known):
        return Limits(0.0, 0.0)
    return Limits(
        mean_of(known, lambda limits: limits.liquid_limit_pct),
        mean_of(known, lambda limits: limits.plasticity_index_pct),
        mean_of(known, lambda limits: limits.third_bar_pct),
    )


def _has_limits(limits: Limits) -> bool:
    three = (limits.liquid_limit_pct, limits.plasticity_index_pct, limits.third_bar_pct)
    return None not in three and not _non_plastic(limits)


def _non_plastic(limits: Limits) -> bool:
    """Whether a survey calls a soil non-plastic: it writes a zero in one of the two columns."""
    return 0 in (limits.liquid_limit_pct, limits.plasticity_index_pct)


Parts = Sequence[tuple[SoilFacts, float]]
Part = TypeVar("Part")


def blend(parts: Parts) -> SoilFacts:
    """Blend soils by weight into the facts of the whole.

    Parameters
    ----------
    parts : sequence of (SoilFacts, float)
        Each soil and its weight: percent of the map unit, or area. Weights are positive.

    Returns
    -------
    SoilFacts
        Of the kind of ground with the largest share. Numbers are means over the parts of
        that ground that have them: what is missing is left out, never taken as zero. A density
        that was measured is not averaged with one that a survey says.
        Texture follows the mean fractions; where none are known, and for drainage,
        hydrologic group and name, what most of the weight has. `rated_share` is of the
        whole. One part gives itself back.

    Raises
    ------
    ValueError
        For no parts, or a weight that is not positive.

    Source
    ------
    The soil survey's weighted average and dominant condition; ties by name

    Examples
    --------
    >>> loam = SoilFacts(sand_frac=0.4, silt_frac=0.4, clay_frac=0.2, rated_share=1.0)
    >>> clay = SoilFacts(sand_frac=0.2, silt_frac=0.3, clay_frac=0.5, rated_share=1.0)
    >>> whole = blend([(loam, 60), (clay, 30), (SoilFacts(ground="water"), 10)])
    >>> whole.texture, round(whole.clay_frac, 2), whole.rated_share
    ('clay loam', 0.3, 0.9)
    >>> [(note["ground"], note["share"]) for note in whole.notes]
    [('water', 0.1)]
    """
    if not parts or not all(weight > 0 for _, weight in parts):
        raise ValueError(f"weights must be positive: {[weight for _, weight in parts]}")
    if len(parts) == 1:
        return parts[0][0]

    total = sum(weight for _, weight in parts)
    grounds = _weights(parts, lambda facts: facts.ground)
    ground = max(GROUNDS, key=lambda kind: grounds.get(kind, 0.0))  # a tie: the first of GROUNDS
    same = [(facts, weight) for facts, weight in parts if facts.ground == ground]

    sand, silt, clay = _fractions(same)
    texture = _most(same, lambda facts: facts.texture)
    measured = [part for part in same if part[0].density_measured]
    limits = mean_limits(
        [
            (
                Limits(facts.liquid_limit_pct, facts.plasticity_index_pct, facts.third_bar_pct),
                weight,
            )
            for facts, weight in same
        ]
    )
    if sand is not None and silt is not None and clay is not None:
        texture = texture_class(sand, silt, clay)
    return SoilFacts(
        ground=ground,
        texture=texture,
        sand_frac=sand,
        silt_frac=silt,
        clay_frac=clay,
        organic_pct=mean_of(same, lambda facts: facts.organic_pct),
        density_mg_m3=mean_of(measured or same, lambda facts: facts.density_mg_m3),
        density_measured=bool(measured),
        fragments_frac=mean_of(same, lambda facts: facts.fragments_frac),
        extensibility_pct=mean_of(same, lambda facts: facts.extensibility_pct),
        liquid_limit_pct=limits.liquid_limit_pct,
        plasticity_index_pct=limits.plasticity_index_pct,
        third_bar_pct=limits.third_bar_pct,
        drainage=_most(same, lambda facts: facts.drainage),
        hydrologic_group=_most(same, lambda facts: facts.hydrologic_group),
        rated_share=sum(facts.rated_share * weight for facts, weight in parts) / total,
        named=_most(same, lambda facts: facts.named),
        notes=_notes(parts, same),
    )


def _fractions(parts: Parts) -> tuple[float | None, float | None, float | None]:
    """Mean sand, silt and clay of the parts that have all three, 1 together."""
    known = [(facts, weight) for facts, weight in parts if _has_fractions(facts)]
    sand = mean_of(known, lambda facts: facts.sand_frac)
    silt = mean_of(known, lambda facts: facts.silt_frac)
    clay = mean_of(known, lambda facts: facts.clay_frac)
    if sand is None or silt is None or clay is None:
        return None, None, None
    whole = sand + silt + clay
    return sand / whole, silt / whole, clay / whole


def _has_fractions(facts: SoilFacts) -> bool:
    return None not in (facts.sand_frac, facts.silt_frac, facts.clay_frac)


def mean_of(
    parts: Sequence[tuple[Part, float]], value: Callable[[Part], float | None]
) -> float | None:
    """Mean by weight over the parts that have the value, in its own unit; None where none has."""
    total = known = 0.0
    for part, weight in parts:
        amount = value(part)
        if amount is not None:
            total += amount * weight
            known += weight
    return total / known if known else None


def _most(parts: Parts, value: Callable[[SoilFacts], str | None]) -> str | None:
    """Category with the largest summed weight among the parts that have one."""
    weights = _weights(parts, value)
    return min(weights, key=lambda name: (-weights[name], name), default=None)


def _weights(parts: Parts, value: Callable[[SoilFacts], str | None]) -> dict[str, float]:
    weights: dict[str, float] = defaultdict(float)
    for facts, weight in parts:
        if (name := value(facts)) is not None:
            weights[name] += weight
    return weights


def _notes(parts: Parts, same: Parts) -> tuple[Notice, ...]:
    """Notes of every part once, in order; then what else is in the ground."""
    notes = [note for facts, _ in parts for note in facts.notes]
    names = {facts.named for facts, _ in parts}
    whole = names.pop() if len(names) == 1 else None
    total = sum(weight for _, weight in parts)

    by_class = [part for part in same if part[0].texture and not _has_fractions(part[0])]
    if by_class and any(_has_fractions(facts) for facts, _ in same):
        share = sum(weight for _, weight in by_class) / total
        notes.append(notice("part-by-class", share=share, whole=whole))
    weights = _weights(parts, lambda facts: facts.ground)
    for ground in GROUNDS:
        if ground in weights and ground != same[0][0].ground:
            share = weights[ground] / total
            notes.append(notice("part-other-ground", share=share, ground=ground, whole=whole))
    return tuple(dict.fromkeys(notes))
