"""The survey's own liquid limit, plasticity index and water at 1/3 bar, and what several make."""

from collections.abc import Sequence
from dataclasses import dataclass


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
    have all three. A non-plastic soil has no limit to average: a nought among them would make
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
    stiff_weight = sum(weight for limits, weight in parts if _non_plastic(limits))
    known = [
        (limits.liquid_limit_pct, limits.plasticity_index_pct, limits.third_bar_pct, weight)
        for limits, weight in parts
        if not _non_plastic(limits)
        and limits.liquid_limit_pct is not None
        and limits.plasticity_index_pct is not None
        and limits.third_bar_pct is not None
    ]
    total = sum(weight for *_, weight in known)
    if stiff_weight > total:
        return Limits(0.0, 0.0)
    if not known:
        return Limits()
    return Limits(
        sum(liquid * weight for liquid, _, _, weight in known) / total,
        sum(index * weight for _, index, _, weight in known) / total,
        sum(water * weight for _, _, water, weight in known) / total,
    )


def _non_plastic(limits: Limits) -> bool:
    """Whether a survey calls a soil non-plastic: it writes a nought in one of the two columns."""
    return 0 in (limits.liquid_limit_pct, limits.plasticity_index_pct)
