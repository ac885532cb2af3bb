"""The landowner's page: one HTML file that opens from an e-mail on a phone with no internet."""

import base64
import hashlib
import re
from collections.abc import Iterable, Sequence
from importlib.resources import files
from string import Template

from zoneplan.export import plain
from zoneplan.export.head import DOUBT_N
from zoneplan.export.picture import MapClass, map_classes, swatch_svg, zone_map_svg
from zoneplan.harmless import escape
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.rules.rule import Reason
from zoneplan.say import feel
from zoneplan.say.quantities import figure, number, percent, unit
from zoneplan.soil.water import WETNESSES
from zoneplan.terms import Moisture

MAP_MM = (84.0, 84.0)  # about the width of a phone
_TITLE = re.compile("<title>.*?</title>", re.DOTALL)
_OUTLINE = re.compile(r'(?<= d=")M[^"a-z]*Z(?=")')
_DECIMAL = re.compile(r"-?\d+\.\d+")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:lb|psi|mph|acres|N|kPa|km/h|cm|ha)\b|%)")


class Html(str):
    """Words that are markup already. All others are escaped."""

    __slots__ = ()


def tag(name: str, *inside: str, **attributes: str) -> Html:
    """Write an element; `class_` is the attribute class, `data_zone` is data-zone.

    >>> tag("p", "3 < 4 ", tag("b", "so"), class_="size")
    '<p class="size">3 &lt; 4 <b>so</b></p>'
    """
    told = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{safe(value)}"' for key, value in attributes.items()
    )
    return Html(f"<{name}{told}>{joined(inside)}</{name}>")


def safe(words: str) -> Html:
    """Escape words, keep figures with their units, leave out what is not for print."""
    if isinstance(words, Html):
        return words
    return Html(escape(_BEFORE_UNIT.sub("\u00a0", _printed(words))))


def _printed(words: str) -> str:
    return "".join(it for it in words if it.isprintable() or it.isspace())


def joined(parts: Iterable[str]) -> Html:
    """Write parts one after the other."""
    return Html("".join(map(safe, parts)))


def webpage_html(plan: Plan, *, units: str = "us") -> bytes:
    """Write the landowner's page: map, plain words, what is not known, who to ask.

    Parameters
    ----------
    plan : Plan
        What to tell.
    units : str
        "us" (lb, psi, mph, in, acres) or "si" (N, kPa, km/h, cm, ha).

    Notes
    -----
    The page asks for nothing from elsewhere, and says so in its content security policy:
    only this style and this script, by their hashes. Without script, and on paper, it shows
    every map and every zone.
    """
    style, script = (_template(f"webpage.{kind}") for kind in ("css", "js"))
    told = {
        "title": " ".join(_printed(plan.field.name).split()) or "Your field",
        "facts": joined(tag("li", fact) for fact in _facts(plan, units)),
        "opening": _opening(plan),
        "tiles": joined(_tile(plan, wetness, units) for wetness in WETNESSES),
        "moistures": joined(_moisture(plan, wetness, units) for wetness in WETNESSES),
        "chips": _chips(plan),
        "zones": joined(_zone(plan, it, units) for it in plan.settings),
        "glance": joined(_glance(it, units) for it in plan.settings),
        "load": unit("load", units),
        "planter": _planter(plan, units),
        "waits": _waits(plan, units),
        "unknown": joined(tag("li", it) for it in plain.unknown(plan, units)),
        "too_wet": feel.TOO_WET,
        "doubt": figure(DOUBT_N, "load", units),
        "footer": f"Planned with the rules of {plan.rules.revised.isoformat()}. "
        "This page needs no internet and sends nothing anywhere.",
    }
    page = Template(_template("webpage.html")).substitute(
        {name: safe(words) for name, words in told.items()},
        style=style,
        style_hash=_hash(style),
        script=script,
        script_hash=_hash(script),
    )
    return page.encode("utf-8")


def _template(name: str) -> str:
    return files("zoneplan.export").joinpath(name).read_text("utf-8")


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _facts(plan: Plan, system: str) -> list[str]:
    told, machine = plan.conditions, plan.machine
    straw = f", straw on {percent(told.residue_frac)} of it" if told.residue_frac else ""
    return [
        figure(plan.field.area_ha, "area", system),
        f"ground {plain.TILLAGES[told.tillage]}{straw}",
        f"planted at {figure(told.speed_mps, 'speed', system)}",
        f"seed {figure(told.depth_m, 'length', system)} deep",
        f"planter: {machine.name}",
    ]


