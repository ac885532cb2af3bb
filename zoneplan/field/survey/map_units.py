"""Map units of a soil survey: their components, their horizons, and what they make together.

What the seed zone of a map unit is made of is weighed: horizons by depth, components by share.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from zoneplan.field.survey.columns import Row, Tables, rows_by
from zoneplan.notices import Notice, notice
from zoneplan.soil.blend import Limits, blend, mean_limits, mean_of
from zoneplan.soil.texture import SoilFacts, is_organic, texture_class

DEPTH_CM = 10.0  # from the surface; where openers and seed are. Our choice
CM_PER_M = 100.0  # a survey writes depths in centimetres
_SUM_TOLERANCE_PCT = 1.0
_Layers = Sequence[tuple["Horizon", float]]  # each with its thickness in the seed zone, cm


class Horizon(NamedTuple):
    """One layer of a component; `None` where the survey says nothing."""

    name: str  # "Ap", "2Bw1"
    top_cm: float | None
    bottom_cm: float | None
    sand_pct: float | None
    silt_pct: float | None
    clay_pct: float | None
    organic_pct: float | None
    density_mg_m3: float | None
    extensibility_pct: float | None
    fragments_pct: float | None  # by volume
    liquid_limit_pct: float | None = None  # by weight; 0 is non-plastic
    plasticity_index_pct: float | None = None  # by weight
    third_bar_volume_pct: float | None = None  # water at 33 kPa, by volume of the whole soil


class Component(NamedTuple):
    """One kind of ground within a map unit."""

    name: str
    kind: str  # "Series", "Miscellaneous area"; "" where the survey does not say
    percent: float | None  # of the map unit
    drainage: str | None
    hydrologic_group: str | None
    order: str | None  # of Soil Taxonomy
    horizons: tuple[Horizon, ...]


class MapUnit(NamedTuple):
    """What one kind of polygon on a soil map stands for."""

    symbol: str
    name: str
    components: tuple[Component, ...]


def map_units(tables: Tables) -> dict[str, MapUnit]:
    """Join the tables into map units, by their keys.

    A horizon without a row in the table of fragments has none of them: that table lists
    what occurs. Without the table they are unknown.

    Components and horizons come in the order of their keys: a survey weighs the same
    whatever order its rows come in. Of the horizons that lie below the seed zone only the
    uppermost is taken: it tells that the component has horizons, and how far those above reach.
    """
    fragments = rows_by(tables["chfrags"], "chkey") if "chfrags" in tables else None
    horizons = rows_by(_in_order(tables["chorizon"], "chkey"), "cokey")
    components = rows_by(_in_order(tables["component"], "cokey"), "mukey")
    return {
        row["mukey"]: MapUnit(
            symbol=row["musym"],
            name=row["muname"],
            components=tuple(
                _component(part, horizons[part["cokey"]], fragments)
                for part in components[row["mukey"]]
            ),
        )
        for row in tables["mapunit"]
    }


def _component(
    row: Row, horizons: list[Row], fragments: Mapping[str, list[Row]] | None
) -> Component:
    return Component(
        name=row["compname"],
        kind=row.get("compkind", ""),
        percent=_number(row, "comppct_r"),
        drainage=row.get("drainagecl") or None,
        hydrologic_group=row.get("hydgrp") or None,
        order=row.get("taxorder") or None,
        horizons=tuple(
            _horizon(layer, None if fragments is None else fragments[layer["chkey"]])
            for layer in _of_use(horizons)
        ),
    )


def _of_use(horizons: list[Row]) -> list[Row]:
    """Those that reach into the seed zone or do not say where they lie, and one below it."""
    tops = [
        float(row["hzdept_r"]) if row["hzdept_r"] and row["hzdepb_r"] else 0.0 for row in horizons
    ]
    uppermost = min((top for top in tops if top >= DEPTH_CM), default=DEPTH_CM)
    return [row for row, top in zip(horizons, tops, strict=True) if top <= uppermost]


def _horizon(row: Row, fragments: list[Row] | None) -> Horizon:
    return Horizon(
        name=row.get("hzname", ""),
        top_cm=_number(row, "hzdept_r"),
        bottom_cm=_number(row, "hzdepb_r"),
        sand_pct=_number(row, "sandtotal_r"),
        silt_pct=_number(row, "silttotal_r"),
        clay_pct=_number(row, "claytotal_r"),
        organic_pct=_number(row, "om_r"),
        density_mg_m3=_number(row, "dbthirdbar_r"),
        extensibility_pct=_number(row, "lep_r"),
        fragments_pct=None
        if fragments is None
        else sum(_number(kind, "fragvol_r") or 0.0 for kind in fragments),
        liquid_limit_pct=_number(row, "ll_r"),
        plasticity_index_pct=_number(row, "pi_r"),
        third_bar_volume_pct=_number(row, "wthirdbar_r"),
    )


def _in_order(rows: Sequence[Row], key: str) -> list[Row]:
    """Sort rows by a key, which is a whole number written as text."""
    return sorted(rows, key=lambda row: (len(row[key]), row[key]))


def _number(row: Row, column: str) -> float | None:
    text = row.get(column)
    return float(text) if text else None


def weigh(unit: MapUnit) -> SoilFacts:
    """Weigh a map unit's horizons and components into the facts of its seed zone.

    Numbers are means over depth, then over the components that are soil, by their share;
    what is missing drops out of both sides of a mean. Categories are those of the
    dominant condition. What the components leave of 100 % has no data.

    Source
    ------
    USDA-NRCS practice for soil-survey tables, as read in its staff's public code: clip,
    weighted average without nulls, miscellaneous areas left out, dominant condition.
    The depth, the checks and texture from mean fractions are our own rules.
    """
    named = f"{unit.symbol} {unit.name}".strip()
    parts = [
        (component_facts(part, named), part.percent) for part in unit.components if part.percent
    ]
    total = sum(percent for _, percent in parts)
    if total < 100:
        parts.append((SoilFacts(ground="no data", named=named), 100 - total))
    whole = blend(parts)
    notes = [
        notice("component-share-unknown", component=part.name, unit=named)
        for part in unit.components
        if part.percent is None
    ]
    if total > 100:
        notes.append(notice("components-scaled", unit=named, total_pct=total))
    return replace(whole, notes=(*whole.notes, *notes)) if notes else whole


def component_facts(component: Component, named: str | None = None) -> SoilFacts:
    """Tell what the seed zone of one component is made of, under the name of its map unit."""
    if re.search(r"\bwater\b", component.name.lower()):
        return SoilFacts(ground="water", named=named)
    if component.kind == "Miscellaneous area":
        return SoilFacts(ground="not soil", named=named)
    layers = _clip(component.horizons)
    notes = tuple(_faults(component))
    organic_cm = sum(thickness for horizon, thickness in layers if _is_organic(horizon))
    organic_pct = mean_of(layers, lambda horizon: horizon.organic_pct)
    mineral = [(horizon, cm) for horizon, cm in layers if not _is_organic(horizon)]
    mineral_pct = mean_of(mineral, lambda horizon: horizon.organic_pct)
    if component.order == "Histosols" or organic_cm > DEPTH_CM / 2 or is_organic(mineral_pct):
        return SoilFacts(
            ground="organic",
            organic_pct=organic_pct,
            drainage=component.drainage,
            hydrologic_group=component.hydrologic_group,
            named=named,
            notes=notes,
        )
    if organic_cm:
        cover_m = organic_cm / CM_PER_M
        notes += (notice("organic-cover-left-out", component=component.name, depth_m=cover_m),)
    fractions = _fractions(mineral)
    sand, silt, clay = fractions or (None, None, None)
    fragments_pct = mean_of(mineral, lambda horizon: horizon.fragments_pct)
    limits = mean_limits([(_limits(horizon), cm) for horizon, cm in mineral])
    return SoilFacts(
        ground="soil" if fractions else "no data",
        texture=texture_class(*fractions) if fractions else None,
        sand_frac=sand,
        silt_frac=silt,
        clay_frac=clay,
        organic_pct=mineral_pct,
        density_mg_m3=mean_of(mineral, lambda horizon: horizon.density_mg_m3),
        fragments_frac=None if fragments_pct is None else fragments_pct / 100,
        extensibility_pct=mean_of(mineral, lambda horizon: horizon.extensibility_pct),
        liquid_limit_pct=limits.liquid_limit_pct,
        plasticity_index_pct=limits.plasticity_index_pct,
        third_bar_pct=limits.third_bar_pct,
        drainage=component.drainage,
        hydrologic_group=component.hydrologic_group,
        rated_share=1.0 if fractions else 0.0,
        named=named,
        notes=notes,
    )


def _clip(horizons: Sequence[Horizon]) -> list[tuple[Horizon, float]]:
    """Keep the horizons that reach into the seed zone, with their thickness there."""
    return [
        (horizon, min(horizon.bottom_cm, DEPTH_CM) - max(horizon.top_cm, 0.0))
        for horizon in horizons
        if horizon.top_cm is not None
        and horizon.bottom_cm is not None
        and max(horizon.top_cm, 0.0) < min(horizon.bottom_cm, DEPTH_CM)
    ]


def _fractions(layers: _Layers) -> tuple[float, float, float] | None:
    """Mean sand, silt and clay of the layers that have all three, 1 together.

    Three zeros are how a survey writes that texture does not signify.
    """
    known = [(horizon, cm) for horizon, cm in layers if _total_pct(horizon)]
    sand = mean_of(known, lambda horizon: horizon.sand_pct)
    silt = mean_of(known, lambda horizon: horizon.silt_pct)
    clay = mean_of(known, lambda horizon: horizon.clay_pct)
    if sand is None or silt is None or clay is None:
        return None
    total = sand + silt + clay
    return sand / total, silt / total, clay / total


def _limits(horizon: Horizon) -> Limits:
    """Tell a layer's limits, and its water by weight of the fine earth.

    The survey gives water by volume of the whole soil, and density of the fine earth: what the
    fragments take up comes off first. Where they are not known, neither is the water.
    """
    water_pct = horizon.third_bar_volume_pct
    density, fragments_pct = horizon.density_mg_m3, horizon.fragments_pct
    if water_pct is not None and density is not None and fragments_pct is not None:
        fine_frac = 1 - fragments_pct / 100
        water_pct = water_pct / fine_frac / density if fine_frac > 0 else None
    else:
        water_pct = None
    return Limits(horizon.liquid_limit_pct, horizon.plasticity_index_pct, water_pct)


def _total_pct(horizon: Horizon) -> float | None:
    if horizon.sand_pct is None or horizon.silt_pct is None or horizon.clay_pct is None:
        return None
    return horizon.sand_pct + horizon.silt_pct + horizon.clay_pct


def _is_organic(horizon: Horizon) -> bool:
    """Whether a layer is peat, muck or litter: no texture, and an O in its name or much
    organic matter."""
    no_texture = horizon.sand_pct is None and horizon.silt_pct is None and horizon.clay_pct is None
    return no_texture and (
        re.match(r"\d*O", horizon.name) is not None or is_organic(horizon.organic_pct)
    )


def _faults(component: Component) -> Iterator[Notice]:
    """Note what is wrong with the horizons of the seed zone."""
    of = component.name
    reached_cm = 0.0
    for horizon in sorted(component.horizons, key=lambda horizon: horizon.top_cm or 0.0):
        top, bottom = horizon.top_cm, horizon.bottom_cm
        if top is None or bottom is None:
            yield notice("horizon-without-depth", component=of, horizon=horizon.name)
            continue
        if top >= DEPTH_CM:
            break
        if bottom <= top:
            yield notice(
                "horizon-upside-down", component=of, horizon=horizon.name, **_span_m(top, bottom)
            )
            continue
        if top > reached_cm:
            yield notice("horizon-missing", component=of, **_span_m(reached_cm, top))
        elif top < reached_cm:
            until_cm = min(reached_cm, bottom)
            yield notice("horizons-overlap", component=of, **_span_m(top, until_cm))
        total = _total_pct(horizon)
        if total is not None and abs(total - 100) > _SUM_TOLERANCE_PCT:
            yield notice("horizon-scaled", component=of, horizon=horizon.name, total_pct=total)
        reached_cm = max(reached_cm, bottom)
    if component.horizons and reached_cm < DEPTH_CM:
        yield notice("horizon-missing", component=of, **_span_m(reached_cm, DEPTH_CM))


def _span_m(top_cm: float, bottom_cm: float) -> dict[str, Any]:
    return {"top_m": top_cm / CM_PER_M, "bottom_m": bottom_cm / CM_PER_M}
