"""Changes by hand on a field of 400 m x 200 m, and on the demo fields at random."""

import datetime
import math
from functools import cache

import numpy as np
import pytest
import shapely
from shapely.geometry import Point, box

from tests.helpers.frames import pieces_of
from tests.telling import sentences
from tests.zones.drawing import exactly, need_of
from tests.zones.ground import CRS, HEADLAND, TRACK, WATER, noded, pieces, soil
from zoneplan.demo import demo_fields
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.layer import read_layers
from zoneplan.field.outline import read_field
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import HEADLAND as HEADLAND_MARK
from zoneplan.field.shapes import NOWHERE, WHEEL_TRACK
from zoneplan.soil.blend import blend
from zoneplan.zones.apply_edits import edited
from zoneplan.zones.build import build_zones
from zoneplan.zones.edit import Merge, Override, Rename, Split
from zoneplan.zones.finest_ground import FinestGround
from zoneplan.zones.zone import Zone

LIGHT, HEAVY = soil(200), soil(300)
# Zone 1 is the west 200 m, 4 ha of light soil; zone 2 the east 200 m, 4 ha of heavy soil.
GROUND = pieces([box(0, 0, 200, 200), box(200, 0, 400, 200)], [LIGHT, HEAVY])
WEST, EAST = (100, 100), (300, 100)
DAY = datetime.date(2026, 11, 25)


def at(place):
    """A place in metres, in degrees."""
    moved = move(Point(place), CRS, WGS_84)
    return (moved.x, moved.y)


def split(*places):
    return Split(tuple(at(place) for place in places))


def merge(one, other):
    return Merge(at(one), at(other))


def rename(place, name):
    return Rename(at(place), name)


def override(place, value=500.0, moisture="moist", decides="margin"):
    return Override(at(place), decides, moisture, value, "soft", "AB", DAY)


def drawn(ground=GROUND):
    return build_zones(
        FinestGround(pieces_of(ground)), need_of, exactly, least_area_m2=0.0, least_width_m=0.0
    ).zones


def changed(*edits, ground=GROUND):
    """The zones after these changes, seen to tile the field, and what is said of them."""
    before = drawn(ground)
    after, overrides = edited(before, pieces_of(ground), edits)
    shapes = [zone.shape for zone in after.zones]
    assert shapely.coverage_is_valid(shapes)
    assert shapely.union_all(shapes).area == pytest.approx(ground.area.sum(), rel=1e-9)
    hectares = math.fsum(zone.area_ha for zone in before)
    assert math.fsum(zone.area_ha for zone in after.zones) == pytest.approx(hectares, rel=1e-6)
    assert [zone.id for zone in after.zones] == list(range(1, len(shapes) + 1))
    return after.zones, [*sentences(after.notes)], overrides


def hectares(zones):
    return [round(zone.area_ha, 3) for zone in zones]


# ---- splits -----------------------------------------------------------------------------------


def test_a_line_parts_a_zone_and_both_parts_keep_its_soil():
    # WORKED: 50 m and 150 m of the west 200 m, 200 m long. Numbered from west to east.
    zones, notes, _ = changed(split((50, -10), (50, 210)))
    assert hectares(zones) == [1.0, 3.0, 4.0]
    assert [zone.facts for zone in zones] == [LIGHT, LIGHT, HEAVY]
    assert [zone.soils for zone in zones] == [*[(("soil 200", 1.0),)] * 2, (("soil 300", 1.0),)]
    assert notes == []


def test_numbers_run_from_north_to_south_again():
    # WORKED: the upper 50 m of both, then the lower 150 m of both.
    zones, _, _ = changed(split((-10, 150), (410, 150)))
    assert hectares(zones) == [1.0, 1.0, 3.0, 3.0]
    assert [zone.facts for zone in zones] == [LIGHT, HEAVY, LIGHT, HEAVY]


