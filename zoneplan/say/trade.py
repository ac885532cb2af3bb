"""What each notice says to an agronomist or an operator, in the words of the trade.

A template's fields are the notice's values, each with the kind of figure it is; see `figures`.
A template that depends on a value is a function of the values.
"""

from collections.abc import Callable, Mapping
from typing import Any

Template = str | Callable[[Mapping[str, Any]], str]


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


_FIT = (
    "It leaves {light_share:share} of the ground more than {resolution_n:load} too light and "
    "{heavy_share:share} too heavy, from a full hopper to refill; too light counts "
    "{light_to_heavy:ratio} to 1"
)

TRADE: dict[str, Template] = {
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
}
