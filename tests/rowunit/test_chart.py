import pytest

from tests.rowunit.planters import CHART, LB, PSI
from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.balance import load_at, pressure_for


def test_a_weighed_point_is_given_back():
    # common practice, no source. 30 psi more brought the gauge wheels from 90 to 114 lb: 24 lb.
    assert load_at(CHART, 30 * PSI) == pytest.approx(24 * LB)
    assert pressure_for(CHART, 24 * LB) == pytest.approx(30 * PSI)


def test_between_points_the_line_is_straight():
    # WORKED. A third of the way from (30 psi, 24 lb) to (60 psi, 144 lb): (40 psi, 64 lb).
    assert load_at(CHART, 40 * PSI) == pytest.approx(64 * LB)
    assert pressure_for(CHART, 64 * LB) == pytest.approx(40 * PSI)


@pytest.mark.parametrize("psi", [0, 5, 30, 47.5, 60, 99, 100])
def test_there_and_back(psi):
    assert pressure_for(CHART, load_at(CHART, psi * PSI)) == pytest.approx(psi * PSI)


@pytest.mark.parametrize("psi", [-1, 100.5])
def test_a_pressure_outside_the_chart_is_refused(psi):
    with pytest.raises(OutOfRangeError, match=r"outside this machine's chart.*0 psi.*100 psi"):
        load_at(CHART, psi * PSI)


@pytest.mark.parametrize("pounds", [-5, 401])
def test_a_load_outside_the_chart_is_refused(pounds):
    with pytest.raises(OutOfRangeError, match=r"cannot be reached.*0 lb.*400 lb"):
        pressure_for(CHART, pounds * LB)
