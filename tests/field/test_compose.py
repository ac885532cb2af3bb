"""Several layers of one field: which says what, property by property, and how much of it."""

import geopandas as gpd
import pytest
from shapely.geometry import box

from tests.field.ground import LOCAL, SQUARE, field_of
from tests.helpers.frames import frame_of
from tests.telling import sentences
from zoneplan.field.compose import Supplied, compose
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import SoilLayer
from zoneplan.soil.texture import SoilFacts

FIELD = field_of(SQUARE)  # 400 x 400 m
SAMPLE = SoilFacts(texture="loam", sand_frac=0.4, silt_frac=0.4, clay_frac=0.2, rated_share=1.0)
SURVEY = SoilFacts(
    texture="clay loam",
    sand_frac=0.3,
    silt_frac=0.35,
    clay_frac=0.35,
    organic_pct=5.0,
    density_mg_m3=1.2,
    liquid_limit_pct=40.0,
    plasticity_index_pct=16.0,
    third_bar_pct=25.0,
    drainage="Poorly drained",
    rated_share=0.9,
    named="7A Alpha",
)


def layer(name, *values, kind="polygons"):
    shapes, facts = zip(*values, strict=True)
    ground = gpd.GeoDataFrame({"facts": list(facts)}, geometry=list(shapes), crs=LOCAL)
    return SoilLayer(name, kind, ground)


def test_the_first_says_the_texture_and_the_next_fills_what_it_lacks():
    whole = compose([SAMPLE, SURVEY])
    facts = whole.facts
    assert (facts.texture, facts.sand_frac, facts.clay_frac) == ("loam", 0.4, 0.2)
    assert facts.rated_share == 1.0
    assert (facts.organic_pct, facts.density_mg_m3, facts.drainage) == (5.0, 1.2, "Poorly drained")
    assert (facts.liquid_limit_pct, facts.third_bar_pct) == (40.0, 25.0)
    assert facts.named == "7A Alpha"
    assert whole.sources["texture"] == 0
    assert whole.sources["organic matter"] == 1
    assert "rock fragments" not in whole.sources


def test_limits_are_never_those_of_two_soils():
    # A layer with a liquid limit alone keeps it, and takes no index from another.
    one = SoilFacts(texture="loam", liquid_limit_pct=30.0)
    facts = compose([one, SURVEY]).facts
    assert (facts.liquid_limit_pct, facts.plasticity_index_pct) == (30.0, None)


@pytest.mark.parametrize("nothing", [SoilFacts(ground="no data"), SoilFacts()])
def test_a_layer_that_knows_nothing_gives_way(nothing):
    whole = compose([nothing, SURVEY])
    assert (whole.facts, whole.base) == (SURVEY, 1)


def test_a_layer_without_texture_still_says_what_it_knows():
    humus = SoilFacts(ground="no data", organic_pct=4.0)
    assert compose([humus, SAMPLE]).facts.organic_pct == 4.0
    assert compose([humus, SURVEY]).facts.organic_pct == 5.0  # the one that says what it is, first


@pytest.mark.parametrize("ground", ["organic", "water", "not soil"])
def test_other_ground_takes_and_gives_nothing(ground):
    other = SoilFacts(ground=ground, organic_pct=60.0)
    assert compose([other, SURVEY]).facts == other
    assert compose([SAMPLE, other]).facts == SAMPLE


def test_the_share_of_the_field_that_each_supplied():
    # WORKED: samples on the western quarter, the survey everywhere but the eastern quarter.
    samples = layer("lab", (box(0, 0, 100, 400), SAMPLE), kind="samples")
    survey = layer("ZZ001", (box(0, 0, 300, 400), SURVEY), kind="soil survey")
    cut = overlay(FIELD, [samples, survey])
    assert cut.uncovered_ha == pytest.approx(4)
    shares = {(each.layer, each.property): each.share for each in cut.supplied}
    assert shares["lab", "texture"] == pytest.approx(0.25)
    assert shares["ZZ001", "texture"] == pytest.approx(0.5)
    assert shares["ZZ001", "organic matter"] == pytest.approx(0.75)
    assert ("lab", "organic matter") not in shares
    pieces = frame_of(cut.pieces)
    west = pieces[pieces.contains(box(10, 10, 20, 20))].iloc[0]
    assert (west["layer"], west["facts"].texture, west["facts"].organic_pct) == ("lab", "loam", 5.0)
    assert pieces.area.sum() == pytest.approx(160_000)
    assert sentences(note for note in cut.notes if note.code == "layer-supplies") == (
        "lab: this layer says texture of 25 % of the field.",
        "ZZ001: this layer says texture of 50 % of the field.",
        "ZZ001: this layer says organic matter, bulk density, liquid and plastic limits and "
        "drainage class of 75 % of the field.",
    )


def test_one_layer_is_told_in_the_plan_and_not_in_a_note():
    cut = overlay(FIELD, [layer("ZZ001", (SQUARE, SAMPLE))])
    assert cut.supplied == (Supplied("ZZ001", "texture", pytest.approx(1.0)),)
    assert not [note for note in cut.notes if note.code == "layer-supplies"]


def test_a_polygon_is_parted_only_where_what_is_taken_differs():
    # The lesser layer has two polygons, but nothing is taken of either where the first is whole.
    whole = SoilFacts(texture="loam", named="Home")
    first = layer("mine", (SQUARE, whole))
    lesser = layer("theirs", (box(0, 0, 200, 400), SAMPLE), (box(200, 0, 400, 400), SAMPLE))
    assert len(overlay(FIELD, [first, lesser]).pieces.shapes) == 1