def _opening(plan: Plan) -> str:
    asks = "how hard the planter’s wheels should press on the ground while corn is planted."
    if len(plan.settings) == 1:
        return f"This plan treats the whole field alike, and says {asks}"
    return (
        "The soil is not the same all over this field. This plan divides it into "
        f"{len(plan.settings)} zones, and says for each {asks}"
    )


def _tile(plan: Plan, wetness: Moisture, system: str) -> Html:
    waiting = [it.zone.id for _, found in plain.waiting(plan, wetness) for it in found]
    figures = plain.pressed(plan, wetness, system)
    told = [tag("b", figures)] if figures else []
    if waiting:
        every = len(waiting) == sum(it.numbered for it in plan.settings)
        who = "every zone" if every else plain.zones(sorted(waiting))
        told.append(tag("small", f"{who}: wait".capitalize()))
    return tag(
        "div", tag("dt", f"{wetness} soil".capitalize()), tag("dd", *(told or [safe("no numbers")]))
    )


# ---- the map ----------------------------------------------------------------------------------


def _moisture(plan: Plan, wetness: Moisture, system: str) -> Html:
    legend = [
        tag("li", _swatch(it, wetness), it.label)
        for it in map_classes(plan, wetness, system=system)
    ]
    return tag(
        "section",
        tag("h3", f"When the soil is {wetness}"),
        tag("p", feel.LANDOWNER[wetness]),
        *(
            tag("p", tag("b", f"{plain.sentence(_who(plan, found, system))} "), why, class_="wait")
            for why, found in plain.waiting(plan, wetness)
        ),
        tag("ul", *legend, class_="legend"),
        tag("div", _map(plan, wetness), class_="map"),
        class_="moisture",
        data_wetness=wetness,
    )


def _map(plan: Plan, wetness: Moisture) -> Html:
    """The map that the sheets print, with a plain name and outlines to a tenth of a metre."""
    width_mm, height_mm = MAP_MM
    svg = zone_map_svg(plan, wetness, width_mm=width_mm, height_mm=height_mm)
    name = f"Map of {plan.field.name} when the soil is {wetness}, zones numbered as in the table"
    svg = _TITLE.sub("", svg, count=1).replace("<svg ", f'<svg aria-label="{safe(name)}" ', 1)
    return Html(_OUTLINE.sub(lambda found: _DECIMAL.sub(_tenth, found[0]), svg))


def _tenth(found: re.Match[str]) -> str:
    return f"{float(found[0]):.1f}".removesuffix(".0")


def _swatch(map_class: MapClass, wetness: Moisture) -> Html:
    """A sample of one shade; its hatch gets a name that no other on the page has."""
    drawn = swatch_svg(map_class).replace("swatch-", f"{wetness}-swatch-")
    return tag("span", Html(drawn), aria_hidden="true")


def _who(plan: Plan, waiting: Sequence[ZoneSetting], system: str) -> str:
    """Which zones, and how much of the field."""
    numbers = sorted(it.zone.id for it in waiting)
    area_ha = sum(it.zone.area_ha for it in waiting)
    return (
        f"{plain.zones(numbers)}: wait ({figure(area_ha, 'area', system)}, "
        f"{plain.share(area_ha / plan.field.area_ha)} of the field)"
    )


# ---- the zones --------------------------------------------------------------------------------


def _chips(plan: Plan) -> Html:
    """Links to every zone's words, by number, and to all of them."""
    chips = [
        (str(it.zone.id), plain.title(it, ", "), f"#about-{it.zone.id}") for it in plan.settings
    ]
    return joined(
        [
            *(
                tag("li", tag("a", zone, aria_label=name, href=to, data_zone=zone))
                for zone, name, to in chips
            ),
            tag("li", tag("a", "All", aria_label="All zones", href="#zones", data_zone="")),
        ]
    )


