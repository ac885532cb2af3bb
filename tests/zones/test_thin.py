"""No zone is thinner than asked, but where the field is: on random ground and the demo fields.

Looked at in two ways of its own: on squares, by covering them with blocks; on polygons, by
moving edges.
"""

import numpy as np
import pytest
import shapely
import shapely.affinity
from scipy import ndimage

from tests.zones.ground import cells, decide, decide_needs, grid, marked, soil, triangles
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.field.layer import read_layers
from zoneplan.field.outline import read_field
from zoneplan.plan.plan_field import plan_field
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import read_rules
from zoneplan.zones import delineate
from zoneplan.zones.delineate import build_zones
from zoneplan.zones.marks import marks_of
from zoneplan.zones.zone import Zoning

TOLD = "thin-parts-left"


def loads(seed, side=14):
    """Loads of squares of 1 m: four kinds, in blots or at random, as many of each."""
    noise = np.random.default_rng(seed).normal(size=(side, side))
    values = noise if seed % 2 else ndimage.uniform_filter(noise, 3)
    return 100.0 * (1 + np.searchsorted(np.quantile(values, [0.25, 0.5, 0.75]), values))


def squares(rows):
    return grid([[soil(n) for n in row] for row in rows.tolist()])


def zone_of_each(rows, zones):
    """The zone that holds the middle of each square."""
    tree = shapely.STRtree([zone.shape for zone in zones])
    down, along = np.indices(rows.shape)
    middle, zone = tree.query(shapely.points(along + 0.5, -down - 0.5).ravel(), predicate="within")
    found = np.empty(rows.size, dtype=int)
    found[middle] = zone
    return found.reshape(rows.shape)


def largest_thin(held, blocks):
    """Most squares in one part of a zone that no block of so many squares a side covers."""
    most = 0
    for zone in np.unique(held):
        inside = np.pad(held == zone, 1)
        covered = ndimage.binary_opening(inside, np.ones((blocks, blocks)))
        parts, count = ndimage.label(inside & ~covered)
        most = max([most, *np.bincount(parts.ravel())[1:].tolist()] if count else [most])
    return most


@pytest.mark.parametrize("width", [2, 3])
@pytest.mark.parametrize("seed", range(12))
def test_on_squares_no_part_that_blocks_leave_is_as_large_as_a_block(seed, width):
    rows = loads(seed)
    asked = {"alike_n": 20.0, "least_area_m2": 0.0, "least_width_m": float(width)}
    zones = build_zones(squares(rows), decide, **asked).zones
    assert len(zones) > 1
    assert largest_thin(zone_of_each(rows, zones), width) < width**2


# Ours, found by trying: zones that join to be so few leave a part that is large.
@pytest.mark.parametrize("seed", [33, 39])
def test_nor_when_no_more_than_so_many_zones_are_asked_for(seed):
    rows = loads(seed)
    asked = {"alike_n": 20.0, "least_area_m2": 0.0, "least_width_m": 2.0, "most_zones": 3}
    zoned = build_zones(squares(rows), decide_needs, **asked)
    assert len(zoned.zones) <= 3
    assert largest_thin(zone_of_each(rows, zoned.zones), 2) < 4
    assert zoned.kept[0][0] >= len(zoned.zones)


def test_what_is_thin_and_cannot_go_anywhere_makes_zones_join(monkeypatch):
    # Ours, found by trying: no other zone gets less thin by any of the large thin parts.
    rows = np.array(
        [[3, 4, 4, 3, 4], [4, 4, 1, 2, 3], [2, 2, 3, 4, 3], [1, 3, 4, 1, 3], [2, 4, 1, 2, 4]]
    )
    asked = {"alike_n": 20.0, "least_area_m2": 0.0, "least_width_m": 2.0}
    assert len(build_zones(squares(100 * rows), decide, **asked).zones) == 1
    monkeypatch.setattr(delineate, "join_thin", lambda *_: False)
    zoned = build_zones(squares(100 * rows), decide, **asked)
    assert len(zoned.zones) == 2
    assert zoned.notes[-1].code == TOLD


