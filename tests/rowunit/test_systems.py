from dataclasses import replace

import pytest

from tests.rowunit.planters import (
    CLOSED_LOOP_AIR,
    FIVE_MPH,
    HYDRAULIC,
    LB,
    PSI,
    SET_AIR,
    SPRINGS,
    need,
    planter,
)
from tests.telling import codes
from zoneplan.rowunit.systems import outcome_of
from zoneplan.say.notices import words

# The planter weighs 180 lb, and 40 lb more with the hopper full; refill is empty here.
LOAM = need(100, 250, 60)  # WORKED: 190 lb of downforce hopper full, 230 lb empty

ALL = [SPRINGS, SET_AIR, CLOSED_LOOP_AIR, HYDRAULIC]


def sentences(notices):
    """All that some notices say."""
    return " ".join(map(words, notices))


def one(system, zone, **changes):
    field = outcome_of(planter(system, **changes), [zone], FIVE_MPH)
    return field, field.outcomes[0]


@pytest.mark.parametrize("system", ALL, ids=lambda system: system.kind)
def test_downforce_needed_is_the_balance_whatever_the_system(system):
    _, got = one(system, LOAM)
    assert got.downforce_full_n == pytest.approx(190 * LB)
    assert got.downforce_refill_n == pytest.approx(230 * LB)


@pytest.mark.parametrize("system", ALL, ids=lambda system: system.kind)
def test_a_field_where_every_zone_waits_has_no_setting(system):
    got = outcome_of(planter(system), [], FIVE_MPH)
    assert (got.best, got.outcomes) == (None, ())


# ---- springs


def test_springs_take_one_position_and_the_margin_slides():
    # WORKED. 190 to 230 lb needed: position 250 costs 20 to 60 too heavy, 125 costs twice 65 to
    # 105 too light. At 250 the margin is 160 lb full and 120 lb empty.
    field, got = one(SPRINGS, LOAM)
    assert field.best == got.setting == pytest.approx(250 * LB)
    assert got.margin_full_n == pytest.approx(160 * LB)
    assert got.margin_refill_n == pytest.approx(120 * LB)
    assert not got.reached
    assert got.notices[0].code == "misses-target"
    assert got.notices[0]["full_gap_n"] == pytest.approx(60 * LB)
    assert got.notices[0]["refill_gap_n"] == 0.0  # 20 lb cannot be told from the target


def test_springs_with_only_two_positions_leave_a_shortfall():
    # WORKED. 220 + 125 - 250 - 60 = 35 lb of margin full, 65 lb short; -5 lb empty.
    _, got = one(replace(SPRINGS, positions_n=(0.0, 125 * LB)), LOAM)
    assert got.setting == pytest.approx(125 * LB)
    assert got.margin_full_n == pytest.approx(35 * LB)
    assert got.notices[0]["full_gap_n"] == pytest.approx(-65 * LB)
    assert "openers-float" in codes(got.notices)


def test_springs_serve_the_larger_zone_and_name_what_the_other_would_take():
    # WORKED. 30 ha need 190 to 230, 1 ha needs 30 lb more than 400: 410 to 450.
    wide, hard = need(100, 250, 60, 30.0), need(100, 470, 60, 1.0)
    field = outcome_of(planter(SPRINGS), [wide, hard], FIVE_MPH)
    assert [got.setting for got in field.outcomes] == pytest.approx([250 * LB] * 2)
    result = sentences(field.outcomes[1].notices)
    assert "Of this zone's ground, from a full hopper to refill, 100 % lighter than aimed" in result
    assert "On its own this zone would take the 400 lb (1779 N) position." in result


def test_springs_share_out_the_loss_by_zone():
    # WORKED. Full hopper only. At 125 lb, 4 ha need 100 (25 too heavy: 100 lb ha) and 2 ha need
    # 150 (25 too light, twice: 100 lb ha): half of the loss each. At 250 it is 600 + 200.
    zones = [need(100, 160, 60, 4.0), need(100, 210, 60, 2.0)]
    field = outcome_of(planter(SPRINGS, fill_refill=1.0), zones, FIVE_MPH)
    assert field.best == pytest.approx(125 * LB)
    assert "50 % of what the whole field loses" in words(field.outcomes[0].notices[-1])
    assert "50 % of what the whole field loses" in words(field.outcomes[1].notices[-1])
    assert "33 % of the ground more than 20 lb (89 N) lighter than aimed and 67 % heavier" in words(
        field.notices[0]
    )


