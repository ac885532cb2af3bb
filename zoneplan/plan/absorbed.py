"""Ground that a zone took in, though on its own it would be treated otherwise (inclusions)."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence

import geopandas as gpd

from zoneplan.field.shapes import Site
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import SoilFacts
from zoneplan.units import M2_PER_HA
from zoneplan.zones.made_of import Ground, made_of
from zoneplan.zones.patchwork import difference_n
from zoneplan.zones.zone import Decision, Zone

LEAST_SAID_HA = 0.1  # judged: less is the rounding of a soil map


def absorbed(
    zones: Sequence[Zone],
    pieces: gpd.GeoDataFrame,
    decide: Callable[[SoilFacts, Site], Decision],
    warn: Callable[[SoilFacts, Site], frozenset[Notice]],
    alike_n: float,
) -> list[tuple[Notice, ...]]:
    """Tell for each zone what is in it that asks for something else.

    Parameters
    ----------
    zones, pieces : sequence of Zone, GeoDataFrame
        In one metric system; pieces as `overlay` gives them.
    decide, warn : callable
        What ground needs, and what its own rules warn of; for ground with numbers.
    alike_n : float
        Least difference in any load that is worth telling. [N]

    Returns
    -------
    list of tuple of Notice
        A tuple a zone.
    """
    return [
        tuple(_notices(zone, ground, decide, warn, alike_n))
        for zone, ground in zip(zones, made_of([zone.shape for zone in zones], pieces), strict=True)
    ]


def _notices(
    zone: Zone,
    held: Sequence[Ground],
    decide: Callable[[SoilFacts, Site], Decision],
    warn: Callable[[SoilFacts, Site], frozenset[Notice]],
    alike_n: float,
) -> Iterator[Notice]:
    own = decide(zone.facts, zone.site)
    if not own.loads_n:
        return
    warned = warn(zone.facts, zone.site)
    ground_m2: dict[tuple[SoilFacts, Site], float] = defaultdict(float)
    for facts, site, m2 in held:
        ground_m2[facts, site] += m2
    for (facts, site), m2 in ground_m2.items():
        area_ha = m2 / M2_PER_HA  # true, for the field's metric system keeps areas
        other = decide(facts, site)
        if area_ha < LEAST_SAID_HA or not other.loads_n:
            continue
        waits = other.label != own.label
        differs_n = 0.0 if waits else difference_n(own, other)
        rules = sorted({str(told["words"]) for told in warn(facts, site) - warned})
        if waits or alike_n <= differs_n < float("inf") or rules:
            yield notice(
                "absorbed-soil",
                zone=zone.id,
                area_ha=area_ha,
                soil=facts.named or facts.texture or facts.ground,
                waits=waits,
                differs_n=differs_n if alike_n <= differs_n < float("inf") else 0.0,
                warned=tuple(rules),
            )