def test_the_parts_are_told_by_what_lies_in_them():
    # WORKED: one zone of 190 m and 210 m whose soils differ by 10 lb. Cut
    # at 160 m it is all of one soil to the west; to the east 30 m and 210 m, 1 to 7.
    near = soil(210)
    ground = pieces([box(0, 0, 190, 200), box(190, 0, 400, 200)], [LIGHT, near], [NOWHERE, NOWHERE])
    assert len(drawn(ground)) == 1
    (west, east), _, _ = changed(split((160, -10), (160, 210)), ground=ground)
    assert (west.facts, west.soils) == (LIGHT, (("soil 200", 1.0),))
    assert east.facts.clay_frac == pytest.approx((0.2 + 7 * 0.21) / 8)
    assert east.soils == (("soil 210", pytest.approx(7 / 8)), ("soil 200", pytest.approx(1 / 8)))


def test_marks_go_with_the_ground_they_lie_on():
    # WORKED: the headland is the upper 40 m of the west; the upper half of it is 4 parts in 10.
    ground = pieces(
        noded([box(0, 0, 200, 160), box(0, 160, 200, 200), box(200, 0, 400, 200)]),
        [LIGHT, LIGHT, HEAVY],
        [NOWHERE, HEADLAND, TRACK],
    )
    zones, _, _ = changed(
        merge((100, 180), (100, 80)), split((-10, 100), (210, 100)), ground=ground
    )
    by_area = {round(zone.area_ha, 1): zone for zone in zones}
    assert sorted(by_area) == [2.0, 4.0]
    upper, lower = sorted(
        (zone for zone in zones if zone.facts == LIGHT), key=lambda zone: -zone.shape.centroid.y
    )
    assert upper.marked == ((HEADLAND_MARK, pytest.approx(0.4, abs=1e-5)),)
    assert not upper.site.headland  # no more than half
    assert lower.marked == ()
    [track] = [zone for zone in zones if zone.facts == HEAVY]
    assert track.marked == ((WHEEL_TRACK, 1.0),)


def test_a_zone_that_the_line_does_not_cross_is_named():
    zones, notes, _ = changed(split((-10, 50), (300, 50)))
    # WORKED: it parts the west at 50 m, and ends in the middle of the east.
    assert hectares(zones) == [3.0, 4.0, 1.0]
    assert notes == [
        "Change 1 (split) does not split zone 2, which its line does not cross from edge to edge. "
        "Draw it on past the edge where it is meant to."
    ]


@pytest.mark.parametrize(
    "edit",
    [
        split((50, 50), (150, 50)),  # all inside
        split((0, 300), (400, 300)),  # outside
        split((50, 50)),
        Split(()),
        Split(((math.nan, 42.0), (-93.5, 42.0))),
        Split(((math.inf, 42.0), (-93.5, 42.0))),
        Split(((0.0, 200.0), (-93.5, 42.0))),
    ],
)
def test_a_split_that_parts_nothing_is_left_out_and_told(edit):
    zones, notes, _ = changed(edit)
    assert zones == drawn()
    [note] = notes
    assert note.startswith("Change 1 (split) is left out: its line crosses no zone from edge")


def test_a_person_s_part_may_be_smaller_and_thinner_than_any_drawn():
    # WORKED: 1 m by 200 m.
    zones, _, _ = changed(split((1, -10), (1, 210)))
    assert hectares(zones) == [0.02, 3.98, 4.0]


# ---- splits of one zone -------------------------------------------------------------------------


def split_at(place, *places):
    return Split(tuple(map(at, places)), at(place))


def test_a_line_of_one_zone_parts_no_other_however_far_it_is_drawn():
    # WORKED: drawn across both, it parts the west into 50 m and 150 m, and leaves the east whole.
    zones, notes, _ = changed(split_at(WEST, (-10, 50), (410, 50)))
    assert hectares(zones) == [3.0, 4.0, 1.0]
    assert [zone.facts for zone in zones] == [LIGHT, HEAVY, LIGHT]
    assert notes == []