@pytest.mark.parametrize("system", ALL, ids=lambda system: system.kind)
def test_settings_and_margins_are_the_same_without_notices(system):
    zones = [need(100, 160, 60, 30), need(100, 210, 60, 50), need(100, 900, 60, 20)]
    with_words, without = (
        outcome_of(planter(system), zones, FIVE_MPH, tell=tell) for tell in (True, False)
    )
    assert without.best == with_words.best
    assert [replace(one, notices=()) for one in without.outcomes] == [
        replace(one, notices=()) for one in with_words.outcomes
    ]


def test_the_light_to_heavy_ratio_moves_the_position():
    # WORKED. Full hopper only; 30 ha need 100, 50 ha 150, 20 ha 300 lb: 125 at 2 to 1, 250 at
    # 4 to 1 (the costs are worked in test_fixed).
    zones = [need(100, 160, 60, 30), need(100, 210, 60, 50), need(100, 360, 60, 20)]
    four_to_one = [replace(zone, light_to_heavy=4.0) for zone in zones]
    by_two = outcome_of(planter(SPRINGS, fill_refill=1.0), zones, FIVE_MPH)
    by_four = outcome_of(planter(SPRINGS, fill_refill=1.0), four_to_one, FIVE_MPH)
    assert by_two.best == pytest.approx(125 * LB)
    assert by_four.best == pytest.approx(250 * LB)


def test_a_spring_position_that_fits_raises_no_warning():
    # WORKED. 240 lb needed full, 250 lb with a quarter of the 40 lb of seed gone.
    field, got = one(SPRINGS, need(100, 300, 60), fill_refill=0.75)
    assert got.reached
    assert got.notices == ()
    assert "0 % of the ground" in words(field.notices[0])


# ---- air at a set pressure


def test_set_air_aims_two_thirds_of_the_way_to_refill():
    # WORKED. One zone, need 190 to 230 lb evenly; too light counts twice, so two thirds of the
    # way: 216.7 lb. On the chart from (60 psi, 144 lb) to (100 psi, 400 lb), 6.4 lb per psi:
    # 60 + 72.7/6.4 = 71.4 psi. Margin 126.7 lb full, 86.7 lb empty.
    field, got = one(SET_AIR, LOAM)
    assert got.setting == pytest.approx(71.35 * PSI, rel=0.002)
    assert field.best == got.setting
    assert got.margin_full_n == pytest.approx(126.7 * LB, abs=0.3 * LB)
    assert got.margin_refill_n == pytest.approx(86.7 * LB, abs=0.3 * LB)
    assert not got.reached  # 27 lb too much with the hopper full


def test_set_air_gives_each_zone_its_pressure_and_the_field_one():
    # WORKED. Full hopper only. 190 lb on 3 ha, 350 lb on 1 ha: the field's best is 190 lb,
    # 60 + 46/6.4 = 67.2 psi; the hard zone's own 60 + 206/6.4 = 92.2 psi.
    zones = [need(100, 250, 60, 3.0), need(100, 410, 60, 1.0)]
    field = outcome_of(planter(SET_AIR, fill_refill=1.0), zones, FIVE_MPH)
    assert field.best == pytest.approx(67.1875 * PSI)
    assert field.outcomes[0].setting == pytest.approx(67.1875 * PSI)
    assert field.outcomes[1].setting == pytest.approx(92.1875 * PSI)
    assert all(got.reached for got in field.outcomes)
    by_name = {notice.code: notice for notice in field.outcomes[1].notices}
    # WORKED. At the one pressure the hard zone is left 100 - 160 = -60 lb.
    assert by_name["at-one-pressure"]["full_n"] == pytest.approx(-60 * LB)
    assert by_name["at-one-pressure"]["refill_n"] == pytest.approx(-60 * LB)
    assert field.notices[0]["light_share"] == pytest.approx(0.25)


def test_set_air_says_how_far_the_pressure_drifts():
    # WORKED. Full hopper only, 190 lb at 67.19 psi. 4 psi an hour is 2 psi in 30 minutes, at
    # 6.4 lb per psi: 177.2 to 202.8 lb.
    field, _ = one(SET_AIR, LOAM, fill_refill=1.0)
    assert "every 30 min" in words(field.notices[-1])
    assert "2 psi (14 kPa)" in words(field.notices[-1])
    assert "between 177 lb" in words(field.notices[-1])
    assert "and 203 lb" in words(field.notices[-1])


