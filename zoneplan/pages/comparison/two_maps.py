"""Two plans as maps beside each other, in the same shades: A is the first, B the other."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

import shapely

from zoneplan.export.picture import (
    FONT,
    INK,
    PAPER,
    MapClass,
    hatch_patterns,
    map_classes,
    svg_link,
    swatch_svg,
)
from zoneplan.field.crs import move
from zoneplan.harmless import escape
from zoneplan.plan.model import Plan
from zoneplan.say.title_block import stamp
from zoneplan.terms import Moisture

LETTERS = ("A", "B")
_WIDE, _HIGH, _EDGE = 560.0, 420.0, 8.0  # of a map, in its own pixels, and the paper round it
_PX_PER_MM = 3.0  # of the printed map's hatches
_DISC = 12.0


class Frame(NamedTuple):
    """The ground that both maps show."""

    crs: str  # metric
    bounds: tuple[float, float, float, float]  # west, south, east, north in it


def frame_of(*plans: Plan) -> Frame:
    """Frame the ground of several plans, in the metric system of the first."""
    crs = plans[0].field.crs
    outlines = [move(plan.field.shape, plan.field.crs, crs) for plan in plans]
    west, south, east, north = shapely.total_bounds(outlines).tolist()
    return Frame(crs, (west, south, east, north))


def pair(left: str, right: str) -> str:
    """Set two things beside each other, or below where there is no room."""
    return f'<div class="zp-compare pair"><div>{left}</div><div>{right}</div></div>'


def shades(one: Plan, other: Plan, moisture: Moisture) -> list[tuple[MapClass, MapClass]]:
    """Sort the zones of two plans into the same classes: for each, A's zones and B's."""
    last = max(setting.zone.id for setting in one.settings)
    after = [
        replace(setting, zone=replace(setting.zone, id=setting.zone.id + last))
        for setting in other.settings
    ]
    both = replace(one, settings=(*one.settings, *after))
    return [
        (
            replace(kind, zones=tuple(zone for zone in kind.zones if zone <= last)),
            replace(kind, zones=tuple(zone - last for zone in kind.zones if zone > last)),
        )
        for kind in map_classes(both, moisture)
    ]


def zone_map(letter: str, title: str, plan: Plan, kinds: Sequence[MapClass], frame: Frame) -> str:
    """Draw one plan's zones, shaded by `kinds`."""
    text = "; ".join(f"{kind.label}: {_zones(kind.zones)}" for kind in kinds if kind.zones)
    count = f"{len(plan.settings)} zones" if len(plan.settings) > 1 else "1 zone"
    return (
        f'<figure class="zp-map"><figcaption><b>{letter}</b> <strong>{escape(title)}</strong>'
        f"<span>{escape(plan.machine.name)}, {count}{_stamp(plan)}</span></figcaption>"
        f'<img src="{svg_link(_drawing(plan, kinds, frame))}" '
        f'alt="{escape(f"Map of plan {letter}, north up. Margin to aim for {text}.")}"></figure>'
    )


def _stamp(plan: Plan) -> str:
    return f"<br><b>{escape(stamp(plan))}</b>" if stamp(plan) else ""


def legend(kinds: Iterable[tuple[MapClass, MapClass]], moisture: Moisture) -> str:
    """Say once what the shades of both maps mean."""
    rows = "".join(
        f'<li><img alt="" src="{svg_link(swatch_svg(one))}">'
        f"<span><strong>{escape(one.label)}</strong> "
        f"{_by_plan(_zones(one.zones), _zones(other.zones))}</span></li>"
        for one, other in kinds
    )
    return (
        '<figure class="zp-compare zp-legend"><figcaption>Margin to aim for, '
        f"{moisture}: the shades are the same in both maps</figcaption><ul>{rows}</ul></figure>"
    )


def _drawing(plan: Plan, kinds: Sequence[MapClass], frame: Frame) -> str:
    """The zones, numbered."""
    west, south, east, north = frame.bounds
    px = min((_WIDE - 2 * _EDGE) / (east - west), (_HIGH - 2 * _EDGE) / (north - south))

    def path(shape: shapely.Polygon | shapely.MultiPolygon) -> str:
        rings = [
            ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)
        ]
        return "".join("M" + "L".join(map(at, ring.coords[:-1])) + "Z" for ring in rings)

    def at(corner: Sequence[float]) -> str:
        return f"{_EDGE + (corner[0] - west) * px:.1f} {_EDGE + (north - corner[1]) * px:.1f}"

    fills = {zone: kind for kind in kinds for zone in kind.zones}
    paths, numbers = [], []
    for setting in plan.settings:
        shape = move(setting.zone.shape, plan.field.crs, frame.crs)
        kind, line = fills[setting.zone.id], path(shape)
        hatch = "none" if kind.hatch == "plain" else f"url(#{kind.hatch})"
        paths.append(f'<path d="{line}" fill="{kind.fill}" stroke="{PAPER}" stroke-width="4.5"/>')
        paths.append(f'<path d="{line}" fill="{hatch}" stroke="{INK}" stroke-width="1.4"/>')
        x, y = at(shapely.maximum_inscribed_circle(shape).coords[0]).split()
        numbers.append(
            f'<circle cx="{x}" cy="{y}" r="{_DISC}" fill="{PAPER}" stroke="{INK}"/>'
            f'<text x="{x}" y="{y}" dy="4.6" text-anchor="middle">{setting.zone.id}</text>'
        )
    outline = path(move(plan.field.shape, plan.field.crs, frame.crs))
    wide, high = (east - west) * px + 2 * _EDGE, (north - south) * px + 2 * _EDGE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.1f}" height="{high:.1f}" '
        f'viewBox="0 0 {wide:.1f} {high:.1f}" font-family="{FONT}" font-size="13" '
        f'font-weight="600" fill="{INK}"><defs>{hatch_patterns(_PX_PER_MM)}</defs>{"".join(paths)}'
        f'<path d="{outline}" fill="none" stroke="{INK}" stroke-width="3"/>'
        f"{''.join(numbers)}</svg>"
    )


def _zones(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    return f"{'zone' if len(numbers) == 1 else 'zones'} {', '.join(map(str, numbers))}"


def _by_plan(one: str, other: str) -> str:
    return "; ".join(
        f"{letter}: {zones}" for letter, zones in zip(LETTERS, (one, other), strict=True) if zones
    )
