"""Ground that a zone took in, though on its own it would be treated otherwise."""

from collections import defaultdict
from collections.abc import Callable, Sequence

import geopandas as gpd
import shapely

from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.shapes import Site
from zoneplan.rowunit.words import load
from zoneplan.soil.texture import SoilFacts
from zoneplan.units import HA_PER_ACRE
from zoneplan.zones.patchwork import difference_n
from zoneplan.zones.zone import Decision, Zone

LEAST_SAID_HA = 0.1  # judged: less is the rounding of a soil map
_Ground = tuple[SoilFacts, Site]


def swallowed(
    zones: Sequence[Zone],
    pieces: gpd.GeoDataFrame,
    decide: Callable[[SoilFacts, Site], Decision],
    warn: Callable[[SoilFacts, Site], frozenset[str]],
    alike_n: float,
) -> list[list[str]]:
    """Say for each zone what is in it that wants something else.

    Parameters
    ----------
    zones, pieces : sequence of Zone, GeoDataFrame
        In one metric system; pieces as `overlay` gives them.
    decide, warn : callable
        What ground needs, and what its own rules warn of; for ground with numbers.
    alike_n : float
        Least difference in any load that is worth saying. [N]

    Returns
    -------
    list of list of str
        Notes, a list a zone.
    """
    points = shapely.point_on_surface(pieces.geometry.to_numpy())
    piece, zone = shapely.STRtree([zone.shape for zone in zones]).query(points, predicate="within")
    held: list[dict[_Ground, float]] = [defaultdict(float) for _ in zones]
    for one, into in zip(piece.tolist(), zone.tolist(), strict=True):
        row = pieces.iloc[one]
        held[into][row["facts"], row["site"]] += geodesic_area_ha(row.geometry, pieces.crs)
    return [
        list(_notes(zone, ground, decide, warn, alike_n))
        for zone, ground in zip(zones, held, strict=True)
    ]


def _notes(
    zone: Zone,
    ground: dict[_Ground, float],
    decide: Callable[[SoilFacts, Site], Decision],
    warn: Callable[[SoilFacts, Site], frozenset[str]],
    alike_n: float,
) -> list[str]:
    own = decide(zone.facts, zone.site)
    if not own.loads_n:
        return []
    told = warn(zone.facts, zone.site)
    notes = []
    for (facts, site), area_ha in ground.items():
        other = decide(facts, site)
        if area_ha < LEAST_SAID_HA or not other.loads_n:
            continue
        differs = []
        step_n = difference_n(own, other)
        if other.label != own.label:
            differs.append("it would wait at another moisture")
        elif alike_n <= step_n < float("inf"):
            differs.append(f"its loads would differ by up to {load(step_n)}")
        differs += sorted(warn(facts, site) - told)
        if differs:
            named = facts.named or facts.texture or facts.ground
            notes.append(
                f"{area_ha / HA_PER_ACRE:.1f} acres ({area_ha:.2f} ha) of {named} are in this "
                f"zone, though on their own: {'; '.join(differs)}"
            )
    return notes
