"""The nouns of a soil survey: map units, their components, and the components' horizons."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from zoneplan.field.survey.columns import Row, Tables, column

DEPTH_CM = 10.0  # from the surface; where openers and seed are. Our choice


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


def map_units(tables: Tables, keys: Collection[str]) -> dict[str, MapUnit]:
    """Join the tables into the map units with these keys, as many as there are.

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
        if row["mukey"] in keys
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


@dataclass(frozen=True)
class Keyed:
    """The rows of a table, and where those are that a key leads to."""

    rows: Sequence[Row]
    places: Mapping[str, list[int]]

    def of(self, keys: Collection[str]) -> list[Row]:
        """The rows that some keys lead to."""
        return [self.rows[at] for key in keys for at in self.places.get(key, ())]


Grouped = Mapping[str, Keyed]
# Tables with the key that leads from the one before to its rows.
_LED_BY = {"mapunit": "mukey", "component": "mukey", "chorizon": "cokey", "chfrags": "chkey"}
_LEADS = {"component": "cokey", "chorizon": "chkey"}


def grouped(tables: Tables) -> Grouped:
    """Lay the rows of each table by the key that leads to them."""
    return {table: _keyed(tables[table], key) for table, key in _LED_BY.items() if table in tables}


def rows_of(rows: Grouped, keys: Collection[str]) -> Tables:
    """Take the tables of some map units out of those of all."""
    part = {"mapunit": rows["mapunit"].of(keys), "component": rows["component"].of(keys)}
    for before, table in pairwise(("component", "chorizon", "chfrags")):
        if table in rows:
            part[table] = rows[table].of([row[_LEADS[before]] for row in part[before]])
    return part


def _keyed(rows: Sequence[Row], key: str) -> Keyed:
    places: dict[str, list[int]] = defaultdict(list)
    for at, value in enumerate(column(rows, key)):
        places[value].append(at)
    return Keyed(rows, places)


def _in_order(rows: Sequence[Row], key: str) -> list[Row]:
    """Sort rows by a key, which is a whole number written as text."""
    return sorted(rows, key=lambda row: (len(row[key]), row[key]))


def rows_by(rows: Sequence[Row], key: str) -> dict[str, list[Row]]:
    """Put rows together by what they have under a key."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        groups[row[key]].append(row)
    return groups


def _number(row: Row, column: str) -> float | None:
    text = row.get(column)
    return float(text) if text else None
