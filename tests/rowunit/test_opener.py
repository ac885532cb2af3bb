import pytest

from tests.rowunit.planters import FIVE_MPH, LB
from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.opener import UNCERTAIN_SHARE, chord_m, opener_load_n
from zoneplan.units import MPS_PER_MPH

TWO_INCHES = 0.0508
DISC = 0.381


@pytest.mark.parametrize(("depth_m", "chord"), [(0.0508, 0.25903), (0.0381, 0.2286)])
def test_chord_of_a_fifteen_inch_disc(depth_m, chord):
    # WORKED. 2·√(0.0508·0.3302) = 0.25903; 2·√(0.0381·0.3429) = 2·0.1143 = 0.2286.
    assert chord_m(depth_m, DISC) == pytest.approx(chord, abs=0.00005)


def test_reference_load_is_the_middle_of_what_normal_soil_takes():
    # PUBLISHED, weakly. An Iowa State University extension specialist in the farm press: 150
    # to 200 lb of row unit are usually enough in normal soil. The reference: 450 to 900 N.
    load_n = opener_load_n(1.0, TWO_INCHES, FIVE_MPH, "tilled")
    assert load_n == 675
    assert 150 <= load_n / LB <= 200


def test_no_till_counts_half_as_much_again_and_strip_till_as_tilled():
    # WORKED. 675 × 1.5 = 1012.5.
    assert opener_load_n(1.0, TWO_INCHES, FIVE_MPH, "no-till") == pytest.approx(1012.5)
    assert opener_load_n(1.0, TWO_INCHES, FIVE_MPH, "strip-till") == pytest.approx(675)


def test_load_follows_strength_and_depth():
    # WORKED. 675 × 2 × 0.2286 / 0.25903 = 1191.4.
    assert opener_load_n(2.0, 0.0381, FIVE_MPH, "tilled") == pytest.approx(1191.4, abs=0.2)


def test_a_larger_disc_has_more_of_it_in_the_ground():
    # WORKED. 16 in (0.4064 m): 2·√(0.0508·0.3556) = 0.26881; 675 × 0.26881/0.25903 = 700.5.
    assert opener_load_n(1, TWO_INCHES, FIVE_MPH, "tilled", 0.4064) == pytest.approx(700.5, abs=0.1)


def test_speed_adds_what_the_gauge_wheels_lost():
    # PUBLISHED. Abstract on a radial gauge-wheel load sensor, no-till: 1148, 1017, 843, 713 N
    # at 6, 8, 10, 12 km/h. WORKED: slope (3·(713 - 1148) + (843 - 1017)) / 20 = -73.95 N per
    # km/h; × 1.609344 = 119.0 N per mph. So 2 mph over 5 adds 238 N.
    slope_n_per_kmh = (3 * (713 - 1148) + (843 - 1017)) / 20
    assert -slope_n_per_kmh * 1.609344 == pytest.approx(119, abs=0.5)
    fast = opener_load_n(1.0, TWO_INCHES, 7 * MPS_PER_MPH, "no-till")
    assert fast - 1012.5 == pytest.approx(238)


def test_going_slower_than_five_takes_nothing_off():
    assert opener_load_n(1.0, TWO_INCHES, 3 * MPS_PER_MPH, "tilled") == 675


def test_uncertainty_is_that_of_the_contact_factor():
    # WORKED. 0.5 to 1.0 about 0.75: (1.0 - 0.75) / 0.75 = 1/3.
    assert pytest.approx(0.25 / 0.75) == UNCERTAIN_SHARE


@pytest.mark.parametrize("depth_m", [0.0, -0.02, 0.1905, 0.3])
def test_a_depth_no_disc_works_at_is_refused(depth_m):
    with pytest.raises(OutOfRangeError, match=r"disc 15 in across.*Check the depth"):
        opener_load_n(1.0, depth_m, FIVE_MPH, "tilled")
