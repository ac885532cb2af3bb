"""How many zones, by what they keep of the variation: on strips whose sums can be done by hand."""

import numpy as np
import pytest

from tests.telling import codes, sentences
from tests.zones.ground import (
    HEADLAND,
    NO_DATA,
    cells,
    decide,
    decide_needs,
    load_n,
    marked,
    row,
    soil,
)
from zoneplan.zones.borders import border_lengths
from zoneplan.zones.delineate import build_zones
from zoneplan.zones.patchwork import difference_n
from zoneplan.zones.zone import Decision

# WORKED. Loads of 0, 100, 400 and 600 N on 1 m2 each: mean 275, squares about it 75,625 +
# 30,625 + 15,625 + 105,625 = 227,500. Joined are 0 and 100 (lost 2 x 50^2 = 5,000), then 400
# and 600 (lost 2 x 100^2 = 20,000 more), then all.
FOUR = row(*[(1, soil(n)) for n in (0, 100, 400, 600)])
CURVE = {4: 1.0, 3: 1 - 5_000 / 227_500, 2: 1 - 25_000 / 227_500, 1: 0.0}


def zoned(ground, decided=decide_needs, **asked):
    return build_zones(
        ground, decided, **({"alike_n": 1.0, "least_area_m2": 0.0, "least_width_m": 0.0} | asked)
    )


def test_what_every_number_of_zones_keeps():
    assert dict(zoned(FOUR).kept) == pytest.approx(CURVE, abs=1e-9)


def test_the_fewest_that_keep_enough_are_drawn():
    # WORKED: three keep 97.8 %, two 89.0 %.
    found = zoned(FOUR)
    assert [load_n(zone) for zone in found.zones] == pytest.approx([50, 400, 600])
    assert sentences(found.notes) == (
        "3 zones keep 97 % of the variation in the need for downforce; "
        "2 would keep 89 %, 4 would keep all.",
    )


@pytest.mark.parametrize(("most", "count"), [(9, 3), (3, 3), (2, 2), (1, 1)])
def test_no_more_zones_than_asked(most, count):
    assert len(zoned(FOUR, most_zones=most).zones) == count


def test_what_cannot_join_is_more_than_asked_and_said():
    ground = row((1, soil(0)), (1, soil(600)), (1, soil(600), HEADLAND), (1, NO_DATA))
    found = zoned(ground, most_zones=1)
    assert len(found.zones) == 3
    last = found.notes[-1]
    assert (last.code, last["zones"], last["asked"]) == ("more-zones-than-asked", 3, 1)


def test_variation_that_no_row_unit_shows_is_one_zone():
    # WORKED: halves of 0 and 176 N stray 88 N from their mean, 20 lb are 89 N.
    for load, count in ((176, 1), (180, 2)):
        found = zoned(row((1, soil(0)), (1, soil(load))))
        assert len(found.zones) == count
        assert ("need-hardly-strays" in codes(found.notes)) == (count == 1)


def test_a_uniform_field_is_one_zone_that_keeps_all():
    found = zoned(row((1, soil(300)), (1, soil(300))))
    assert (len(found.zones), found.kept) == (1, ((1, 1.0),))


def test_ground_without_numbers_has_nothing_to_keep():
    found = zoned(row((1, NO_DATA), (1, NO_DATA)))
    assert (len(found.zones), found.kept, found.notes) == (1, (), ())


def test_where_the_most_zones_keep_little_they_are_not_all_drawn():
    # A system that holds a margin: two loads to decide by, a need that swings by far more and
    # is not told by them. WORKED: neighbours decided alike are one, whatever they need.
    def told(facts, site):
        load = decide(facts, site).loads_n[0]
        return Decision("soil", (100.0 * (load >= 300),), needs_n=(load,))

    found = zoned(row(*[(1, soil(n)) for n in (0, 200, 400, 600)]), told)
    # WORKED: means 100 and 500 about 300 keep 4 x 200^2 of 2 x 300^2 + 2 x 100^2 = 200,000: 80 %.
    assert dict(found.kept) == pytest.approx({2: 0.8, 1: 0.0})
    assert len(found.zones) == 2


def test_a_wetness_to_wait_at_is_left_out():
    # WORKED: wet, only the second half has a need: nothing to vary about. Moist, the halves
    # differ; two zones keep all of it.
    def told(facts, site):
        load = decide(facts, site).loads_n[0]
        waits = load < 100
        return Decision(f"waits: {waits}", (load,), needs_n=(load, None if waits else load))

    found = zoned(row((1, soil(0)), (1, soil(600))), told)
    assert (len(found.zones), found.kept) == (2, ((2, 1.0),))


@pytest.mark.parametrize("draw", [cells, marked])
@pytest.mark.parametrize("seed", range(5))
def test_no_two_neighbours_are_alike_at_the_chosen_number(draw, seed):
    asked = {"alike_n": 40.0, "least_area_m2": 400.0, "least_width_m": 12.0}
    ground = draw(seed)
    for most in (None, 6):
        found = zoned(ground, most_zones=most, **asked)
        kept = dict(found.kept)
        assert kept[len(found.zones)] <= kept[max(kept)] + 1e-9
        assert list(kept) == list(range(max(kept), min(kept) - 1, -1))
        for a, b in border_lengths(np.array([zone.shape for zone in found.zones])):
            decisions = [decide(z.facts, z.site) for z in (found.zones[a], found.zones[b])]
            assert difference_n(*decisions) >= 40
