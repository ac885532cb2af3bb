"""How wet the soils of a field are on one day."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from zoneplan.soil.usual_day import (
    DRAINAGE_SHIFT,
    between_columns,
    drainage_shift,
    usual_share,
)

# WORKED: 75 % and the class's shift; half of a wet one's with tile.
SHARES = {
    "Excessively drained": (0.50, 0.50),
    "Somewhat excessively drained": (0.60, 0.60),
    "Well drained": (0.75, 0.75),
    "Moderately well drained": (0.75, 0.75),
    "Somewhat poorly drained": (0.85, 0.80),
    "Poorly drained": (0.95, 0.85),
    "Very poorly drained": (1.00, 0.875),
}


@pytest.mark.parametrize("drainage", SHARES)
def test_by_drainage_class(drainage):
    assert (usual_share(drainage), usual_share(drainage, tiled=True)) == pytest.approx(
        SHARES[drainage]
    )


def test_what_is_not_known_shifts_nothing_and_is_told():
    assert drainage_shift(None) is None
    assert drainage_shift("Subaqueous") is None
    assert usual_share(None) == 0.75


def test_lie_of_the_land():
    # WORKED: 15 % more where water gathers, 10 % less on steep ground, held to 35 to 100 %.
    assert usual_share("Well drained", gathers_water=True) == pytest.approx(0.90)
    assert usual_share("Well drained", steep=True) == pytest.approx(0.65)
    assert usual_share("Poorly drained", gathers_water=True) == 1.0
    assert usual_share("Excessively drained", steep=True) == pytest.approx(0.40)


@given(
    st.sampled_from([None, *DRAINAGE_SHIFT]),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
def test_tile_never_wets_and_the_share_stays_within_the_columns(drainage, tiled, gathers, steep):
    land = {"gathers_water": gathers, "steep": steep}
    share = usual_share(drainage, tiled=tiled, **land)
    assert 0.35 <= share <= 1.0
    assert usual_share(drainage, tiled=True, **land) <= usual_share(drainage, **land)


def test_between_the_columns():
    # WORKED: the columns at their shares; 3/4 of the way from 35 to 75 % at 65 %; 40 % of the
    # way from 75 to 100 % at 85 %; the ends past them.
    numbers = (200.0, 100.0, 50.0)
    assert [
        between_columns(share, *numbers) for share in (0, 0.35, 0.65, 0.75, 0.85, 1.0)
    ] == pytest.approx([200, 200, 125, 100, 80, 50])
