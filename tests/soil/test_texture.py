"""USDA texture classes: the rule text, its boundaries, and an independent classifier."""

from collections import Counter

import pytest

from zoneplan.errors import OutOfRangeError
from zoneplan.soil.texture import (
    CLASS_POINT,
    GROUP_OF,
    TEXTURES,
    SoilFacts,
    texture_class,
    texture_name,
    texture_point,
)

GRID = [(sand, silt, 100 - sand - silt) for sand in range(101) for silt in range(101 - sand)]

# WORKED. The twelve rules of the Soil Survey Manual, ch. 3, counted on the 1 % grid; equal,
# point by point, to the particle-size logic of the National Soil Information System.
GRID_COUNTS = {
    "sand": 85,
    "loamy sand": 155,
    "sandy loam": 565,
    "loam": 349,
    "silt loam": 840,
    "silt": 186,
    "sandy clay loam": 392,
    "clay loam": 325,
    "silty clay loam": 273,
    "sandy clay": 210,
    "silty clay": 231,
    "clay": 1540,
}

# WORKED from the same rules, each agreeing with the same logic: (sand, silt, clay) in %.
# Most lie on a boundary line, where a soil goes to the finer class (Benham, Ahrens &
# Nettleton, "Clarification of Soil Texture Class Boundaries", NRCS).
CHECK_POINTS = {
    (92, 5, 3): "sand",
    (52.5, 37.5, 10): "sandy loam",
    (86, 14, 0): "sand",
    (85, 15, 0): "loamy sand",
    (90, 0, 10): "loamy sand",
    (82, 12, 6): "loamy sand",
    (71, 29, 0): "loamy sand",
    (70, 30, 0): "sandy loam",
    (80, 10, 10): "sandy loam",
    (85, 0, 15): "sandy loam",
    (65, 25, 10): "sandy loam",
    (53, 40, 7): "sandy loam",
    (50, 44, 6): "sandy loam",
    (52, 41, 7): "loam",
    (50, 43, 7): "loam",
    (40, 40, 20): "loam",
    (52, 28, 20): "loam",
    (53, 27, 20): "sandy clay loam",
    (43, 50, 7): "silt loam",
    (44, 50, 6): "silt loam",
    (20, 65, 15): "silt loam",
    (24, 50, 26): "silt loam",
    (8, 80, 12): "silt loam",
    (9, 80, 11): "silt",
    (10, 85, 5): "silt",
    (60, 15, 25): "sandy clay loam",
    (46, 27, 27): "sandy clay loam",
    (45, 28, 27): "clay loam",
    (23, 50, 27): "clay loam",
    (33, 33, 34): "clay loam",
    (45, 20, 35): "clay loam",
    (21, 44, 35): "clay loam",
    (20, 45, 35): "silty clay loam",
    (10, 55, 35): "silty clay loam",
    (0, 61, 39): "silty clay loam",
    (46, 19, 35): "sandy clay",
    (50, 10, 40): "sandy clay",
    (0, 60, 40): "silty clay",
    (10, 45, 45): "silty clay",
    (20, 40, 40): "silty clay",
    (21, 39, 40): "clay",
    (45, 15, 40): "clay",
    (25, 25, 50): "clay",
    (100, 0, 0): "sand",
    (0, 100, 0): "silt",
    (0, 0, 100): "clay",
}


def classify_pct(sand, silt, clay):
    return texture_class(sand / 100, silt / 100, clay / 100)


def test_every_class_has_its_share_of_the_grid():
    assert Counter(classify_pct(*soil) for soil in GRID) == GRID_COUNTS


@pytest.mark.parametrize("soil", CHECK_POINTS)
def test_boundary_points_go_to_the_finer_class(soil):
    assert classify_pct(*soil) == CHECK_POINTS[soil]


@pytest.mark.parametrize("soil", CHECK_POINTS)
def test_float_noise_moves_no_boundary(soil):
    # As a mean over three equal horizons comes out.
    sand, silt, clay = ((part / 100 * 0.1 + part / 100 * 0.2) / 0.3 for part in soil)
    for noise in (-1e-12, 1e-12):
        assert texture_class(sand, silt, max(0.0, clay + noise)) == CHECK_POINTS[soil]


def on_a_line(sand, silt, clay):
    """Whether a soil meets any limit of the rules, be that limit a boundary there or not."""
    return (
        silt + 1.5 * clay == 15
        or silt + 2 * clay == 30
        or sand in {20, 45, 52}
        or silt in {28, 40, 50, 80}
        or clay in {7, 12, 20, 27, 35, 40}
    )


