"""Ground that a zone took in, though on its own it would be treated otherwise."""

from collections import defaultdict
from collections.abc import Callable, Sequence

import geopandas as gpd

from zoneplan.field.shapes import Site
from zoneplan.rowunit.words import load
from zoneplan.soil.texture import SoilFacts
from zoneplan.units import HA_PER_ACRE, M2_PER_HA
from zoneplan.zones.made_of import Ground, made_of
from zoneplan.zones.patchwork import difference_n
from zoneplan.zones.zone import Decision, Zone

LEAST_SAID_HA = 0.1  # judged: less is the rounding of a soil map


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
    return [
        list(_notes(zone, ground, decide, warn, alike_n))
        for zone, ground in zip(zones, made_of([zone.shape for zone in zones], pieces), strict=True)
    ]


def _notes(
    zone: Zone,
    held: Sequence[Ground],
    decide: Callable[[SoilFacts, Site], Decision],
    warn: Callable[[SoilFacts, Site], frozenset[str]],
    alike_n: float,
) -> list[str]:
    own = decide(zone.facts, zone.site)
    if not own.loads_n:
        return []
    told = warn(zone.facts, zone.site)
    ground_m2: dict[tuple[SoilFacts, Site], float] = defaultdict(float)
    for facts, site, m2 in held:
        ground_m2[facts, site] += m2
    notes = []
    for (facts, site), m2 in ground_m2.items():
        area_ha = m2 / M2_PER_HA  # true, for the field's metric system keeps areas
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
