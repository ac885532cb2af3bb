"""What each notice says to an agronomist or an operator, in the words of the trade.

A template's fields are the notice's values, each with the kind of figure it is; see `figures`.
A template that depends on a value is a function of the values.
"""

from collections.abc import Mapping
from typing import Any

from zoneplan.say.feel import SQUEEZE, TOO_WET
from zoneplan.say.figures import Template
from zoneplan.say.trade_field import FIELD
from zoneplan.say.trade_soil import SOIL
from zoneplan.say.trade_zones import ZONES


def _drifts(values: Mapping[str, Any]) -> str:
    end = ", as far as the chart goes" if values["clipped"] else ""
    return (
        "re-trimmed every {retrim_s:minutes}, the pressure drifts by as much as "
        "{drift_kpa:pressure}: downforce then lies between {lowest_n:load} and {highest_n:load}"
        + end
    )


def _too_much(values: Mapping[str, Any]) -> str:
    told = "out of reach: needs {needed_n:downforce}, and the machine "
    least_n = values["least_n"]
    if least_n > 0:
        return told + "gives at least {least_n:downforce}"
    return told + ("cannot lift" if least_n == 0 else "lifts no more than {least_n:downforce}")


def _off(values: Mapping[str, Any]) -> str:
    missed = [
        f"{{{name}_share:share}} too {name}"
        for name in ("light", "heavy")
        if _largest(values[f"{name}_share"]) > 0
    ]
    return (
        f"of this zone's ground {' and '.join(missed)}: {{loss_share:share}} of what the whole "
        "field loses by being too light or too heavy"
    )


def _largest(value: Any) -> float:
    return float(max(value) if isinstance(value, tuple) else value)


def _sensors(values: Mapping[str, Any]) -> str:
    told = (
        "{sensors:count} sensors feel {rows:count} rows, in {sections:count} sections of "
        "{section_m:distance}: a wheel track or hard spot under a row without a sensor is not "
        "seen, and one under a sensor moves its whole section"
    )
    if values["sensors"] < values["sections"]:
        told += ". Some sections have no sensor and follow another's"
    return told


def _capped(values: Mapping[str, Any]) -> str:
    load = values["asked_n"] is not None
    kind = ("n", "load") if load else ("share", "share")
    asked, held = (f"{{{name}_{kind[0]}:{kind[1]}}}" for name in ("asked", "held"))
    more = _largest(values[f"asked_{kind[0]}"]) > _largest(values[f"held_{kind[0]}"])
    bound = "more" if more else "less"
    return f"the rules add up to {asked}; held at {held}: {{cap}} allows no {bound}"


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


def _little_contact(values: Mapping[str, Any]) -> str:
    if values["steady_mps"] is not None:
        slower = "at {steady_mps:speed} it would be 4 %"
    elif values["by_hand"]:
        slower = "no slower pass mends that, but {least_n:load} would"
    else:
        slower = "no slower pass mends that, and more load would pack: watch the depth"
    up = "about {up_share:share}" if _largest(values["up_share"]) >= 0.045 else "a little over 4 %"
    return (
        f"at {{speed_mps:speed}} the gauge wheels are off the ground {up} of the time at this "
        f"target, and seed dropped then lies shallow. At most 4 % is wanted; {slower}"
    )


def _absorbed(values: Mapping[str, Any]) -> str:
    differs = [*values["warned"]]
    if values["waits"]:
        differs.insert(0, "it would wait at another moisture")
    elif values["differs_n"]:
        differs.insert(0, "its loads would differ by up to {differs_n:load}")
    return "{area_ha:area} of {soil} are in this zone, though on their own: " + "; ".join(
        it.replace("{", "{{").replace("}", "}}") if it in values["warned"] else it for it in differs
    )