def test_set_air_out_of_reach_is_told_and_not_read_past_the_chart():
    # WORKED. 600 + 60 + 100 - 220 = 540 lb needed; the chart ends at 400 lb, 140 lb short, and
    # the margin is -40 lb. Drift reaches only down from there: 400 - 2 × 6.4 = 387 lb.
    field, got = one(SET_AIR, need(100, 600, 60), fill_refill=1.0)
    assert got.setting == pytest.approx(100 * PSI)
    assert not got.reached
    assert got.margin_full_n == pytest.approx(-40 * LB)
    assert "Out of reach: needs 540 lb (2402 N) down" in sentences(got.notices)
    assert "no more than 400 lb (1779 N) down" in sentences(got.notices)
    assert "between 387 lb (1722 N) and 400 lb (1779 N), as far as the chart goes" in words(
        field.notices[-1]
    )


def test_set_air_cannot_lift():
    # WORKED. 50 + 20 + 100 - 220 = -50 lb; with no air the margin is 150 lb.
    _, got = one(SET_AIR, need(100, 50, 20), fill_refill=1.0)
    assert got.setting == 0
    assert got.margin_full_n == pytest.approx(150 * LB)
    assert "needs 50 lb (222 N) of lift, and the machine cannot lift" in sentences(got.notices)


# ---- a margin held: air in closed loop, hydraulics


@pytest.mark.parametrize("system", [CLOSED_LOOP_AIR, HYDRAULIC], ids=lambda system: system.kind)
def test_a_held_margin_does_not_slide_with_the_seed(system):
    field, got = one(system, LOAM)
    assert field.best is None
    values = (got.setting, got.margin_full_n, got.margin_refill_n)
    assert values == pytest.approx((100 * LB,) * 3)
    assert got.reached
    assert got.notices == ()


def test_hydraulics_lift_as_far_as_they_reach():
    # WORKED. Full: 40 + 100 + 20 - 220 = -60 lb, 10 beyond the 50 of lift: margin 110 lb, within
    # the 20 lb that can be told. With 10 lb of soil -90 lb: 40 beyond, margin 140 lb.
    _, near = one(HYDRAULIC, need(100, 40, 20))
    assert near.downforce_full_n == pytest.approx(-60 * LB)
    assert near.margin_full_n == pytest.approx(110 * LB)
    assert near.reached
    field, far = one(HYDRAULIC, need(100, 10, 20))
    assert far.margin_full_n == pytest.approx(140 * LB)
    assert far.margin_refill_n == pytest.approx(100 * LB)
    assert not far.reached
    assert "gives no more than 50 lb (222 N) of lift" in sentences(far.notices)
    assert "100 % of the planned area would take lift" in sentences(field.notices)


def test_hydraulics_push_as_far_as_they_reach():
    # WORKED. Empty: 100 + 350 + 60 - 180 = 330 lb, 30 over 300: margin 70 lb. Full 290: held.
    field, got = one(HYDRAULIC, need(100, 350, 60))
    assert (got.margin_full_n, got.margin_refill_n) == pytest.approx((100 * LB, 70 * LB))
    assert not got.reached
    assert got.notices[0]["refill_gap_n"] == pytest.approx(-30 * LB)
    assert "held on 0 % of the planned area" in words(field.notices[0])


def test_closed_loop_air_tells_what_it_cannot_see_and_how_far_it_lags():
    # WORKED. 12 rows at 30 in are 30 ft, three sections of 10 ft. 1 s + 3 × 3 s = 10 s, at 5 mph
    # (2.2352 m/s) 22.352 m or 73 ft.
    field, _ = one(CLOSED_LOOP_AIR, LOAM)
    notes = sentences(field.notices)
    assert "2 sensors feel 12 rows, in 3 sections of 10 ft (3 m)" in notes
    assert "Some sections have no sensor" in notes
    assert "held 73 ft (22 m) past a zone's edge" in notes


def test_closed_loop_air_cannot_follow_a_small_zone():
    zone = replace(LOAM, width_m=2.0, length_m=20.0)
    _, got = one(CLOSED_LOOP_AIR, zone)
    assert "7 ft (2 m) wide" in words(got.notices[0])
    assert "66 ft (20 m) long" in words(got.notices[1])
    _, fast = one(HYDRAULIC, zone)
    assert fast.notices == ()