def test_an_independent_classifier_agrees_off_the_lines():
    # PUBLISHED: pedotri, its polygons of the USDA triangle. Polygons leave open which side
    # owns a shared edge, so every grid point that lies on a line of the rules is left out.
    pedotri = pytest.importorskip("pedotri")
    soils = [soil for soil in GRID if not on_a_line(*soil)]
    theirs = pedotri.classify([soil[0] for soil in soils], [soil[2] for soil in soils], "USDA")
    ours = [classify_pct(*soil) for soil in soils]
    assert len(soils) > 4000
    assert ours == [name.replace("_", " ") for name in theirs]


@pytest.mark.parametrize(
    ("sand", "silt", "clay", "words"),
    [
        (0.60, 0.30, 0.20, "110.0 %"),
        (0.40, 0.40, 0.18, "98.0 %"),
        (-0.01, 0.60, 0.41, "-1.0 %"),
        (40, 40, 20, "fractions or percentages"),
        (0.0, 0.0, 0.0, "0.0 %"),
        (float("nan"), 0.5, 0.5, "nan %"),
    ],
)
def test_what_is_no_soil_is_refused(sand, silt, clay, words):
    with pytest.raises(OutOfRangeError, match=words):
        texture_class(sand, silt, clay)


def test_one_percent_of_rounding_is_borne():
    # WORKED: 40.4, 40.4 and 20.2 of 101 are 40, 40 and 20 of 100.
    assert texture_class(0.404, 0.404, 0.202) == "loam"


def test_class_points_lie_in_their_class():
    # PUBLISHED: Saxton & Rawls (2006), Table 3, prints these points under these names.
    assert tuple(CLASS_POINT) == TEXTURES
    for name, (sand, clay) in CLASS_POINT.items():
        assert texture_class(sand, 1 - sand - clay, clay) == name


def test_five_groups_share_the_twelve_classes():
    # From memory: Soil Survey Manual, ch. 3, groupings of texture classes.
    assert Counter(GROUP_OF.values()) == {
        "coarse": 2,
        "moderately coarse": 1,
        "medium": 3,
        "moderately fine": 3,
        "fine": 3,
    }


# WORKED: read by eye, names and codes as soil surveys write them.
NAMES = {
    "silt loam": "silt loam",
    "Silt Loam": "silt loam",
    " SIL ": "silt loam",
    "sil": "silt loam",
    "silt_loam": "silt loam",
    "silty-clay-loam": "silty clay loam",
    "SICL": "silty clay loam",
    "fine sandy loam": "sandy loam",
    "very fine sandy loam": "sandy loam",
    "COSL": "sandy loam",
    "coarse sand": "sand",
    "VFS": "sand",
    "loamy fine sand": "loamy sand",
    "LVFS": "loamy sand",
    "gravelly loam": "loam",
    "extremely gravelly coarse sandy loam": "sandy loam",
    "paragravelly clay": "clay",
    "mucky silt loam": "silt loam",
    "GRV-SL": "sandy loam",
    "MK-SICL": "silty clay loam",
    "C": "clay",
}
NO_NAMES = [
    "",
    "muck",
    "mucky peat",
    "water",
    "SPM",
    "GR",
    "fine",
    "SR- S L",
    "SR-L",
    "SR- COSL GR-COSL GR-SL",
    "stratified loamy sand to silt loam",
    "unweathered bedrock",
    "Clarion loam",
    "variable",
]


@pytest.mark.parametrize("text", NAMES)
def test_map_names_and_codes_are_read(text):
    assert texture_name(text) == NAMES[text]


@pytest.mark.parametrize("name", TEXTURES)
def test_a_class_is_its_own_name(name):
    assert texture_name(name) == name


@pytest.mark.parametrize("text", NO_NAMES)
def test_what_is_no_single_mineral_class_has_no_name(text):
    assert texture_name(text) is None


def test_the_point_that_stands_for_a_soil():
    # WORKED: 40, 41 and 20 % are scaled by 1 / 1.01; a class alone stands at its point.
    measured = SoilFacts(sand_frac=0.40, silt_frac=0.41, clay_frac=0.20)
    assert texture_point(measured) == pytest.approx((0.39604, 0.19802), abs=0.00001)
    assert texture_point(SoilFacts(sand_frac=0.4, clay_frac=0.2)) == (0.4, 0.2)
    assert texture_point(SoilFacts(texture="silty clay")) == (0.10, 0.45)
    with pytest.raises(OutOfRangeError, match="no texture"):
        texture_point(SoilFacts())