def rubbed_out(ground, width_m):
    """What is lost where edges are moved in by half of so much and out again."""
    how = {"join_style": "mitre", "mitre_limit": 2.0}
    wide = ground.buffer(0.01 - width_m / 2, **how).buffer(width_m / 2, **how)
    return [part for part in shapely.get_parts(ground - wide) if part.area > 0]


def largest_thin_m2(zones, width_m, of=None):
    """Largest part that is lost of a zone, where no large part of the field is lost too."""
    shapes = np.array([zone.shape for zone in zones])
    of_field = rubbed_out(shapely.coverage_union_all(shapes), width_m)
    narrow = shapely.union_all([part for part in of_field if part.area > width_m**2 / 4])
    return max(
        part.area
        for zone in of or zones
        for lost in [shapely.Polygon(), *rubbed_out(zone.shape, width_m)]
        for part in shapely.get_parts(lost.difference(narrow.buffer(0.01)))
    )


@pytest.mark.parametrize("straighten_m", [0.0, 3.0])
@pytest.mark.parametrize("width_m", [8.0, 20.0])
@pytest.mark.parametrize("draw", [cells, triangles])
def test_on_random_ground_no_thin_part_is_as_large_as_a_square(draw, width_m, straighten_m):
    for seed in range(3):
        ground = draw(seed)
        zoned = build_zones(
            ground,
            decide,
            alike_n=40.0,
            least_area_m2=[0.0, 400.0][seed % 2],
            least_width_m=width_m,
            straighten_m=straighten_m,
        )
        shapes = np.array([zone.shape for zone in zoned.zones])
        assert largest_thin_m2(zoned.zones, width_m) < width_m**2
        assert shapely.coverage_is_valid(shapes)
        assert shapely.area(shapes).sum() == pytest.approx(ground.area.sum(), rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_among_random_marks_it_is_so_or_said(seed):
    asked = {"alike_n": 40.0, "least_area_m2": 400.0, "least_width_m": 8.0}
    zoned = build_zones(marked(seed), decide, **asked)
    said = TOLD in [note.code for note in zoned.notes]
    free = [zone for zone in zoned.zones if not marks_of(zone.site)]
    assert said or largest_thin_m2(zoned.zones, 8.0, free) < 8.0**2


@pytest.mark.parametrize("demo", demo_fields(), ids=lambda demo: demo.name)
def test_on_the_demo_fields(demo):
    machine = read_machine(demo.machine)
    plan = plan_demo(demo)
    assert largest_thin_m2([it.zone for it in plan.settings], machine.width_m) < machine.width_m**2
    field = read_field(demo.boundary)
    layers, marks = read_layers([demo.survey], field)
    wider = plan_field(
        field,
        layers,
        machine,
        read_rules(),
        plan.conditions,
        marks=marks,
        zoning=Zoning(least_width_m=25.0),
    )
    assert largest_thin_m2([it.zone for it in wider.settings], 25.0) < 25.0**2


def assert_only_moved(ground, asked):
    """Draw it again a millimetre to the side: the same zones, as far to the side."""
    moved = ground.set_geometry(ground.translate(0.001, 0.001))
    here, there = (build_zones(drawn, decide, **asked).zones for drawn in (ground, moved))
    assert [zone.soils for zone in here] == [
        tuple((name, pytest.approx(share, rel=1e-5)) for name, share in zone.soils)
        for zone in there
    ]
    for one, other in zip(here, there, strict=True):
        back = shapely.affinity.translate(other.shape, -0.001, -0.001)
        assert one.shape.symmetric_difference(back).area < 1e-5 * one.shape.area


@pytest.mark.parametrize("seed", range(6))
def test_a_millimetre_to_the_side_moves_nothing_on_squares(seed):
    # Squares of one size and four loads: every tie there can be.
    asked = {"alike_n": 20.0, "least_area_m2": 3.0, "least_width_m": 2.0}
    assert_only_moved(squares(loads(seed)), asked)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("draw", [cells, triangles])
def test_a_millimetre_to_the_side_moves_nothing_where_teeth_are_cut(draw, seed):
    asked = {"alike_n": 40.0, "least_area_m2": 0.0, "least_width_m": 20.0}
    assert_only_moved(draw(seed), asked)
