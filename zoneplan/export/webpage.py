"""The landowner's page: one HTML file that opens from an e-mail on a phone with no internet.

What it says is put together here; the markup is in the template beside it, which escapes all of
it but the pictures.
"""

import base64
import hashlib
import json
import re
from collections.abc import Callable, Sequence
from importlib.resources import files
from typing import Any

import numpy as np
import shapely
from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup, escape

from zoneplan.export.maps import map_classes, shows_fit, zone_map_svg
from zoneplan.export.once import once
from zoneplan.export.picture import MapClass, swatch_svg
from zoneplan.export.sheets.sheet_header import DOUBT_N
from zoneplan.export.sheets.zone_words import by_treatment, places
from zoneplan.harmless import on_terminal
from zoneplan.plan.headline import Fit, holds_one
from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.request import TitleBlock
from zoneplan.say import landowner
from zoneplan.say import landowner_zones as zone_words
from zoneplan.say.quantities import figure, setting_quantity, small_percent, span, unit
from zoneplan.say.sentences import capital, counted, named, sentence
from zoneplan.say.summary import area_ha, stamp, whom_to_call, whose
from zoneplan.say.trade import TOO_WET
from zoneplan.terms import Moisture

Document = dict[str, Any]

_PRESSES: dict[str, str] = {
    Fit.LIGHT: "too lightly",
    Fit.RIGHT: "about right",
    Fit.HEAVY: "too hard",
}
MAP_MM = (84.0, 84.0)  # about the width of a phone
_TITLE = re.compile("<title>.*?</title>", re.DOTALL)
_OUTLINE = re.compile(r'(?<= d=")M[^"a-z]*Z(?=")')
_BEYOND_ASCII = re.compile("[^ -~]")  # and controls
_DECIMAL = re.compile(r"-?\d+\.\d+")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:lb|psi|mph|acres|N|kPa|km/h|cm|ha)\b|%)")


def webpage_html(plan: Plan, *, units: str = "us", title: TitleBlock | None = None) -> bytes:
    """Write the landowner's page: map, plain words, what is not known, who to ask.

    Parameters
    ----------
    plan : Plan
        What to tell.
    units : str
        "us" (lb, psi, mph, in, acres) or "si" (N, kPa, km/h, cm, ha).
    title : TitleBlock, optional
        Whose plan it is and who made it. One that a book keeps has a digest, which an answer must
        name: the page then has a form that saves a small file.

    Notes
    -----
    The page asks for nothing from elsewhere, and says so in its content security policy:
    only this style and these scripts, by their hashes. Without script, and on paper, it shows
    every map and every zone.
    """
    style, script, answer = (
        _read(name) for name in ("webpage.css", "webpage.js", "webpage_reply.js")
    )
    page = _TEMPLATES.get_template("webpage.html").render(
        style=Markup(style),  # noqa: S704 (our own file)
        style_hash=_hash(style),
        script=Markup(script),  # noqa: S704 (our own file)
        script_hash=_hash(script),
        answer=Markup(answer),  # noqa: S704 (our own file)
        answer_hash=_hash(answer),
        reply=reply_head(plan, title),
        sentence=sentence,
        **webpage_words(plan, units, title),
    )
    return page.encode("utf-8")


def reply_head(plan: Plan, title: TitleBlock | None) -> str:
    """What an answer must name, so that it is laid to the right plan; empty where nothing would."""
    if title is None or not title.digest:
        return ""
    return json.dumps(
        {
            "grower": title.grower,
            "farm": title.farm,
            "field": plan.field.name,
            "season": title.season,
            "revision": title.revision,
            "plan": title.digest,
            "prepared_by": title.prepared_by or "",
        }
    )


