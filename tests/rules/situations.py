"""Situations as a grower would say them, for the tests of rules."""

from itertools import product
from typing import Any

from zoneplan.rules.rule import TILLAGES, Situation
from zoneplan.soil.texture import GROUP_OF
from zoneplan.soil.water import WETNESSES
from zoneplan.units import M_PER_IN, MPS_PER_MPH

ONE_OF_EACH_GROUP = ("sand", "sandy loam", "silt loam", "clay loam", "clay")
GROUNDS = tuple(product(ONE_OF_EACH_GROUP, WETNESSES, TILLAGES))


def situation(
    texture: str,
    wetness: str,
    tillage: str = "tilled",
    *,
    mph: float = 5,
    inches: float = 2,
    residue_pct: float = 0,
    fragments_pct: float = 0,
    **more: Any,
) -> Situation:
    return Situation(
        texture=texture,
        texture_group=GROUP_OF[texture],
        wetness=wetness,
        tillage=tillage,
        speed_mps=mph * MPS_PER_MPH,
        depth_m=inches * M_PER_IN,
        residue_frac=residue_pct / 100,
        fragments_frac=fragments_pct / 100,
        **more,
    )


def warned(choice):
    """What the rules that held warn of, in their own words."""
    return tuple(dict(it.values)["words"] for it in choice.notices if it.code == "rule-warns")
