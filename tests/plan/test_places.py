"""What a person can change in a zone, on a demo field."""

import datetime
from dataclasses import replace

import pytest
import shapely
from shapely.ops import split

from tests.pages.uploads import DEMOS
from zoneplan.demo import plan_demo
from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, move
from zoneplan.plan.places import WAYS, halved, neighbours, place_in, split_by, zone_at
from zoneplan.say.differences import in_words


@pytest.fixture(scope="module")
def plan():
    return plan_demo(DEMOS["bottom"])


def shape(plan, number):
    return next(zoned.zone.shape for zoned in plan.settings if zoned.zone.id == number)


def test_a_place_in_a_zone_finds_that_zone_again(plan):
    for zoned in plan.settings:
        assert zone_at(plan, place_in(plan, zoned.zone.id)) == zoned.zone.id
    assert zone_at(plan, (0.0, 0.0)) is None


def test_neighbours_share_a_border_and_both_say_so(plan):
    near = {zoned.zone.id: neighbours(plan, zoned.zone.id) for zoned in plan.settings}
    for one, others in near.items():
        for other in others:
            assert one in near[other]
            assert shape(plan, one).distance(shape(plan, other)) == 0
    apart = {
        (one, other)
        for one in near
        for other in near
        if one != other and shape(plan, one).distance(shape(plan, other)) > 1
    }
    assert apart
    assert not any(other in near[one] for one, other in apart)


@pytest.mark.parametrize("way", WAYS)
def test_a_halving_line_crosses_its_zone_and_ends_just_past_it(plan, way):
    for zoned in plan.settings:
        line = shapely.LineString(halved(plan, zoned.zone.id, way).line)
        moved = move(line, WGS_84, plan.field.crs)
        parts = shapely.get_parts(split(zoned.zone.shape, moved))
        assert len(parts) >= 2
        assert shapely.difference(moved, zoned.zone.shape).length < 1  # no other zone is crossed


def test_a_line_that_is_drawn_across_a_zone_is_of_that_zone_alone(plan):
    for zoned in plan.settings:
        west, south, east, north = move(zoned.zone.shape, plan.field.crs, WGS_84).bounds
        up = (south + north) / 2
        line = split_by(plan, zoned.zone.id, [(west - 0.001, up), (east + 0.001, up)])
        assert zone_at(plan, line.at) == zoned.zone.id
        assert line.line == (
            (round(west - 0.001, 7), round(up, 7)),
            (round(east + 0.001, 7), round(up, 7)),
        )


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ([(-93.5, 42.0), (-93.4, 42.0)], "The line does not split zone 1"),
        ([(-93.5, 42.0)], "The line does not split zone 1"),
        ([], "The line does not split zone 1"),
        ([(42.0, -93.5), (42.0, -93.4)], "write latitude first"),
        ([(-193.5, 42.0), (-93.4, 42.0)], "no place on earth"),
        ([(float("nan"), 42.0), (-93.4, 42.0)], "no place on earth"),
        ([(-93.4, float("inf")), (-93.4, 42.0)], "no place on earth"),
    ],
)
def test_a_line_that_parts_nothing_is_refused(plan, line, words):
    with pytest.raises(LayerError, match=words):
        split_by(plan, 1, line)


def test_a_line_that_ends_in_the_zone_is_refused(plan):
    (east, north) = place_in(plan, 1)
    with pytest.raises(LayerError, match="nowhere from edge to edge"):
        split_by(plan, 1, [(east - 0.1, north), (east, north)])


def test_a_change_reads_in_the_numbers_that_zones_have_now(plan):
    number = plan.settings[2].zone.id
    line = halved(plan, number, WAYS[0])
    assert in_words(line, plan) == f"Split along a line, at zone {number}"
    day = datetime.date(2026, 11, 25)
    by = replace(line, at=None, initials="AB", on=day, why="Two soils.")
    assert in_words(by, plan) == "Split along a line, by AB on 2026-11-25: Two soils."
