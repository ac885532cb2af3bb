"""What is told of the zones as they were drawn."""

from collections.abc import Iterator

from zoneplan.notices import Notice, notice
from zoneplan.zones.build import Delineation
from zoneplan.zones.straighten import Edges

SOME_SHARE = 0.01  # judged: less of the field in narrow parts than this is not worth a note
HARDLY_N = 0.5  # a need that strays by less is one need


def zone_notices(drawn: Delineation, most_zones: int | None) -> Iterator[Notice]:
    """Tell what the zones keep, or that one treatment serves; and where they are not as asked."""
    kept = {it.zones: it.kept for it in drawn.counts}
    zones, treatments = drawn.drawn.zones, {zone.treatment for zone in drawn.zones}
    if kept and len(treatments) == 1:
        rms_n = drawn.counts[-1].rms_n
        yield notice("uniform-ground" if rms_n < HARDLY_N else "one-treatment", rms_n=rms_n)
    elif kept:
        fewer = max((it for it in kept if it < zones), default=None)
        yield notice(
            "zones-keep",
            zones=zones,
            treatments=len(treatments),
            kept_share=drawn.drawn.kept,
            rms_n=drawn.drawn.rms_n,
            fewer=fewer,
            fewer_share=None if fewer is None else kept[fewer],
        )
    if most_zones is not None and zones > most_zones:
        yield notice("more-zones-than-asked", zones=zones, asked=most_zones)
    if drawn.edges in (Edges.WOULD_NOT_TILE, Edges.WOULD_BE_NARROW):
        yield notice("edges-not-straightened", would=str(drawn.edges))
    if drawn.narrow_share >= SOME_SHARE:
        yield notice("thin-parts-left", share=drawn.narrow_share)