def webpage_words(plan: Plan, units: str, title: TitleBlock | None = None) -> Document:
    """All that the landowner's page says, on a screen and on paper."""
    title = title or TitleBlock()
    return {
        "whose": whose(title),
        "call": whom_to_call(title),
        "phone_link": "".join(letter for letter in title.phone or "" if letter in "+0123456789"),
        "title": " ".join(_printed(plan.field.name).split()) or "Your field",
        "facts": landowner.facts(plan, units),
        "stamp": stamp(plan),
        "opening": landowner.opening(plan),
        "holds_for": landowner.holds_for(plan, units),
        "wrong": landowner.what_goes_wrong(plan, units),
        "nothing": landowner.doing_nothing(plan, units),
        "moistures": [_moisture(plan, moisture, units) for moisture in Moisture],
        "zones": [(setting.zone.id, zone_words.title(setting, ", ")) for setting in plan.settings],
        "cards": [_card(plan, group, units) for group in by_treatment(plan)],
        "sets": holds_one(plan),  # whether there is more to set than that
        "load": unit("load", units),
        "planter": f"{landowner.PLANTERS[plan.machine.system.kind]} "
        f"{landowner.field_setting(plan, units)}",
        "field_warnings": landowner.field_warnings(plan),
        "unknown": landowner.unknown(plan, units),
        "too_wet": TOO_WET,
        "doubt": figure(DOUBT_N, "rough load", units),
        "revised": plan.rules.revised.isoformat(),
        "by_hand": landowner.BY_HAND,
    }


