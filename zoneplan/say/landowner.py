"""What each notice says to somebody who owns the ground and does not plant it.

A code that is not here is told by the figures themselves, or is of no use to such a reader.
"""

from collections.abc import Mapping
from typing import Any

from zoneplan.notices import Notice
from zoneplan.say.figures import Figures, Template


def _misses(values: Mapping[str, Any]) -> str:
    gaps_n = (values["full_gap_n"], values["refill_gap_n"])
    if min(gaps_n) > 0:
        return "this planter presses harder here than is wanted"
    if max(gaps_n) < 0:
        return "this planter cannot press as hard here as is wanted"
    return "the press changes here as the seed boxes empty"


LANDOWNER: dict[str, Template] = {
    "no-good-margin": "no press is right at {speed_mps:speed}: to keep the wheels down takes "
    "{least_n:load}, and the soil bears {most_n:load}. Drive slower, or wait",
    "bears-little": "the soil bears {most_n:load} of press, which keeps the wheels down "
    "{contact_share:share} of the time",
    "own-number-outside": "a person asked for {margin_n:load} of press; to keep the wheels "
    "down takes {least_n:load}, and the soil bears {most_n:load}",
    "squeeze-test": "squeeze a handful before planting: this soil smears in about "
    "{smear_chance:of ten} when it is so wet",
    "packs": "with the seed boxes {fill} the wheels press {left_n:rough load}, "
    "{over_n:rough load} more than the soil bears: the furrow packs, and roots find it hard",
    "wheels-lift": "near-empty seed boxes let the wheels off the ground about {up_share:share} of "
    "the time, and seed dropped then lies shallow",
    "part-waits": "{share:share} of this ground waits longer when it is wet",
    "openers-float": "the wheels may lift off the ground as the seed boxes empty, and seed end up "
    "shallow",
    "misses-target": _misses,
    "needs-more-downforce": "this planter cannot press hard enough here",
    "needs-less-downforce": "this planter is heavier here than is wanted, and cannot be lifted",
}


def landowner_words(notice: Notice, units: str) -> str:
    """Tell one notice to a landowner; empty where it is not for one."""
    template = LANDOWNER.get(notice.code)
    if template is None:
        return ""
    values = dict(notice.values)
    return Figures(units).fill(template if isinstance(template, str) else template(values), values)