def test_a_line_that_leaves_a_zone_and_comes_back_parts_it_twice():
    # WORKED: in at 50 m, out to the east, back at 150 m: 1, 2 and 1 ha of the west.
    line = split_at(WEST, (-10, 50), (300, 50), (300, 150), (-10, 150))
    zones, notes, _ = changed(line)
    assert sorted(hectares(zones)) == [1.0, 1.0, 2.0, 4.0]
    assert notes == []


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (split_at(EAST, (50, -10), (50, 210)), "its line crosses no zone from edge"),
        (split_at(WEST, (50, 50), (410, 50)), "its line crosses no zone from edge"),
        (split_at((500, 100), (50, -10), (50, 210)), "its place is outside the field"),
        (Split(((math.nan, 42.0), (-93.5, 42.0)), at(WEST)), "its line crosses no zone from edge"),
        (Split((at(WEST), at(EAST)), (math.inf, 0.0)), "its place is outside the field"),
    ],
)
def test_a_line_of_one_zone_that_parts_nothing_is_left_out_and_told(edit, words):
    zones, [note], _ = changed(edit)
    assert zones == drawn()
    assert note.startswith(f"Change 1 (split) is left out: {words}")


# ---- merges -----------------------------------------------------------------------------------


def test_two_neighbours_join_into_one_told_by_both():
    # WORKED: as much light soil as heavy: 20 and 30 % of clay make 25 %.
    (zone,), notes, _ = changed(merge(WEST, EAST))
    assert zone.shape.geom_type == "Polygon"
    assert zone.area_ha == pytest.approx(8.0, rel=1e-6)
    assert zone.facts == blend([(LIGHT, 1.0), (HEAVY, 1.0)])
    assert zone.facts.clay_frac == pytest.approx(0.25)
    assert zone.soils == (("soil 200", 0.5), ("soil 300", 0.5))
    assert notes == []


def test_ground_without_numbers_that_is_joined_is_told():
    # WORKED: 50 m of 400 m are water.
    ground = pieces([box(0, 0, 350, 200), box(350, 0, 400, 200)], [LIGHT, WATER])
    (zone,), _, _ = changed(merge((100, 100), (390, 100)), ground=ground)
    assert zone.facts.ground == "soil"
    assert zone.facts.rated_share == pytest.approx(0.875)
    assert sentences(zone.facts.notes) == ("12 % of it is water.",)


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        ([merge(WEST, (120, 100))], "Change 1 (join) is left out: both its places are in zone 1"),
        ([merge(WEST, (500, 100))], "Change 1 (join) is left out: its place is outside the field"),
        (
            [Merge((math.nan, 0.0), at(WEST))],
            "Change 1 (join) is left out: its place is outside the field",
        ),
        (
            # WORKED: of four quarters, 1 and 4 meet in a corner only.
            [split((-10, 100), (410, 100)), merge((100, 150), (300, 50))],
            "Change 2 (join) is left out: zones 1 and 4 share no border",
        ),
    ],
)
def test_a_merge_that_does_not_fit_is_left_out_and_told(edits, words):
    zones, notes, _ = changed(*edits)
    assert len(zones) == 2 * len(edits)
    assert [note for note in notes if note.startswith(words)] == notes


def test_a_split_and_its_merge_give_the_ground_back():
    zones, notes, _ = changed(split((50, -10), (50, 210)), merge((10, 100), (100, 100)))
    assert hectares(zones) == [4.0, 4.0]
    assert [zone.facts for zone in zones] == [LIGHT, HEAVY]
    assert notes == []


def test_no_change_changes_nothing():
    after, overrides = edited(drawn(), pieces_of(GROUND), ())
    assert (after.zones, after.notes, overrides) == (drawn(), (), {})


# ---- names ------------------------------------------------------------------------------------


def names(*edits):
    zones, notes, _ = changed(*edits)
    return [zone.name for zone in zones], notes


def test_a_zone_is_named_renamed_and_unnamed():
    assert names(rename(WEST, " Low\n ground ")) == (["Low ground", ""], [])
    assert names(rename(WEST, "Low"), rename((10, 10), "Wet")) == (["Wet", ""], [])
    assert names(rename(WEST, "Low"), rename((10, 10), "")) == (["", ""], [])


def test_a_name_outside_the_field_is_left_out_and_told():
    zone_names, [note] = names(rename((500, 0), "Low"))
    assert zone_names == ["", ""]
    assert note.startswith("Change 1 (name) is left out: its place is outside the field")


