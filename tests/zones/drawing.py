"""Zones drawn for a test from a plain need, and seen to tile the ground before anything else."""

from collections.abc import Callable, Collection, Hashable, Sequence

import geopandas as gpd
import numpy as np
import shapely

from tests.helpers.frames import pieces_of
from tests.zones.ground import load_n
from zoneplan.field.shapes import Marks
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Ground
from zoneplan.units import N_PER_LBF
from zoneplan.zones.build import Delineation, build_zones
from zoneplan.zones.finest_ground import FinestGround
from zoneplan.zones.graph import GroundNeed, Label
from zoneplan.zones.marks import drawn_by
from zoneplan.zones.narrow_parts import Narrow, Outlines, besides_of, narrow_in
from zoneplan.zones.zone import Zone


def need_of(facts: SoilFacts, site: Marks) -> GroundNeed:
    """As many pounds, at every moisture, as `load_n` has newtons."""
    kind = Ground(facts.ground)
    if kind is not Ground.SOIL:
        return GroundNeed(kind)
    need_n = load_n(facts, site) * N_PER_LBF
    return GroundNeed(kind, drawn_by(site), (need_n,) * 3)


def narrow_of(outlines: Outlines, loose: Collection[Label], least_width_m: float) -> Narrow:
    """What is narrow in a field of these outlines."""
    besides = besides_of(
        outlines.labels, loose, lambda at: narrow_in(outlines.shapes[at], least_width_m)
    )
    return Narrow(besides, loose, least_width_m)


def need_lb(zone: Zone) -> float:
    needs_n = need_of(zone.facts, zone.site).needs_n
    assert needs_n is not None
    return needs_n[0] / N_PER_LBF


def to_5_lb(zones: Sequence[Zone]) -> list[Hashable]:
    """What a plan prints: the kind of ground, or the need rounded to 5 lb."""
    return [
        5 * round(need_lb(zone) / 5) if zone.facts.ground == "soil" else zone.facts.ground
        for zone in zones
    ]


def exactly(zones: Sequence[Zone]) -> list[Hashable]:
    """Zones that print the same only where their ground is the same."""
    return [(zone.facts, zone.site) for zone in zones]


def drawn(
    ground: gpd.GeoDataFrame,
    *,
    printed: Callable[[Sequence[Zone]], Sequence[Hashable]] = to_5_lb,
    least_area_m2: float = 0.0,
    least_width_m: float = 0.0,
    **asked: int | float | None,
) -> Delineation:
    """Draw zones, and see that they tile the ground."""
    built = build_zones(
        FinestGround(pieces_of(ground)),
        need_of,
        printed,
        least_area_m2=least_area_m2,
        least_width_m=least_width_m,
        **asked,
    )
    shapes = np.array([zone.shape for zone in built.zones])
    before = shapely.coverage_union_all(ground.geometry.to_numpy())
    assert shapely.is_valid(shapes).all()
    assert all(shape.geom_type == "Polygon" for shape in shapes)
    # Where narrow parts were cut off, all corners are on the overlay's grid.
    assert shapely.hausdorff_distance(before, shapely.union_all(shapes)) < 1e-6
    assert np.isclose(shapely.area(shapes).sum(), before.area, rtol=1e-9, atol=0)
    assert [zone.id for zone in built.zones] == list(range(1, len(shapes) + 1))
    for zone in built.zones:
        assert np.isclose(sum(share for _, share in zone.soils), 1.0, rtol=1e-12)
        assert np.isclose(sum(m2 for *_, m2 in zone.composition), zone.shape.area, rtol=1e-2)
    assert built.drawn.zones == len(shapes)
    return built


def zones_of(ground: gpd.GeoDataFrame, **asked: float | None) -> tuple[Zone, ...]:
    return drawn(ground, **asked).zones
