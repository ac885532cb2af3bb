"""What is told of the zones as they were drawn."""

from collections.abc import Callable, Iterator, Sequence

from zoneplan.field.shapes import Marks
from zoneplan.notices import Notice, notice
from zoneplan.plan.requirement import plannable
from zoneplan.soil.texture import SoilFacts
from zoneplan.units import M2_PER_HA
from zoneplan.zones.build import Delineation
from zoneplan.zones.graph import GroundNeed
from zoneplan.zones.join import STEP_N
from zoneplan.zones.straighten import Edges
from zoneplan.zones.zone import Zone

LEAST_SAID_HA = 0.1  # judged: less is the rounding of a soil map


def absorbed(
    zones: Sequence[Zone],
    need_of: Callable[[SoilFacts, Marks], GroundNeed],
    warn: Callable[[SoilFacts, Marks], frozenset[Notice]],
    waits: Callable[[SoilFacts, Marks], bool],
    waiting: Sequence[bool],
) -> list[tuple[Notice, ...]]:
    """Tell for each zone what is in it that asks for something else.

    Parameters
    ----------
    zones : sequence of Zone
        Of a field.
    need_of, warn : callable
        What ground needs, and what its own rules warn of; for ground with numbers.
    waits : callable
        Whether such ground by itself waits when it is wet.
    waiting : sequence of bool
        Whether each zone does.

    Returns
    -------
    list of tuple of Notice
        A tuple a zone.
    """
    return [
        tuple(_notices(zone, need_of, warn, lambda *part, own=own: waits(*part) != own))
        for zone, own in zip(zones, waiting, strict=True)
    ]


def _notices(
    zone: Zone,
    need_of: Callable[[SoilFacts, Marks], GroundNeed],
    warn: Callable[[SoilFacts, Marks], frozenset[Notice]],
    waits_unlike: Callable[[SoilFacts, Marks], bool],
) -> Iterator[Notice]:
    if len(zone.composition) < 2:
        return
    own = need_of(zone.facts, zone.site)
    if own.needs_n is None:
        return
    warned = warn(zone.facts, zone.site)
    for facts, site, m2 in zone.composition:
        area_ha = m2 / M2_PER_HA  # true, for the field's metric system keeps areas
        other = need_of(facts, site)
        if area_ha < LEAST_SAID_HA or other.needs_n is None:
            continue
        waits = waits_unlike(facts, site)
        differs_n = max(abs(a - b) for a, b in zip(own.needs_n, other.needs_n, strict=True))
        rules = sorted({str(warning["words"]) for warning in warn(facts, site) - warned})
        if waits or differs_n >= STEP_N or rules:
            yield notice(
                "absorbed-soil",
                zone=zone.id,
                area_ha=area_ha,
                soil=facts.named or facts.texture or facts.ground,
                waits=waits,
                differs_n=differs_n if differs_n >= STEP_N else 0.0,
                warned=tuple(rules),
            )


SOME_SHARE = 0.01  # judged: less of the field in narrow parts than this is not worth a note
HARDLY_N = 0.5  # a need that strays by less is one need


def zone_notices(delineation: Delineation, most_zones: int | None) -> Iterator[Notice]:
    """Tell what the zones keep, or that one treatment serves; and where they are not as asked.

    Zones without numbers keep nothing, and are not counted in what is kept.
    """
    zones = delineation.drawn.zones
    rated = [zone for zone in delineation.zones if plannable(zone.facts)]
    treatments = {zone.treatment for zone in rated}
    unrated = zones - len(rated)
    shares = {
        count.zones - unrated: count.share for count in delineation.counts if count.zones > unrated
    }
    if shares and len(treatments) == 1:
        rms_n = delineation.counts[-1].rms_n
        yield notice("uniform-ground" if rms_n < HARDLY_N else "one-treatment", rms_n=rms_n)
    elif shares:
        # One keeps nothing of what it is measured by: that is not worth a word.
        fewer = max((count for count in shares if 1 < count < len(rated)), default=None)
        yield notice(
            "zones-keep",
            zones=len(rated),
            treatments=len(treatments),
            kept_share=delineation.drawn.share,
            rms_n=delineation.drawn.rms_n,
            fewer=fewer,
            fewer_share=None if fewer is None else shares[fewer],
        )
    if most_zones is not None and zones > most_zones:
        yield notice("more-zones-than-asked", zones=zones, asked=most_zones)
    if delineation.edges in (Edges.WOULD_NOT_TILE, Edges.WOULD_BE_NARROW):
        yield notice("edges-not-straightened", would=str(delineation.edges))
    if delineation.narrow_share >= SOME_SHARE:
        yield notice("thin-parts-left", share=delineation.narrow_share)
