"""The numbers of a rule that can be changed: a box for each, and what was typed into them."""

from dataclasses import dataclass
from typing import Any

from zoneplan.rules.rule import Rule
from zoneplan.rules.words import GROWS, MEASURES
from zoneplan.rules.write import as_written

GIVES = {"aim": "Aim for", "most": "The soil bears", "closing": "The closing wheels carry"}
_STEPS = {"lbf": 5.0, "N": 20.0}
_DIGITS = {"lbf": 1, "N": 0}  # of a load, that a box shows
_FACTORS = {"least": "Swings of margin", "felt": "Share of the unevenness that is felt"}
_WHEN = "when "  # begins the key of a box that says when


@dataclass(frozen=True)
class Box:
    """One number of a rule that can be changed."""

    key: str
    label: str
    value: float | None  # as the rule has it
    step: float
    digits: int = 9  # that are shown

    @property
    def shown(self) -> float | None:
        """What stands in the box until somebody types."""
        return None if self.value is None else round(self.value, self.digits)


def boxes(rule: Rule, unit: str, decides: str = "aim") -> list[Box]:
    """Find the numbers of a rule that can be changed, loads in `unit`: lbf or N.

    >>> from zoneplan.rules.read import read_rules
    >>> rules = read_rules()
    >>> [(box.label, box.shown) for box in boxes(rules.aim.rules[0], "N")]
    [('Aim for, N', 489.0)]
    >>> [(box.label, box.value) for box in boxes(rules.stop.rules[0], "lbf", "stop")]
    [('Chance to smear from, %', 75.0), ('Plasticity index from, %', 4.0)]
    """
    keys = as_written(rule, unit)
    return [*_amounts(rule, keys, decides, unit), *_limits(keys["when"])]


def numbers_of(
    entries: dict[str, float | None], when: dict[str, Any] | None = None
) -> dict[str, Any]:
    """Give what was typed into the boxes as a rules file has it.

    `when` is what the rule asks for now; a limit that is emptied is left out.

    >>> numbers_of({"add": 8.0, "speed_mph": 1.0, "above": 5.0, "most": None})
    {'add': 8.0, 'most': None, 'per': {'speed_mph': 1.0, 'above': 5.0}}
    >>> numbers_of({"when smear_pct from": 80.0}, {"moisture": ["wet"], "smear_pct": {"from": 75}})
    {'when': {'moisture': ['wet'], 'smear_pct': {'from': 80.0}}}
    """
    limits = {key: value for key, value in entries.items() if key.startswith(_WHEN)}
    amounts = {key: value for key, value in entries.items() if key not in limits}
    per = {key: value for key, value in amounts.items() if key in MEASURES or key == "above"}
    numbers: dict[str, Any] = {key: value for key, value in amounts.items() if key not in per}
    conditions = {
        key: dict(value) if key in MEASURES else value for key, value in (when or {}).items()
    }
    for key, limit in limits.items():
        measure, end = key.removeprefix(_WHEN).split()
        conditions[measure][end] = limit
        if limit is None:
            del conditions[measure][end]
    conditions = {key: value for key, value in conditions.items() if value}
    return numbers | ({"per": per} if per else {}) | ({"when": conditions} if limits else {})


def _amounts(rule: Rule, keys: dict[str, Any], decides: str, unit: str) -> list[Box]:
    """What a rule gives."""

    def load(key: str, label: str) -> Box:
        label = f"{label}, {unit.removesuffix('f')}"
        return Box(key, label, keys[key], _STEPS[unit], _DIGITS[unit])

    if rule.kind == "base":
        return [load("aim", GIVES[decides])]
    if rule.kind == "cap":
        return [load("least", "At least"), load("most", "At most")]
    if rule.kind == "adjust":
        per = [*_per(keys["per"]), load("most", "in all at most")] if keys["per"] else []
        return [load("add", "Add"), *per]
    if rule.acts == "bounce":
        return [load("value", "Bounce")]
    return _factor(rule, keys) if rule.kind == "factor" and keys["value"] is not None else []


def _factor(rule: Rule, keys: dict[str, Any]) -> list[Box]:
    """The number of a part of the swing that is no load."""
    if not keys["per"]:
        label = _FACTORS.get(rule.acts or "", "Share of the opener load")
        return [Box("value", label, keys["value"], 0.05)]
    return [
        Box("value", "Share more swing for each step", keys["value"], 0.005),
        *(_per(keys["per"]) if GROWS[rule.acts or ""].starts is None else []),  # else it is fixed
        *(
            Box(end, f"Share never {'below' if end == 'least' else 'above'}", keys[end], 0.05)
            for end in ("least", "most")
            if keys[end] is not None
        ),
    ]


def _per(per: dict[str, float]) -> list[Box]:
    """For every so much of a measured thing, above so much."""
    measure, above = per
    grows = MEASURES[measure]
    return [
        Box(measure, f"for every, {grows.unit}", per[measure], 0.5),
        Box(above, f"of {grows.name} above, {grows.unit}", per[above], 0.5),
    ]


def _limits(when: dict[str, Any]) -> list[Box]:
    """From where to where a rule holds, where that is a number."""
    return [
        Box(
            f"{_WHEN}{key} {end}",
            f"{MEASURES[key].name.capitalize()} {end}, {MEASURES[key].unit}",
            limit,
            1.0,
        )
        for key, limits in when.items()
        if key in MEASURES
        for end, limit in limits.items()
    ]
