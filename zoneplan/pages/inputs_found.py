"""What was found in files of one's own: shown above the plan that was made from them."""

from collections.abc import Sequence

import shapely

from zoneplan.field.crs import WGS_84, move
from zoneplan.field.shapes import Field, MarkLayer, SoilLayer
from zoneplan.harmless import escape
from zoneplan.notices import Notice
from zoneplan.pages.words import acres, percent
from zoneplan.run import Run
from zoneplan.say.notices import words


def what_was_found(made: Run) -> str:
    """Name the field, its layers and how far they reach, as HTML."""
    plan, found = made.plan, made.found
    field = plan.field
    covered = percent(1 - plan.uncovered_ha / field.area_ha)
    left = f", {plan.uncovered_ha:.2g} ha without" if plan.uncovered_ha else ""
    facts = [
        ("Field", field.name),
        ("Area", f"{field.area_ha:.2f} ha ({acres(field.area_ha)} acres)"),
        ("Outline", _outline(field)),
        ("Where", _where(field)),
        ("Coordinate system", found.system),
        ("Soil layers cover", covered + left),
    ]
    pairs = "".join(f"<div><dt>{name}</dt><dd>{escape(value)}</dd></div>" for name, value in facts)
    noted = [(f"Boundary, {field.name}", field.notes)] if field.notes else []
    layers = "".join(
        _layer(name, notes)
        for name, notes in [*noted, *map(_soil, found.soils), *map(_mark, found.marks)]
    )
    return (
        '<section class="zp-found" aria-label="What was found"><h2>What was found</h2>'
        f"<dl>{pairs}</dl><ul>{layers}</ul></section>"
    )


def _outline(field: Field) -> str:
    parts = shapely.get_parts(field.shape)
    holes = int(shapely.get_num_interior_rings(parts).sum())
    return f"{_counted(len(parts), 'part')}, {_counted(holes, 'hole') if holes else 'no holes'}"


def _where(field: Field) -> str:
    middle = move(field.shape.centroid, field.crs, WGS_84)
    north, east = "N" if middle.y >= 0 else "S", "E" if middle.x >= 0 else "W"
    return f"{abs(middle.y):.4f}° {north}, {abs(middle.x):.4f}° {east}"


def _soil(layer: SoilLayer) -> tuple[str, Sequence[Notice]]:
    count = _counted(len(layer.ground), "piece")
    return f"{layer.name}: {layer.kind}, {count}, {_system(layer)}", layer.notes


def _mark(layer: MarkLayer) -> tuple[str, Sequence[Notice]]:
    """A layer that says where ground lies, and what it says of it."""
    sites = list(layer.ground["site"])
    said = {
        "headland": any(site.headland for site in sites),
        "wheel tracks": any(site.track for site in sites),
        "zones or edges": any(site.part is not None for site in sites),
        "lie of the land": any(site.slope_frac is not None for site in sites),
    }
    what = ", ".join(name for name, holds in said.items() if holds) or "no edges"
    told = what if what == layer.name else f"{layer.name}: {what}"
    return f"{told}, {_counted(len(sites), 'piece')}", layer.notes


def _system(layer: SoilLayer) -> str:
    """What a layer's coordinates were; "unknown" is how the field's own is called."""
    name = layer.ground.crs.name
    return "in metres about the field" if name == "unknown" else str(name)


def _layer(told: str, notes: Sequence[Notice]) -> str:
    if not notes:
        return f"<li>{escape(told)}</li>"
    listed = "".join(f"<li>{escape(words(it, 'us'))}</li>" for it in notes)
    return (
        f"<li><details><summary>{escape(told)}; {_counted(len(notes), 'note')}</summary>"
        f"<ul>{listed}</ul></details></li>"
    )


def _counted(count: int, what: str) -> str:
    """Say how many.

    >>> _counted(1, "part"), _counted(3, "hole")
    ('1 part', '3 holes')
    """
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"
