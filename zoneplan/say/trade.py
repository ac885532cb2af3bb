"""The words of the trade: what its terms mean, how soil feels, and what each notice says.

A notice has a template, whose fields are the notice's values, each with the kind of figure it is;
see `sentences`. A template that depends on a value is a function of the values.

Source
------
How soil feels in the hand when it is dry, moist or wet, which picks a column of the plan: USDA
Natural Resources Conservation Service (1998), Estimating Soil Moisture by Feel and Appearance, in
fewer words and partly from memory. Its rows are shares of available water: dry here is below 50 %,
moist 50 to below 100 %, wet 100 % or more. It names fine sand and loamy fine sand; sandy loam;
sandy clay loam, loam and silt loam; clay, clay loam and silty clay loam. That the other classes go
with the nearest of these is judged. The two tests for "wait" are those of Jasa, University of
Nebraska Extension.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from zoneplan.rowunit.doubt import Chances
from zoneplan.say.quantities import ROUNDS, of_ten_rounds
from zoneplan.say.sentences import Template
from zoneplan.say.trade_ground import FIELD, SOIL, ZONES

USUAL_SHARE = 0.75  # of the available water: moist
SQUEEZE = "squeeze soil from planting depth"
TOO_WET = "sticks to the palm, or a ball of it dropped from the waist stays whole"
INVENTED = "invented weights: weigh your own"
MARGIN = "the load left on the gauge wheels of each row once the openers hold their depth"
MEANINGS = {
    "Margin target": "the margin to aim for. Below the least margin the wheels are off the ground "
    "more than 4 % of the time; above the most the soil packs. Between them lies the window.",
    "Full, refill": "the hopper as it is filled, and with so little seed left that it is filled "
    "again.",
    "Opener load": "the soil's push back on the opener discs at planting depth.",
    "Closing notch": "where the lever of the closing wheels stands: how firmly they press.",
    "Swing": "how far the load on the gauge wheels goes up and down as the row unit rides over "
    "the ground.",
    "Of 10 rounds": "how often it would come out so, if such ground were planted ten times.",
    "Squeeze first": f"{SQUEEZE}: if it {TOO_WET}, wait.",
    "Usual day": "how wet this ground is on a usual planting day, by its drainage and slope.",
    "Treatment": "what the planter is told: zones that are told the same are one treatment.",
    "Measured, advised, judged": "how sure a number is: a source measured it; a source "
    "recommends it; a source backs the direction at most, and the number is ours.",
    "Stock rule": "a rule as it comes with zoneplan.",
}


@dataclass(frozen=True)
class Feel:
    """What soils of like texture do when squeezed, and when pressed out between the fingers."""

    textures: tuple[str, ...]
    dry: str
    moist: str


FEELS = (
    Feel(
        ("sand", "loamy sand"),
        "Loose, or a very weak ball.",
        "Weak ball, wet stain, no ribbon.",
    ),
    Feel(
        ("sandy loam",),
        "Weak ball at most, no stain.",
        "Ball, light to medium stain.",
    ),
    Feel(
        ("loam", "silt loam", "silt", "sandy clay loam"),
        "Crumbles or weak ball, no stain.",
        "Pliable ball, stains, may ribbon.",
    ),
    Feel(
        ("clay loam", "silty clay loam", "sandy clay", "silty clay", "clay"),
        "Hard clods or weak ball, no stain.",
        "Smooth ball, stains, ribbons.",
    ),
)
WET = "Wet outline of the ball on the hand."


def feels_for(textures: Iterable[str | None]) -> list[tuple[str, Feel]]:
    """Find the rows that a field needs, each with the textures of the field it is for.

    >>> [name for name, _ in feels_for(["loam", "clay", "silt loam", None])]
    ['loam, silt loam', 'clay']
    """
    here = set(textures)
    rows = (
        (", ".join(texture for texture in feel.textures if texture in here), feel) for feel in FEELS
    )
    return [(name, feel) for name, feel in rows if name]


# ---- notices -------------------------------------------------------------------------------


def _drifts(values: Mapping[str, Any]) -> str:
    end = ", as far as the chart goes" if values["clipped"] else ""
    return (
        "re-trimmed every {retrim_s:minutes}, the pressure drifts by as much as "
        "{drift_kpa:pressure}: downforce then lies between {lowest_n:load} and {highest_n:load}"
        + end
    )


def _too_much(values: Mapping[str, Any]) -> str:
    words = "out of reach: needs {needed_n:downforce}, and the machine "
    least_n = values["least_n"]
    if least_n > 0:
        return words + "gives at least {least_n:downforce}"
    return words + ("cannot lift" if least_n == 0 else "gives no more than {least_n:downforce}")


_MORE = {"light": "lighter", "heavy": "heavier"}


def _off(values: Mapping[str, Any]) -> str:
    missed = [
        f"{{{name}_share:share}} {_MORE[name]} than aimed"
        for name in ("light", "heavy")
        if values[f"{name}_share"] > 0
    ]
    return (
        f"of this zone's ground, from a full hopper to refill, {' and '.join(missed)}: "
        "{loss_share:share} of what the whole field loses by that"
    )


def _sensors(values: Mapping[str, Any]) -> str:
    words = (
        "{sensors:count} sensors feel {rows:count} rows, in {sections:count} sections of "
        "{section_m:distance}: a wheel track or hard spot under a row without a sensor is not "
        "seen, and one under a sensor moves its whole section"
    )
    if values["sensors"] < values["sections"]:
        words += ". Some sections have no sensor and follow another's"
    return words


def _overridden(values: Mapping[str, Any]) -> str:
    if values["decides"] == "margin":
        return "margin target {margin_n:load}"
    return "closing notch {notch}"


def _left_out(values: Mapping[str, Any]) -> str:
    why = (
        "the soil is too wet there, and no number takes the place of a wait"
        if values["waits"]
        else "the plan has no numbers for such ground"
    )
    return f"{_overridden(values)} by {{who}} is left out: {why}. Take the override back ({{why}})"


def _absorbed(values: Mapping[str, Any]) -> str:
    differs = []
    if values["waits"]:
        differs.append("whether it waits when wet would differ")
    elif values["differs_n"]:
        differs.append("its loads would differ by up to {differs_n:load}")
    if values["warned"]:
        differs.append("{warned:clauses}")
    return (
        f"{{area_ha:area}} of {{soil}} are in this zone, though on their own: {'; '.join(differs)}"
    )


def _no_good(values: Mapping[str, Any]) -> str:
    slow = "slow to {steady_mps:speed}, or wait" if values["steady_mps"] else "wait"
    return (
        "no good number: the soil bears {most_n:load}, and to keep the wheels down takes "
        f"{{least_n:load}} at {{speed_mps:speed}}; {slow}"
    )


def _bears_little(values: Mapping[str, Any]) -> str:
    words = (
        "the soil bears {most_n:load}, which keeps the wheels down {contact_share:share} of the "
        "time"
    )
    return f"{words}; at {{steady_mps:speed}} it is 96 %" if values["steady_mps"] else words


def _closing(values: Mapping[str, Any]) -> str:
    words = (
        "the closing wheels carry {load_n:load}, outside the load that gave the best emergence in "
        "dry soil"
    )
    return words if values["beside"] is None else words + "; notch {beside} is nearer to it"


def _seldom(values: Mapping[str, Any]) -> str:
    chances = (values[f"{name}_share"] for name in ("right", "light", "heavy"))
    right, light, heavy = of_ten_rounds(Chances(*chances))
    return (
        f"of {ROUNDS} rounds: right {right}, too light {light}, too heavy {heavy}. Check it by "
        "hand in the first pass"
    )


def _usual(values: Mapping[str, Any]) -> str:
    side = "wet" if values["available_share"] > USUAL_SHARE else "dry"
    return f"on a usual planting day it lies on the {side} side of moist"


def _checked(values: Mapping[str, Any]) -> str:
    how = "weighed" if values["weighed"] else "by hand"
    return (
        f"hand check ({how}): the openers carried {{found_n:load}} where the model said "
        "{modelled_n:load}; its opener load is now multiplied by {factor:ratio}, and others as "
        "far as they share in it"
    )


_FIT = (
    "It leaves {light_share:share} of the ground more than {resolution_n:load} lighter than aimed "
    "and {heavy_share:share} heavier, from a full hopper to refill"
)

TRADE: dict[str, Template] = {
    **SOIL,
    **FIELD,
    **ZONES,
    "misses-target": "target {target_n:load}: the margin is {full_n:rough load} with the hopper "
    "full, {full_gap_n:gap}, and {refill_n:rough load} at refill, {refill_gap_n:gap}",
    "openers-float": "a margin below zero: the openers float and seed lies shallow",
    "needs-more-downforce": "out of reach: needs {needed_n:downforce}, and the machine gives no "
    "more than {most_n:downforce}",
    "needs-less-downforce": _too_much,
    "own-position": "on its own this zone would take the {position_n:load} position",
    "at-one-pressure": "at the field's one pressure, {pressure_kpa:pressure}, the margin here "
    "slides from {full_n:rough load} to {refill_n:rough load}",
    "off-at-one-setting": _off,
    "position-as-good": "the {position_n:load} position costs the field nearly as little",
    "one-position": "one spring position for the whole field: {position_n:load}. " + _FIT,
    "one-pressure": "one pressure for the whole field: {pressure_kpa:pressure}, "
    "{downforce_n:downforce}. " + _FIT,
    "slides-with-seed": "from a full hopper to refill every margin slides down by {seed_n:load} "
    "with the seed",
    "pressure-drifts": _drifts,
    "target-held": "the target is held on {held_share:share} of the planned area; the machine "
    "reaches from {least_n:downforce} to {most_n:downforce}",
    "settles-after": "at {speed_mps:speed} a new target is held {distance_m:distance} past a "
    "zone's edge",
    "takes-lift": "{share:share} of the planned area would take lift, hopper full",
    "sensors-are-few": _sensors,
    "each-row-feels": "each of the {rows:count} rows feels and holds the target by itself",
    "zone-narrow": "the zone is {width_m:distance} wide where it is narrowest; a setting covers "
    "{section_m:distance}: part of it gets its neighbour's target",
    "zone-short": "the zone is {length_m:distance} long; a new target is held after "
    "{settle_m:distance}: it is passed before the margin has settled",
    "rule-warns": "{words}",
    "part-warned": "{share:share} of this zone: {words}",
    "override-stands": lambda values: f"{_overridden(values)}, put in by {{source}}: {{why}}",
    "override-left-out": _left_out,
    "rules-not-stock": "rules that are not stock: {rules:list}",
    "rules-dropped": "stock rules dropped: {rules:list}",
    "no-numbers": lambda values: (
        "no numbers here: "
        + ("soil without texture data" if values["ground"] == "soil" else "{ground}")
    ),
    "no-good-margin": _no_good,
    "bears-little": _bears_little,
    "own-number-outside": "the margin put in by hand, {margin_n:load}, lies outside the "
    "{least_n:load} that keeps the wheels down and the {most_n:load} that the soil bears",
    "own-number-far": "{margin_n:load} lies far outside the window there: {least_n:load} keeps the "
    "wheels down, and the soil bears {most_n:load}. How far is far is common practice, no source",
    "squeeze-test": "squeeze test first: smears in about {smear_chance:of ten}",
    "survey-differs": "by its texture it smears in about {smear_chance:of ten} when wet, by the "
    "survey's own limits and water in about {survey_chance:of ten}: a second opinion, no "
    "measurement",
    "packs": "with the hopper {fill} the margin comes to {left_n:rough load}, "
    "{over_n:rough load} more than the soil bears",
    "fill-less": "with the hopper at most {fill_share:share} full it stays within what the soil "
    "bears",
    "refill-sooner": "refill no lower than at {fill_share:share} of the hopper: with less seed the "
    "load is too light",
    "wheels-lift": "near refill the wheels are off the ground about {up_share:share} of the time, "
    "and seed dropped then lies shallow",
    "seldom-right": _seldom,
    "closing-outside-best": _closing,
    "usual-day": _usual,
    "part-waits": "{share:share} of this zone waits when it is wet, though the zone does not",
    "generic-machine": f"{INVENTED}. This plan is of a generic planter, and its settings are of no "
    "planter in particular",
    "no-till-swing": "the one no-till machine that was measured swung more than is assumed here: "
    "the margin on no-till ground may be a third too low",
    "absorbed-soil": _absorbed,
    "margin-system-answers": "a system that holds a margin answers the openers by itself: what the "
    "zones do not keep of their need is not lost",
    "hand-check": _checked,
    "hand-check-refused": "what the wheels did there does not fit what else is known: look again. "
    "It moved nothing",
    "drier-lifted": "the opener load was lifted to that of wetter soil, which no drier soil is "
    "below",
    "contact-basis": "contact is calculated from the margin that the setting leaves, over the "
    "hopper and over what is not known of the opener load; 96 to 98 % of the time on the ground "
    "is wanted, as common practice, no source",
    "hand-test": "wet: whether a soil still crumbles when wet is an estimate. Before planting, "
    f"{SQUEEZE}: if it {TOO_WET}, wait",
    "slope-swings": "it slopes: the gauge-wheel load is taken to swing {wider_share:share} wider",
    "mark-without-zone": "{share:share} of it is {mark}, too small or too thin for a zone of its "
    "own",
    "remark": "{words}",
}
