"""Hand checks: the worked gains, outside packages, and what no check may do."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.doubt import UNCHECKED_SD
from zoneplan.rowunit.hand_checks import (
    Feel,
    FeelCheck,
    LoadCheck,
    after_checks,
)
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF

LB = N_PER_LBF
DRY, MOIST, WET = Moisture
TWO_ZONES = np.array([[260.0, 150.0, 111.0], [300.0, 160.0, 113.0]]) * LB


def test_the_worked_load():
    """WORKED: 150 lb modelled, moist, 200 lb found in zone 1.

    Noise .15² + (20 / 150)² = .0403; v = .0403 + .095 = .1353. Gains: zone 1 moist .095 / v,
    other zones moist .085 / v, zone 1 dry .08375 / v, elsewhere dry .07375 / v.
    """
    loads = after_checks(TWO_ZONES, [LoadCheck(0, MOIST, 200 * LB)])
    log = math.log(200 / 150)
    gains = np.log(loads.opener_load_n / TWO_ZONES) / log
    assert (gains[0, 1], gains[1, 1], gains[0, 0], gains[1, 0]) == pytest.approx(
        (0.702, 0.628, 0.619, 0.545), abs=0.0005
    )
    factors = loads.opener_load_n / TWO_ZONES
    assert (factors[0, 1], factors[1, 1], factors[0, 0], factors[1, 0]) == pytest.approx(
        (1.224, 1.198, 1.195, 1.170), abs=0.0005
    )
    sds = loads.sd_ln
    assert (sds[0, 1], sds[1, 1], sds[0, 0], sds[1, 0]) == pytest.approx(
        (0.168, 0.204, 0.208, 0.234), abs=0.0005
    )
    assert (loads.lifted, loads.refused) == ((), ())


def test_no_check_changes_nothing():
    loads = after_checks(TWO_ZONES)
    assert loads.opener_load_n == pytest.approx(TWO_ZONES)
    assert loads.sd_ln == pytest.approx(UNCHECKED_SD)


def test_the_same_as_conditioning_a_joint_normal():
    # WORKED by another road: the twelve loads' joint covariance, conditioned in one step on
    # three checks; block form, no state and no sequence.
    checks = [
        LoadCheck(0, MOIST, 200 * LB),
        LoadCheck(1, MOIST, 170 * LB, spots=4),
        LoadCheck(1, DRY, 280 * LB),
    ]
    cells = [(zone, column) for zone in range(2) for column in range(3)]

    def shared(one, other):
        alike = 0.15**2 * (1.0 if one[1] == other[1] else 0.5)
        return 0.25**2 + alike + 0.10**2 * (one[0] == other[0])

    joint = np.array([[shared(one, other) for other in cells] for one in cells])
    at = [cells.index((check.zone, list(Moisture).index(check.moisture))) for check in checks]
    model = TWO_ZONES.ravel()[at]
    noise = [
        (0.15**2 + (20 * LB / load) ** 2) / check.spots
        for load, check in zip(model, checks, strict=True)
    ]
    gain = joint[:, at] @ np.linalg.inv(joint[np.ix_(at, at)] + np.diag(noise))
    logs = gain @ np.log(
        [check.opener_load_n / load for check, load in zip(checks, model, strict=True)]
    )
    sds = np.sqrt(np.diag(joint - gain @ joint[at, :]))
    loads = after_checks(TWO_ZONES, checks)
    assert np.log(loads.opener_load_n / TWO_ZONES).ravel() == pytest.approx(logs)
    assert loads.sd_ln.ravel() == pytest.approx(sds)


def test_the_order_of_loads_does_not_matter():
    checks = [
        LoadCheck(0, MOIST, 200 * LB),
        LoadCheck(1, WET, 90 * LB),
        LoadCheck(0, DRY, 300 * LB),
    ]
    one, other = after_checks(TWO_ZONES, checks), after_checks(TWO_ZONES, checks[::-1])
    assert one.opener_load_n == pytest.approx(other.opener_load_n)
    assert one.sd_ln == pytest.approx(other.sd_ln)


def truncated(from_n, to_n, error_lb, prior=0.0, prior_sd=UNCHECKED_SD):
    """Mean and sd of ln R after an answer, from what they were before it."""
    stats = pytest.importorskip("scipy.stats")
    own, model = prior_sd**2, 150 * LB
    spread = math.sqrt(own + 0.15**2 + (error_lb * LB / model) ** 2)
    a = (math.log(from_n / model) - prior) / spread if from_n > 0 else -math.inf
    b = (math.log(to_n / model) - prior) / spread if to_n < math.inf else math.inf
    between = stats.truncnorm(a, b)
    gain = own / spread**2
    mean = prior + gain * spread * between.mean()
    return mean, math.sqrt(own - gain**2 * spread**2 * (1 - between.var()))


# (weight + downforce − closing, feel) on one spot to the bounds of R, and the error of the
# blunter: 20 lb at a margin of 40, 40 lb at 200. [lb]
BRACKETS = {
    ((220, Feel.FREE),): (180, math.inf, 20),
    ((200, Feel.FREE), (240, Feel.FIRM)): (160, 200, 20),
    ((120, Feel.FREE), (160, Feel.FIRM)): (80, 120, 20),
    ((180, Feel.FIRM),): (-math.inf, 140, 20),
    ((360, Feel.FIRM),): (160, 320, 40),
    ((320, Feel.STUCK),): (-math.inf, 120, 40),
    ((30, Feel.FREE),): (-math.inf, math.inf, 20),  # no unit weighs so little: it says nothing
}


@pytest.mark.parametrize("answers", BRACKETS)
def test_answers_are_a_truncated_normal(answers):
    # PUBLISHED: scipy's truncnorm for the moments between the bounds.
    from_lb, to_lb, error_lb = BRACKETS[answers]
    mean, sd = truncated(from_lb * LB, to_lb * LB, error_lb)
    check = FeelCheck(0, MOIST, tuple((resting * LB, feel) for resting, feel in answers))
    loads = after_checks(TWO_ZONES, feels=[check])
    assert loads.refused == ()
    assert math.log(loads.opener_load_n[0, 1] / TWO_ZONES[0, 1]) == pytest.approx(mean, abs=1e-9)
    assert loads.sd_ln[0, 1] == pytest.approx(sd, abs=1e-9)


def test_an_answer_counts_from_what_the_loads_have_said():
    loaded = after_checks(TWO_ZONES, [LoadCheck(0, MOIST, 200 * LB)])
    prior = math.log(loaded.opener_load_n[0, 1] / TWO_ZONES[0, 1])
    mean, sd = truncated(160 * LB, 200 * LB, 20, prior, loaded.sd_ln[0, 1])
    answers = ((200 * LB, Feel.FREE), (240 * LB, Feel.FIRM))
    both = after_checks(TWO_ZONES, [LoadCheck(0, MOIST, 200 * LB)], [FeelCheck(0, MOIST, answers)])
    assert math.log(both.opener_load_n[0, 1] / TWO_ZONES[0, 1]) == pytest.approx(mean, abs=1e-9)
    assert both.sd_ln[0, 1] == pytest.approx(sd, abs=1e-9)


def test_a_bracket_is_worth_about_as_much_as_scales():
    # WORKED: scales leave .168; a bracket of 40 lb about the same spot leaves little more.
    scales = after_checks(TWO_ZONES, [LoadCheck(0, MOIST, 180 * LB)])
    answers = ((200 * LB, Feel.FREE), (240 * LB, Feel.FIRM))
    bracket = after_checks(TWO_ZONES, feels=[FeelCheck(0, MOIST, answers)])
    one_answer = after_checks(TWO_ZONES, feels=[FeelCheck(0, MOIST, answers[:1])])
    assert scales.sd_ln[0, 1] < bracket.sd_ln[0, 1] < 1.06 * scales.sd_ln[0, 1]
    assert bracket.sd_ln[0, 1] < one_answer.sd_ln[0, 1] < UNCHECKED_SD
    moved = [each.opener_load_n[0, 1] / LB for each in (scales, bracket)]
    assert moved[0] == pytest.approx(moved[1], rel=0.02)


def bounds_n(answers):
    """Where answers put the opener load, were they sharp. WORKED from what each one says."""
    least, most = -math.inf, math.inf
    for resting_n, feel in answers:
        if feel is Feel.FREE:  # a margin under 40 lb
            least = max(least, resting_n - 40 * LB)
        elif feel is Feel.STUCK:  # over 200 lb
            most = min(most, resting_n - 200 * LB)
        else:
            least, most = max(least, resting_n - 200 * LB), min(most, resting_n - 40 * LB)
    return least, most


@pytest.mark.parametrize(
    "answers",
    [
        ((420, Feel.STUCK), (280, Feel.FREE)),  # contradict each other
        ((150, Feel.STUCK),),  # more on the wheels than there is
        ((900, Feel.FREE),),  # an opener load of 860 lb where 150 was expected
    ],
)
def test_what_fits_nothing_moves_nothing(answers):
    check = FeelCheck(0, MOIST, tuple((resting * LB, feel) for resting, feel in answers))
    good = FeelCheck(0, MOIST, ((240 * LB, Feel.FIRM),))
    loads = after_checks(TWO_ZONES, feels=[good, check])
    alone = after_checks(TWO_ZONES, feels=[good])
    assert loads.refused == (1,)
    assert loads.opener_load_n == pytest.approx(alone.opener_load_n)
    assert loads.sd_ln == pytest.approx(alone.sd_ln)


@pytest.mark.parametrize("found_lb", [0.0, -20.0, math.nan])
def test_a_load_of_nothing_is_refused(found_lb):
    with pytest.raises(OutOfRangeError, match="zone 2, moist"):
        after_checks(TWO_ZONES, [LoadCheck(1, MOIST, found_lb * LB)])


def test_drier_is_lifted_to_wetter():
    # WORKED: a wet load of five times the model on five spots. Noise (.15² + (20 / 120)²) / 5 =
    # .01006, v .10506: wet × exp(1.609 × .904) = 4.29, 515 lb; moist and dry gain .797, × 3.61:
    # 451 and 469 lb, both below.
    close = np.array([[130.0, 125.0, 120.0]]) * LB
    loads = after_checks(close, [LoadCheck(0, WET, 600 * LB, spots=5)])
    dry, moist, wet = loads.opener_load_n[0]
    assert wet / LB == pytest.approx(514.5, abs=1)
    assert dry == moist == wet
    assert loads.lifted == ((0, DRY), (0, MOIST))


CHECKS = st.lists(
    st.builds(
        LoadCheck,
        st.integers(0, 1),
        st.sampled_from(list(Moisture)),
        st.floats(20 * LB, 900 * LB),
        st.integers(1, 5),
    ),
    max_size=4,
)
SPOTS = st.builds(
    lambda zone, moisture, answers: FeelCheck(zone, moisture, tuple(answers)),
    st.integers(0, 1),
    st.sampled_from(list(Moisture)),
    st.lists(
        st.tuples(st.floats(0, 900 * LB), st.sampled_from(list(Feel))), min_size=1, max_size=3
    ),
)


@given(CHECKS, st.lists(SPOTS, max_size=3))
def test_dry_is_never_below_moist_nor_moist_below_wet(loads, feels):
    # Invariant 3, after any checks.
    result = after_checks(TWO_ZONES, loads, feels)
    assert (np.diff(result.opener_load_n, axis=1) <= 1e-9).all()
    assert np.isfinite(result.opener_load_n).all()
    assert (result.opener_load_n > 0).all()


@given(CHECKS, st.lists(SPOTS, max_size=3), SPOTS)
def test_one_more_check_never_adds_doubt(loads, feels, one_more):
    # Invariant 12.
    before = after_checks(TWO_ZONES, loads, feels)
    after = after_checks(TWO_ZONES, loads, [*feels, one_more])
    assert (after.sd_ln <= before.sd_ln + 1e-12).all()
    assert (after.sd_ln > 0).all()
    assert (before.sd_ln <= UNCHECKED_SD + 1e-12).all()


@given(st.sampled_from(list(Moisture)), st.floats(20 * LB, 900 * LB), st.integers(1, 20))
def test_a_load_never_moves_the_level_past_what_it_found(moisture, found_n, spots):
    # Invariant 12: in its own cell between the model and the finding, elsewhere by less.
    loads = after_checks(TWO_ZONES, [LoadCheck(0, moisture, found_n, spots)])
    column = list(Moisture).index(moisture)
    asked = math.log(found_n / TWO_ZONES[0, column])
    moved = np.log(loads.opener_load_n / TWO_ZONES)
    assert abs(moved[0, column]) <= abs(asked) + 1e-12
    unlifted = np.ones_like(moved, bool)
    for zone, drier in loads.lifted:
        unlifted[zone, list(Moisture).index(drier)] = False
    assert (moved[unlifted] * asked >= -1e-12).all()
    assert (np.abs(moved[unlifted]) <= abs(moved[0, column]) + 1e-12).all()


@given(SPOTS)
def test_an_answer_never_moves_the_level_past_its_bounds(check):
    # Invariant 12: towards its bounds from outside, and not out of them from inside.
    loads = after_checks(TWO_ZONES, feels=[check])
    if loads.refused:
        assert loads.opener_load_n == pytest.approx(TWO_ZONES)
        return
    column = list(Moisture).index(check.moisture)
    least_n, most_n = bounds_n(check.answers)
    before, after = TWO_ZONES[check.zone, column], loads.opener_load_n[check.zone, column]
    if (check.zone, check.moisture) not in loads.lifted:
        assert min(before, least_n) - 1e-6 <= after <= max(before, most_n) + 1e-6


def test_over_many_fields_checks_by_their_worth_beat_a_raw_factor():
    """Drawn from the doubt itself, one moist check in one zone; what is left of the error.

    The update must beat both no check and the check taken at its word everywhere.
    """
    draw = random.Random(7)
    none = raw = update = 0.0
    for _ in range(400):
        field, both = draw.gauss(0, 0.25), draw.gauss(0, 0.15 * math.sqrt(0.5))
        columns = [both + draw.gauss(0, 0.15 * math.sqrt(0.5)) for _ in range(3)]
        zones = [draw.gauss(0, 0.10) for _ in range(2)]
        true = np.array([[field + column + zone for column in columns] for zone in zones])
        noise = math.hypot(0.15, 20 / 150)
        found_n = 150 * LB * math.exp(true[0, 1] + draw.gauss(0, noise))
        after = after_checks(TWO_ZONES, [LoadCheck(0, MOIST, found_n)])
        moved = np.log(after.opener_load_n / TWO_ZONES)
        none += np.abs(true).mean()
        raw += np.abs(true - math.log(found_n / (150 * LB))).mean()
        update += np.abs(true - moved).mean()
    assert update < 0.8 * none
    assert update < 0.9 * raw