def _zone(plan: Plan, setting: ZoneSetting, system: str) -> Html:
    """Everything that is told of one zone."""
    zone = setting.zone
    title = plain.title(setting)
    size = figure(zone.area_ha, "area", system)
    if len(plan.settings) > 1:
        size += f", {plain.share(zone.area_ha / plan.field.area_ha)} of the field"
    said = {
        f"data_{wetness}": f"{title}. When {wetness}: {plain.press(moisture, system)}."
        for wetness, moisture in setting.moistures.items()
    }
    return tag(
        "article",
        tag("h3", title),
        tag("p", size, class_="size"),
        tag("p", " ".join(plain.ground(plan, setting))),
        *([_settings(plan, setting, system)] if setting.numbered else []),
        *_list("Why these numbers", plain.reasons(plan, setting, system)),
        *_list("How it differs from its neighbours", plain.beside(plan, setting, system)),
        *_list("What to look out for", plain.watch(plan, setting, system)),
        class_="zone",
        id=f"about-{zone.id}",
        data_zone=str(zone.id),
        **said,
    )


def _list(title: str, told: Sequence[str]) -> list[Html]:
    return [tag("h4", title), tag("ul", *(tag("li", it) for it in told))] if told else []


def _settings(plan: Plan, setting: ZoneSetting, system: str) -> Html:
    """What to aim for and to set in one zone, a moisture a row."""
    sets = [] if plan.setting_kind == "margin target" else ["Planter set to"]
    heads = ["Soil", *sets, "Wheels should press", "Furrow closed"]
    return tag(
        "table",
        tag("caption", "On each row of the planter"),
        tag("thead", tag("tr", *(tag("th", it, scope="col") for it in heads))),
        tag(
            "tbody",
            *(
                tag(
                    "tr",
                    tag("th", wetness.capitalize(), scope="row"),
                    *_cells(plan, moisture, system, sets=bool(sets)),
                )
                for wetness, moisture in setting.moistures.items()
            ),
        ),
    )


def _cells(plan: Plan, told: Instruction, system: str, *, sets: bool) -> list[Html]:
    if not isinstance(told, Setting):
        stop, kind = plain.press(told, system), "stop" if isinstance(told, Wait) else "none"
        return [tag("td", tag("b", stop), colspan="3" if sets else "2", class_=kind)]
    real = plain.in_fact(told, system)
    will = [tag("small", real)] if real else []
    return [
        *([tag("td", plain.setting_of(plan, told, system), *will)] if sets else []),
        tag(
            "td",
            tag("b", plain.press(told, system)),
            *_by_hand(told.by_hand),
            *([] if sets else will),
        ),
        tag(
            "td",
            plain.closing(plan, told),
            tag("small", f"notch {told.closing_notch}"),
            *_by_hand(told.closing_by_hand),
        ),
    ]


def _by_hand(link: Reason | None) -> list[Html]:
    return [tag("small", plain.BY_HAND)] if link else []


def _glance(setting: ZoneSetting, system: str) -> Html:
    """One zone's row in the table of all."""
    zone = setting.zone
    called = f"{zone.name}, " if zone.name else ""
    size = f"{called}{plain.soil(setting)}, {figure(zone.area_ha, 'area', system)}"
    link = tag("a", f"Zone {zone.id}", href=f"#about-{zone.id}", data_zone=str(zone.id))
    cells = [
        tag("td", number(it.margin_n, "load", system), *_by_hand(it.by_hand))
        if isinstance(it, Setting)
        else _no_number(it)
        for it in setting.moistures.values()
    ]
    return tag("tr", tag("th", link, tag("small", size), scope="row"), *cells)


def _no_number(told: Instruction) -> Html:
    wait = isinstance(told, Wait)
    return tag("td", "wait" if wait else "none", class_="stop" if wait else "none")


# ---- the whole field --------------------------------------------------------------------------


def _planter(plan: Plan, system: str) -> Html:
    one_for_all = plain.field_setting(plan, system)
    return joined(
        [
            tag("p", f"{plain.PLANTERS[plan.machine.system.kind]} {one_for_all}"),
            tag(
                "p",
                "Behind the seed two more wheels close the furrow. A lever with notches says "
                "how firmly they press. What they carry, the wheels beside the seed lose.",
            ),
        ]
    )


def _waits(plan: Plan, system: str) -> Html:
    """What must wait at each moisture, and why."""
    told = [
        tag("li", f"When {wetness}, {_who(plan, found, system)}. {why}")
        for wetness in WETNESSES
        for why, found in plain.waiting(plan, wetness)
    ]
    return (
        tag("ul", *told)
        if told
        else tag("p", "By the plan no zone has to wait, dry, moist or wet.")
    )
