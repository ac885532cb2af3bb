"""What a planter is, whatever the ground."""

import pytest

from tests.rowunit.planters import (
    CLOSED_LOOP_AIR,
    FIVE_MPH,
    HYDRAULIC,
    SET_AIR,
    SPRINGS,
    planter,
)
from zoneplan.rowunit.machine import section_width_m, setting_kind, setting_unit, settle_distance_m


@pytest.mark.parametrize(
    ("system", "kind", "unit"),
    [
        (SPRINGS, "spring position", "N"),
        (SET_AIR, "air pressure", "kPa"),
        (CLOSED_LOOP_AIR, "margin target", "N"),
        (HYDRAULIC, "margin target", "N"),
    ],
)
def test_what_is_set_and_in_what(system, kind, unit):
    assert (setting_kind(planter(system)), setting_unit(planter(system))) == (kind, unit)


@pytest.mark.parametrize(
    ("system", "width_m", "settled_m"),
    [
        # WORKED. 12 × 0.762 = 9.144 m; a third of it; one row. 10 s and 0.2 + 0.9 = 1.1 s at
        # 2.2352 m/s.
        (SPRINGS, 9.144, 0),
        (SET_AIR, 9.144, 0),
        (CLOSED_LOOP_AIR, 3.048, 22.352),
        (HYDRAULIC, 0.762, 2.45872),
    ],
)
def test_the_narrowest_strip_and_the_lag(system, width_m, settled_m):
    assert section_width_m(planter(system)) == pytest.approx(width_m)
    assert settle_distance_m(planter(system), FIVE_MPH) == pytest.approx(settled_m)
