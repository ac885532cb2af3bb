"""What is filled for the equations, and that nothing is filled without a word."""

import pytest

from tests.telling import codes, sentences
from zoneplan.errors import OutOfRangeError
from zoneplan.soil.complete import complete
from zoneplan.soil.texture import CLASS_POINT, TEXTURES, SoilFacts
from zoneplan.soil.water import (
    field_capacity,
    matric_density_mg_m3,
    packed,
    saturation,
    wilting_point,
)

KNOWN = SoilFacts(
    sand_frac=0.20,
    silt_frac=0.55,
    clay_frac=0.25,
    organic_pct=3.0,
    density_mg_m3=1.40,
    extensibility_pct=2.0,
)


def test_a_soil_that_is_known_is_left_alone():
    soil = complete(KNOWN)
    assert soil.notes == ()
    assert (soil.texture, soil.sand_frac, soil.clay_frac) == ("silt loam", 0.20, 0.25)
    assert (soil.organic_pct, soil.density_mg_m3, soil.extensibility_pct) == (3.0, 1.40, 2.0)


def test_its_water_is_that_of_its_own_density():
    # WORKED: this soil's matric density is 1.32657 and its FC and SAT .34093 and .49941 (see
    # test_water). At 1.40 SAT = 1 - 1.40/2.65 = .47170 and FC = .34093 - .2 x (.49941 - .47170).
    soil = complete(KNOWN)
    assert soil.saturated == pytest.approx(0.47170, abs=0.00001)
    assert soil.capacity == pytest.approx(0.33539, abs=0.00001)
    assert soil.wilting == pytest.approx(0.16536, abs=0.00001)


@pytest.mark.parametrize("texture", TEXTURES)
def test_a_class_alone_stands_at_its_class_point(texture):
    soil = complete(SoilFacts(texture=texture))
    point = (*CLASS_POINT[texture], 2.5)
    assert (soil.sand_frac, soil.clay_frac, soil.organic_pct) == point
    assert soil.density_mg_m3 == matric_density_mg_m3(*point)
    assert (soil.wilting, soil.capacity) == pytest.approx(
        (wilting_point(*point), field_capacity(*point))
    )
    assert codes(soil.notes) == (
        "texture-from-class",
        "organic-unknown",
        "extensibility-unknown",
        "density-unknown",
    )


@pytest.mark.parametrize("given", [{"sand_frac": 0.4, "clay_frac": 0.2}, {"clay_frac": 0.2}])
def test_fractions_that_are_not_all_there_are_not_used(given):
    soil = complete(SoilFacts(texture="clay", **given))
    assert soil.clay_frac == 0.50
    assert codes(soil.notes)[0] == "texture-from-class"


def test_clay_past_the_equations_is_taken_at_its_class_point():
    soil = complete(SoilFacts(sand_frac=0.10, silt_frac=0.25, clay_frac=0.65, organic_pct=3.0))
    assert (soil.sand_frac, soil.clay_frac, soil.organic_pct) == (0.25, 0.50, 3.0)
    assert "65 % clay is outside the equations' range" in sentences(soil.notes)[0]


def test_organic_matter_past_the_equations_is_held_at_their_end():
    soil = complete(SoilFacts(texture="silty clay loam", organic_pct=9.0))
    assert soil.organic_pct == 8.0
    assert "Organic matter 9 % is outside the equations' range: 8 % taken." in sentences(soil.notes)


@pytest.mark.parametrize(("density", "factor"), [(1.0, 0.9), (2.0, 1.3)])
def test_a_far_off_density_stays_but_moves_the_water_only_so_far(density, factor):
    soil = complete(SoilFacts(texture="loam", organic_pct=2.5, density_mg_m3=density))
    loam = (0.40, 0.20, 2.5)
    assert soil.density_mg_m3 == density
    assert (soil.capacity, soil.saturated) == pytest.approx(
        packed(field_capacity(*loam), saturation(*loam), factor)
    )
    assert any("outside 0.9 to 1.3 times the 1.43 expected" in it for it in sentences(soil.notes))


def test_a_clean_sand_gets_the_water_of_a_typical_sand():
    # WORKED: at 98 % sand, 0 % clay and 0 % organic matter eq. 1 gives
    # t = -.02352 + .031 = .00748 and t + .14 t - .02 = -.0115: less than no water.
    soil = complete(SoilFacts(sand_frac=0.98, silt_frac=0.02, clay_frac=0.0, organic_pct=0.0))
    assert wilting_point(0.98, 0.0, 0.0) == pytest.approx(-0.0115, abs=0.00005)
    assert (soil.wilting, soil.capacity) == pytest.approx((0.050, 0.103), abs=0.0005)
    assert "Outside the water equations' range: water taken as for a typical sand." in sentences(
        soil.notes
    )


def test_a_tight_clay_holds_no_more_water_than_it_has_pores():
    # WORKED: 10 % sand, 60 % clay packed to 1.3 times: FC .424 by eq. 9, pores .406.
    soil = complete(
        SoilFacts(sand_frac=0.1, silt_frac=0.3, clay_frac=0.6, organic_pct=2.5, density_mg_m3=1.573)
    )
    assert soil.capacity == soil.saturated == pytest.approx(0.406, abs=0.0005)


@pytest.mark.parametrize(
    "facts",
    [
        SoilFacts(named="W Water", ground="water"),
        SoilFacts(named="W Water", clay_frac=0.2),
        SoilFacts(named="W Water", texture="muck"),
    ],
)
def test_ground_without_texture_is_refused_by_name(facts):
    with pytest.raises(OutOfRangeError, match="W Water has no texture"):
        complete(facts)