def _scaled(values: Mapping[str, Any]) -> str:
    how = (
        "gauge and closing wheels weighed"
        if values["weighed"]
        else "margin found by hand, closing load from the notch"
    )
    told = (
        "opener loads are multiplied by {factor:ratio}: in zone {seen_zone:count}, "
        "{seen_moisture}, {downforce_n:downforce} and a hopper {fill_share:share} full left "
        f"{{margin_n:load}} on the gauge wheels ({how}), so the openers carried {{found_n:load}} "
        "where the model said {modelled_n:load}"
    )
    if values["far_off"]:
        told += ". That is further off than the model should be: look at it a second time"
    return told


def _basis(values: Mapping[str, Any]) -> str:
    known = (
        "measured: {known_n:load}"
        if values["measured"]
        else "assumed: {known_n:load} for {tillage} ground"
    )
    return (
        "contact is calculated with a swing of the gauge-wheel load of {swing_n:load} "
        f"({known} at {{known_at_mps:speed}}, 7 % per mph); 96 to 98 % of the time on the ground "
        "is wanted, as common practice, no source"
    )


def _water(values: Mapping[str, Any]) -> str:
    lie, way = (
        ("water gathers here", "wetter")
        if values["gathers"]
        else ("steep ground sheds water", "drier")
    )
    return (
        f"{lie}: planned {{available_share:share}} of available water {way}, but no wetter than wet"
    )


_FIT = (
    "It leaves {light_share:share} of the ground more than {resolution_n:load} too light and "
    "{heavy_share:share} too heavy, from a full hopper to refill"
)

TRADE: dict[str, Template] = {
    **SOIL,
    **FIELD,
    **ZONES,
    "misses-target": "target {target_n:load}: the margin is {full_n:load} with the hopper full, "
    "{full_gap_n:gap}, and {refill_n:load} at refill, {refill_gap_n:gap}",
    "openers-float": "a margin below zero: the openers float and seed lies shallow",
    "needs-more-downforce": "out of reach: needs {needed_n:downforce}, and the machine gives no "
    "more than {most_n:downforce}",
    "needs-less-downforce": _too_much,
    "own-position": "on its own this zone would take the {position_n:load} position",
    "at-one-pressure": "at the field's one pressure, {pressure_kpa:pressure}, the margin here "
    "slides from {full_n:load} to {refill_n:load}",
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
    "held-by-a-cap": _capped,
    "override-stands": lambda values: f"{_overridden(values)}, put in by {{source}}: {{why}}",
    "override-left-out": _left_out,
    "rules-not-stock": "rules that are not stock: {rules:list}",
    "rules-dropped": "stock rules dropped: {rules:list}",
    "no-numbers": lambda values: (
        "no numbers here: "
        + ("soil without texture data" if values["ground"] == "soil" else "{ground}")
    ),
    "no-good-margin": "no margin is good at {speed_mps:speed}: steady contact wants "
    "{least_n:load}, the soil bears {most_n:load}. Slow down, or wait",
    "little-contact": _little_contact,
    "contact-bought-with-load": "contact of {contact_share:fine_share} is bought with load: beyond "
    "about {enough_n:load} the last {beyond_n:load} only pack the furrow",
    "packs": "with the hopper {fill} the margin comes to {left_n:load}, "
    "{over_n:load} more than the soil bears",
    "target-packs": "the target of {margin_n:load} is {over_n:load} more than the soil bears",
    "absorbed-soil": _absorbed,
    "margin-system-answers": "a system that holds a margin answers the openers by itself: what the "
    "zones do not keep of their need is not lost",
    "opener-loads-scaled": _scaled,
    "contact-basis": _basis,
    "hand-test": "wet: whether a soil still crumbles when wet is an estimate. Before planting, "
    f"{SQUEEZE}: if it {TOO_WET}, wait",
    "density-not-checked": "bulk density unknown: not checked for dense soil",
    "lie-shifts-water": _water,
    "slope-swings": "it slopes: the gauge-wheel load is taken to swing {wider_share:share} wider",
    "mark-without-zone": "{share:share} of it is {mark}, too small or too thin for a zone of its "
    "own",
    "remark": "{words}",
}
