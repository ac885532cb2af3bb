"""Hand checks entered on the page of the field, without a browser."""

import pytest

from tests.helpers.jobs import demo_job, plan_of
from tests.pages.test_app import opened, shown
from tests.pages.test_state import reloaded
from zoneplan.pages.hand_checks import BY_HAND, WEIGHED
from zoneplan.rowunit.hand_checks import Feel
from zoneplan.rowunit.observation import Observation
from zoneplan.terms import Moisture
from zoneplan.units import KPA_PER_PSI, N_PER_LBF


def observations(app):
    return app.session_state["desk"].now.request.observations


def made(app):
    return app.session_state["known"][("run", app.session_state["desk"].now)].plan


def take(app):
    return app.button(key="check_put").click().run()


def opener_n(plan, zone=1, moisture=Moisture.MOIST):
    return (
        next(zoned for zoned in plan.settings if zoned.zone.id == zone)
        .moistures[moisture]
        .opener_load_n
    )


def test_answers_on_one_spot_are_taken_and_move_the_opener_load():
    app = opened("level", check=True)
    before = made(app)
    positions = before.machine.system.positions_n
    app.selectbox(key="check_setting_0").set_value(positions[1])
    app.selectbox(key="check_feel_0").set_value(Feel.FREE)
    app.selectbox(key="check_setting_1").set_value(positions[2])
    app.selectbox(key="check_feel_1").set_value(Feel.FIRM)
    app = take(app)
    notch_n = before.machine.notches[0].load_n
    full = before.machine.fill_full
    answers = ((positions[1], Feel.FREE), (positions[2], Feel.FIRM))
    check = Observation(1, Moisture.MOIST, full, notch_n, answers=answers)
    assert observations(app) == (check,)
    text = shown(app)
    assert "the wheel spins freely at" in text
    alone = plan_of(demo_job("level", observations=(check,)))
    assert opener_n(made(app)) == pytest.approx(opener_n(alone))
    assert opener_n(made(app)) != pytest.approx(opener_n(before), rel=0.01)
    assert app.selectbox(key="check_feel_0").value is None  # ready for the next
    app.button(key="undo").click().run()
    assert observations(app) == ()


def test_several_checks_stand_side_by_side_and_each_can_be_taken_back():
    app = opened("level", check=True)
    for what, margin_lb in ((BY_HAND, 60.0), (WEIGHED, 90.0)):
        app.selectbox(key="check_what").set_value(what).run()
        app.selectbox(key="check_setting_0").set_value(made(app).machine.system.positions_n[1])
        app.number_input(key="check_margin").set_value(margin_lb)
        if what == WEIGHED:
            app.number_input(key="check_closing").set_value(33.0)
            app.number_input(key="check_spots").set_value(4)
        app = take(app)
    by_hand, weighed = observations(app)
    assert (by_hand.margin_n, weighed.margin_n) == pytest.approx((60 * N_PER_LBF, 90 * N_PER_LBF))
    assert (by_hand.weighed, weighed.weighed, weighed.spots) == (False, True, 4)
    assert weighed.closing_load_n == pytest.approx(33 * N_PER_LBF)
    # They are found again after a reload, and saved with the plan.
    again = reloaded(app)
    assert observations(again) == (by_hand, weighed)
    again.button(key="check-back-0").click().run()
    assert observations(again) == (weighed,)


def test_what_is_missing_or_cannot_be_is_told_and_nothing_is_taken():
    app = take(opened("level", check=True))
    assert "Still to give: what was set, and how the wheel turned then." in shown(app)
    app.selectbox(key="check_feel_0").set_value(Feel.FREE)
    assert "A setting and an answer belong together" in shown(take(app))
    app.selectbox(key="check_what").set_value(BY_HAND).run()
    assert "Still to give: what was set, the load on the gauge wheels." in shown(take(app))
    app.selectbox(key="check_setting_0").set_value(made(app).machine.system.positions_n[0])
    app.number_input(key="check_margin").set_value(900.0)
    assert "weigh less than was found on its wheels" in shown(take(app))
    assert observations(app) == ()


def test_a_pressure_is_read_off_the_chart():
    app = opened("creek", check=True)
    chart = made(app).machine.system.chart
    kpa, load_n = chart[1]
    app.number_input(key="check_setting_0").set_value(kpa / KPA_PER_PSI)
    app.selectbox(key="check_feel_0").set_value(Feel.FREE)
    app = take(app)
    (check,) = observations(app)
    [(pressed_n, feel)] = check.answers
    assert pressed_n == pytest.approx(load_n)
    assert feel is Feel.FREE


def test_ground_without_numbers_has_nothing_to_check():
    app = opened("bottom", check=True)
    blank = next(zoned.zone.id for zoned in made(app).settings if not zoned.numbered)
    app.selectbox(key="zone").set_value(blank).run()
    assert f"Zone {blank} has no numbers to check." in shown(app)
    assert "check_put" not in {button.key for button in app.button}