def test_both_parts_of_a_zone_keep_its_name_until_one_is_called_otherwise():
    cut = split((50, -10), (50, 210))
    assert names(rename(WEST, "Low"), cut) == (["Low", "Low", ""], [])
    assert names(rename(WEST, "Low"), cut, rename((10, 10), "End")) == (["End", "Low", ""], [])
    assert names(rename(WEST, "Low"), cut, merge((10, 10), WEST)) == (["Low", ""], [])


def test_of_two_names_that_meet_the_later_stands_and_the_other_is_told():
    join = merge(WEST, EAST)
    zone_names, [note] = names(rename(WEST, "Low"), rename(EAST, "High"), join)
    assert zone_names == ["High"]
    assert note.startswith("Zone 1: change 2 counts, and not change 1")
    assert names(rename(WEST, "Low"), join) == (["Low"], [])
    assert names(rename(WEST, "Low"), rename(EAST, "High"), join, rename(EAST, "All")) == (
        ["All"],
        [],
    )


# ---- which overrides stand --------------------------------------------------------------------


def test_overrides_stand_by_the_number_of_their_zone():
    one, other = override(WEST), override(EAST, "3", "dry", "closing")
    _, notes, overrides = changed(split((50, -10), (50, 210)), one, other)
    assert overrides == {2: [one], 3: [other]}
    assert notes == []


def test_a_later_override_of_the_same_replaces_without_a_word():
    first, second, wet = override(WEST, 400.0), override((10, 10)), override(WEST, moisture="wet")
    _, notes, overrides = changed(first, wet, second)
    assert overrides == {1: [second, wet]}
    assert notes == []


def test_of_two_overrides_that_meet_the_later_stands_and_the_other_is_told():
    west, east = override(WEST, 400.0), override(EAST, 500.0)
    _, [note], overrides = changed(west, east, merge(WEST, EAST))
    assert overrides == {1: [east]}
    assert note.startswith("Zone 1: change 2 counts, and not change 1")


def test_an_override_survives_a_split_on_both_parts():
    one, other = override(WEST), override(WEST, "3", "dry", "closing")
    cut = split((50, -10), (50, 210))
    _, notes, overrides = changed(one, other, cut)
    assert overrides == {1: [other, one], 2: [other, one]}
    assert notes == []
    # A later number for one part is of that part alone.
    part = override((10, 100), 700.0)
    _, notes, overrides = changed(one, cut, part)
    assert overrides == {1: [part], 2: [one]}
    assert notes == []
    # Joined again, one stands, and the other is told.
    _, [note], overrides = changed(one, cut, part, merge((10, 100), WEST))
    assert overrides == {1: [part]}
    assert note.startswith("Zone 1: change 3 counts, and not change 1")


def test_an_override_goes_with_its_part_into_another_zone():
    west, east = override(WEST, 400.0), override(EAST, 500.0)
    cut = split((150, -10), (150, 210))
    _, notes, overrides = changed(west, cut, merge((170, 100), EAST))
    assert overrides == {1: [west], 2: [west]}
    assert notes == []
    _, [note], overrides = changed(west, east, cut, merge((170, 100), EAST))
    assert overrides == {1: [west], 2: [east]}
    assert note.startswith("Zone 2: change 2 counts, and not change 1")


def test_of_three_that_meet_the_last_stands_and_each_other_is_told():
    thirds = [split((50, -10), (50, 210))]
    numbers = [override(place, value) for place, value in (((10, 9), 1.0), (WEST, 2.0), (EAST, 3))]
    joins = [merge((10, 9), WEST), merge(WEST, EAST)]
    _, notes, overrides = changed(*thirds, *numbers, *joins)
    assert overrides == {1: [numbers[2]]}
    assert [note.partition(",")[0] for note in notes] == ["Zone 1: change 4 counts"] * 2


def test_an_override_outside_the_field_is_left_out_and_told():
    _, [note], overrides = changed(override((500, 500)))
    assert overrides == {}
    assert note.startswith("Change 1 (override) is left out")


# ---- at random --------------------------------------------------------------------------------


