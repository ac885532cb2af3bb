"""The finest ground of a field: what was worked out of its shapes is not worked out again."""

import numpy as np

from tests.helpers.frames import pieces_of
from tests.zones.drawing import exactly, need_of
from tests.zones.ground import cells, grid, soil
from zoneplan.zones import finest_ground
from zoneplan.zones.build import build_zones
from zoneplan.zones.finest_ground import FinestGround
from zoneplan.zones.narrow_parts import roomy

ASKED = {"least_area_m2": 400.0, "least_width_m": 12.0, "straighten_m": 6.0}


def test_zones_that_are_drawn_again_are_the_same_and_nothing_is_looked_for_twice(monkeypatch):
    looked = []

    def counted(name, plain):
        monkeypatch.setattr(finest_ground, name, lambda *args: looked.append(name) or plain(*args))

    for name in ("thin_parts", "made_of", "whole"):
        counted(name, getattr(finest_ground, name))
    ground = FinestGround(pieces_of(cells(3)))
    first = build_zones(ground, need_of, exactly, **ASKED)
    assert {*looked} == {"thin_parts", "made_of", "whole"}
    looked.clear()
    assert build_zones(ground, need_of, exactly, **ASKED) == first
    assert looked == []


def test_zones_on_ground_that_is_known_are_those_on_ground_that_is_new():
    ground = FinestGround(pieces_of(cells(4)))
    build_zones(ground, need_of, exactly, **ASKED)
    other = ASKED | {"least_width_m": 9.0}
    again = build_zones(ground, need_of, exactly, **other)
    assert again == build_zones(FinestGround(pieces_of(cells(4))), need_of, exactly, **other)


def test_wide_ground_is_roomy_and_all_that_is_roomy_is_wide():
    squares = np.array(grid([[soil(100), soil(200)]]).geometry)
    # WORKED: the middle of a square of 1 m is half a metre from its edge, and that is asked.
    assert roomy(squares, 0.5).all()
    assert not roomy(squares, 0.51).any()