def _read(name: str) -> str:
    return files("zoneplan.export").joinpath(name).read_text("utf-8")


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _shown(value: Any) -> Any:
    """Words as they are printed, figures with their units. Pictures are markup already."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return on_terminal(_BEFORE_UNIT.sub("\u00a0", _printed(value)))


def _printed(words: str) -> str:
    return _BEYOND_ASCII.sub(
        lambda letter: letter[0] if letter[0].isprintable() or letter[0].isspace() else "", words
    )


_TEMPLATES = Environment(
    loader=FunctionLoader(_read),
    autoescape=True,
    finalize=_shown,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def _moisture(plan: Plan, moisture: Moisture, system: str) -> Document:
    """The field at one moisture: its figures, what waits, and the map."""
    waiting = zone_words.waiting(plan, moisture)
    numbers = sorted(setting.zone.id for _, settings in waiting for setting in settings)
    every = len(numbers) == sum(setting.numbered for setting in plan.settings)
    return {
        "name": moisture,
        "set": landowner.set_to(plan, moisture, system),
        "right": landowner.rounds(plan, moisture),
        "shallow": landowner.shallow(plan, moisture),
        "waits": f"{'every zone' if every else counted('zone', numbers)}: wait".capitalize()
        if numbers
        else "",
        "feel": landowner.FEEL[moisture],
        "waiting": [(_who(plan, settings, system), why) for why, settings in waiting],
        "about": _about(plan, moisture, system),
        "legend": [
            (_swatch(map_class, moisture), _PRESSES.get(map_class.label, map_class.label))
            for map_class in map_classes(
                plan, moisture, system=system, at_one=shows_fit(plan, moisture)
            )
        ],
        "map": _map(plan, moisture, system),
    }


def _map(plan: Plan, moisture: Moisture, system: str) -> Markup:
    """The map that the sheets print, with a plain name and outlines to a tenth of a metre."""
    width_mm, height_mm = MAP_MM
    svg = zone_map_svg(plan, moisture, width_mm=width_mm, height_mm=height_mm, system=system)
    name = f"Map of {plan.field.name} when the soil is {moisture}, zones numbered as in the table"
    named = f'<svg aria-label="{escape(_shown(name))}" '
    svg = _TITLE.sub("", svg, count=1).replace("<svg ", named, 1)
    return Markup(_OUTLINE.sub(lambda match: _DECIMAL.sub(_tenth, match[0]), svg))  # noqa: S704


def _about(plan: Plan, moisture: Moisture, system: str) -> str:
    """Say what the map shows."""
    best = plan.best.get(moisture)
    if not shows_fit(plan, moisture):
        return "The map shows how hard the wheels should press."
    return (
        f"The map shows where one setting, {figure(best, setting_quantity(plan), system)} for the "
        "whole field, presses too lightly, about right or too hard."
    )


def _tenth(match: re.Match[str]) -> str:
    return f"{float(match[0]):.1f}".removesuffix(".0")


def _swatch(map_class: MapClass, moisture: Moisture) -> Markup:
    """A sample of one shade; its hatch gets a name that no other on the page has."""
    return Markup(swatch_svg(map_class).replace("swatch-", f"{moisture}-swatch-"))  # noqa: S704


@once
def touching(plan: Plan) -> dict[int, list[ZoneSetting]]:
    """The zones that have an edge in common with each; a corner is none."""
    shapes = np.array([setting.zone.shape for setting in plan.settings])
    pairs = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    one, other = pairs[:, pairs[0] < pairs[1]]
    touch = shapely.length(shapely.intersection(shapes[one], shapes[other])) > 0
    beside: dict[int, list[ZoneSetting]] = {setting.zone.id: [] for setting in plan.settings}
    both = np.concatenate([one[touch], other[touch]]), np.concatenate([other[touch], one[touch]])
    for here, there in sorted(zip(*both, strict=True)):
        beside[plan.settings[here].zone.id].append(plan.settings[there])
    return beside


def _who(plan: Plan, waiting: Sequence[ZoneSetting], system: str) -> str:
    """Which zones wait, and how much of the field."""
    numbers = sorted(setting.zone.id for setting in waiting)
    return f"{counted('zone', numbers)}: wait ({_size(plan, waiting, system)})"


def _size(plan: Plan, group: Sequence[ZoneSetting], system: str) -> str:
    """How large some zones are, and how much of the field that is."""
    share = small_percent(area_ha(group) / plan.field.area_ha)
    return f"{figure(area_ha(group), 'area', system)}, {share} of the field"


def _card(plan: Plan, group: Sequence[ZoneSetting], system: str) -> Document:
    """Everything that is told of the zones of one treatment: what holds for all of them once."""
    title, name, area = (
        zone_words.titled(group),
        group[0].zone.name,
        figure(area_ha(group), "area", system),
    )
    soils = ", ".join(dict.fromkeys(zone_words.soil(setting) for setting in group))
    lists: tuple[tuple[str, str, Callable[[ZoneSetting], list[str]]], ...] = (
        ("why", "Why these numbers", lambda setting: zone_words.reasons(plan, setting, system)),
        (
            "beside",
            "How it differs from its neighbours",
            lambda setting: zone_words.beside(
                plan, setting, touching(plan)[setting.zone.id], system
            ),
        ),
        ("watch", "What to look out for", lambda setting: zone_words.watch(plan, setting, system)),
    )
    return {
        "ids": sorted(setting.zone.id for setting in group),
        "title": title,
        "size": area if len(plan.settings) == len(group) else _size(plan, group, system),
        "glance": f"{name + ', ' if name else ''}{soils}, {area}",
        "alike": places(group),
        "ground": _once(group, lambda setting: [" ".join(zone_words.ground(plan, setting))]),
        "numbered": any(setting.numbered for setting in group),
        "moistures": [
            _cells(plan, group, title, moisture, system) for moisture in group[0].moistures
        ],
        "lists": [(kind, heading, _once(group, tell)) for kind, heading, tell in lists],
    }


def _once(group: Sequence[ZoneSetting], tell: Callable[[ZoneSetting], list[str]]) -> list[str]:
    """Tell each thing once; what does not hold for all the zones names those that it holds for."""
    zones: dict[str, list[int]] = {}
    for setting in group:
        for words in tell(setting):
            zones.setdefault(words, []).append(setting.zone.id)
    return [
        words if len(ids) == len(group) else f"{capital(named(ids))}: {words}"
        for words, ids in zones.items()
    ]


def _cells(
    plan: Plan, group: Sequence[ZoneSetting], title: str, moisture: Moisture, system: str
) -> Document:
    """What to aim for and to set in the zones of one treatment at one moisture."""
    instructions = [setting.moistures[moisture] for setting in group]
    press = zone_words.press(instructions, system)
    cells = {"name": moisture, "aloud": f"{title}. When {moisture}: {press}.", "press": press}
    set_to = [instruction for instruction in instructions if isinstance(instruction, Setting)]
    if not set_to:
        waits = any(isinstance(instruction, Wait) for instruction in instructions)
        smears = dict.fromkeys(map(zone_words.smears, instructions))
        return {
            **cells,
            "stop": "wait" if waits else "none",
            "more": "; ".join(filter(None, smears)),
        }
    margins_n = [setting.margin_n for setting in set_to]
    more = (
        zone_words.in_fact(set_to, system),
        zone_words.odds(plan, set_to),
        zone_words.smears(max(set_to, key=lambda setting: setting.wait_chance)),
    )
    return {
        **cells,
        "stop": "",
        "number": span(min(margins_n), max(margins_n), "load", system),
        "more": "; ".join(filter(None, more)),
        "setting": zone_words.setting_of(plan, set_to, system),
        "closing": zone_words.closing(plan, set_to[0]),
        "notch": set_to[0].closing_notch,
        "by_hand": any(setting.by_hand for setting in set_to),
        "closing_by_hand": any(setting.closing_by_hand for setting in set_to),
    }