@cache
def demo(name):
    [demo] = [demo for demo in demo_fields() if demo.name == name]
    field = read_field(demo.boundary)
    layers, marks = read_layers([demo.survey], field)
    cut = overlay(field, layers, marks).pieces
    tiled = build_zones(
        FinestGround(cut),
        need_by_clay,
        exactly,
        least_area_m2=2000.0,
        least_width_m=12.0,
        straighten_m=4.0,
    ).zones
    return field, cut, tiled


def need_by_clay(facts, site):
    return need_of(facts if facts.clay_frac is not None else WATER, site)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", [demo.name for demo in demo_fields()])
def test_whatever_lines_and_merges_the_zones_tile_the_field(name, seed):
    field, cut, before = demo(name)
    west, south, east, north = move(field.shape, field.crs, WGS_84).bounds
    random = np.random.default_rng(seed)

    def place():
        return tuple(random.uniform((west, south), (east, north)).tolist())

    edits = [
        Split(tuple(place() for _ in range(random.integers(2, 6))))
        if random.random() < 0.6
        else Merge(place(), place())
        for _ in range(10)
    ]
    after, _ = edited(before, cut, edits)
    shapes = np.array([zone.shape for zone in after.zones])
    assert shapely.coverage_is_valid(shapes)
    assert shapely.is_valid(shapes).all()
    assert {shape.geom_type for shape in shapes} == {"Polygon"}
    hectares = math.fsum(zone.area_ha for zone in after.zones)
    assert hectares == pytest.approx(field.area_ha, rel=1e-6)
    for zone in after.zones:
        assert zone.area_ha > 0
        assert math.fsum(share for _, share in zone.soils) == pytest.approx(1.0)
    assert len(after.notes) >= len(edits) - len(after.zones) - len(before)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", [demo.name for demo in demo_fields()])
def test_however_a_zone_is_split_all_of_its_ground_keeps_its_numbers(name, seed):
    """An invariant: no line takes a person's number away from ground it was made for."""
    field, cut, before = demo(name)
    bounds = move(field.shape, field.crs, WGS_84).bounds
    random = np.random.default_rng(seed)

    def place():
        return tuple(random.uniform(bounds[:2], bounds[2:]).tolist())

    chosen = before[int(random.integers(len(before)))]
    inside = move(shapely.maximum_inscribed_circle(chosen.shape).centroid, field.crs, WGS_84)
    number = Override((inside.x, inside.y), "margin", "wet", 400.0, "soft", "AB", DAY)
    cuts = [
        Split(tuple(place() for _ in range(3)), (inside.x, inside.y) if n % 2 else None)
        for n in range(8)
    ]
    after, overrides = edited(before, cut, [cuts[0], number, *cuts[1:]])
    first, _ = edited(before, cut, cuts[:1])
    point = Point(*shapely.get_coordinates(move(inside, WGS_84, field.crs))[0])
    ground = next(zone.shape for zone in first.zones if zone.shape.intersects(point))
    on = [zone.shape for zone in after.zones if zone.id in overrides]
    assert set().union(*map(tuple, overrides.values())) == {number}
    assert shapely.union_all(on).area == pytest.approx(ground.area, rel=1e-6)
    assert shapely.union_all(on).intersection(ground).area == pytest.approx(ground.area, rel=1e-6)


def test_straightened_edges_weigh_by_what_lies_inside():
    # WORKED: drawn 20 m into the heavy soil, the west has 200 m of light and 20 m of heavy: of a
    # part from 110 m on, 90 and 20 m.
    zones = tuple(
        Zone(number, shape, shape.area / 1e4, facts)
        for number, shape, facts in (
            (1, box(0, 0, 220, 200), LIGHT),
            (2, box(220, 0, 400, 200), HEAVY),
        )
    )
    after, _ = edited(zones, pieces_of(GROUND), [split((110, -10), (110, 210))])
    _, middle, east = after.zones
    assert middle.soils == (
        ("soil 200", pytest.approx(90 / 110)),
        ("soil 300", pytest.approx(20 / 110)),
    )
    assert east.facts == HEAVY
