"""Situations as a grower would say them, for the tests of rules."""

from itertools import product
from typing import Any

from zoneplan.rules.rule import Situation
from zoneplan.terms import Moisture, Tillage
from zoneplan.units import M_PER_IN, MPS_PER_MPH

ONE_OF_EACH_GROUP = ("sand", "sandy loam", "silt loam", "clay loam", "clay")
GROUNDS = tuple(product(ONE_OF_EACH_GROUP, Moisture, Tillage))


def situation(
    texture: str,
    moisture: str,
    tillage: str = "tilled",
    *,
    mph: float = 5,
    inches: float = 2,
    residue_pct: float = 0,
    fragments_pct: float = 0,
    smear_pct: float = 0,
    survey_smear_pct: float | None = None,
    **more: Any,
) -> Situation:
    return Situation(
        texture_shares=((texture, 1.0),),
        moisture=Moisture(moisture),
        tillage=tillage,
        speed_mps=mph * MPS_PER_MPH,
        depth_m=inches * M_PER_IN,
        residue_frac=residue_pct / 100,
        fragments_frac=fragments_pct / 100,
        smear_chance=smear_pct / 100,
        survey_smear_chance=None if survey_smear_pct is None else survey_smear_pct / 100,
        **more,
    )


def warned(outcome):
    """What the rules that held warn of, in their own words: of a choice, or of notices."""
    notices = getattr(outcome, "notices", outcome)
    return tuple(dict(notice.values)["words"] for notice in notices if notice.code == "rule-warns")
