"""Cutting soils to the field. Every test ends by checking that no ground was lost or made."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Polygon, box

from tests.field.ground import BOW_TIE, LOCAL, SQUARE, field_of, layer_of
from tests.field.nrcs import write_survey
from tests.helpers.frames import frame_of
from tests.marking import drawn_zone
from tests.telling import codes, sentences
from zoneplan.errors import LayerError
from zoneplan.field.compose import Disagreement
from zoneplan.field.crs import geodesic_area_ha
from zoneplan.field.layer import read_layer
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import NOWHERE, MarkLayer, Marks, SoilLayer
from zoneplan.soil.texture import TEXTURES, SoilFacts

WEST, EAST = box(-50, -50, 200, 450), box(200, -50, 450, 450)


def marks_of(marks, name="marks", crs=LOCAL):
    """Lay out marks: each site, and its shape in LOCAL."""
    ground = gpd.GeoDataFrame({"site": list(marks)}, geometry=list(marks.values()), crs=LOCAL)
    return MarkLayer(name, ground.to_crs(crs))


def by_site(pieces):
    """Area by site. [ha]"""
    areas_ha = {}
    for site, piece in zip(pieces["site"], pieces.geometry, strict=True):
        areas_ha[site] = areas_ha.get(site, 0.0) + piece.area / 1e4
    return areas_ha


def cut(shape, *layers, marks=()):
    """Cut layers to a field, check that the pieces tile it, and add up areas by soil. [ha]"""
    field = field_of(shape)
    laid = overlay(field, layers, marks)
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert_tiles(pieces, field)
    names = [facts.named if facts.ground == "soil" else None for facts in pieces["facts"]]
    areas_ha: dict[str | None, float] = {}
    for name, piece in zip(names, pieces.geometry, strict=True):
        areas_ha[name] = areas_ha.get(name, 0.0) + piece.area / 1e4
    assert uncovered_ha == pytest.approx(areas_ha.get(None, 0.0), abs=1e-6)
    return pieces, areas_ha


def assert_tiles(pieces, field):
    """No ground lost or made."""
    shapes = pieces.geometry.to_numpy()
    assert set(pieces.geom_type) == {"Polygon"}
    assert pieces.crs == field.crs
    assert shapely.coverage_is_valid(shapes)
    assert shapely.area(shapes).sum() == pytest.approx(field.shape.area, rel=1e-9)
    whole = shapely.coverage_union_all(shapes)
    assert whole.symmetric_difference(field.shape).area < 1e-4  # m²
    geodesic_ha = sum(geodesic_area_ha(shape, field.crs) for shape in shapes)
    assert geodesic_ha == pytest.approx(field.area_ha, rel=1e-7)


@pytest.mark.parametrize("crs", [LOCAL, "EPSG:4326", "EPSG:26915", "EPSG:5070"])
def test_two_halves(crs):
    pieces, areas_ha = cut(SQUARE, layer_of({"west": WEST, "east": EAST}, crs=crs))
    assert areas_ha == pytest.approx({"west": 8, "east": 8}, abs=1e-4)
    assert list(pieces["layer"]) == ["map", "map"]


def test_the_first_layer_wins():
    # WORKED: a square of 4 ha on top, in the middle of the two halves.
    top = layer_of({"middle": box(100, 100, 300, 300)}, name="top")
    pieces, areas_ha = cut(SQUARE, top, layer_of({"west": WEST, "east": EAST}))
    assert areas_ha == pytest.approx({"middle": 4, "west": 6, "east": 6})
    assert sorted(pieces["layer"]) == ["map", "map", "top"]


def test_the_first_polygon_of_a_layer_wins():
    soils = {"low": box(0, 0, 400, 250), "high": box(0, 150, 400, 400)}
    assert cut(SQUARE, layer_of(soils))[1] == pytest.approx({"low": 10, "high": 6})


def test_ground_without_soil_is_named():
    pieces, areas_ha = cut(SQUARE, layer_of({"west": WEST}))
    assert areas_ha == pytest.approx({"west": 8, None: 8})
    bare = next(row for row in pieces.itertuples() if row.layer is None)
    assert (bare.facts.ground, bare.facts.rated_share) == ("no data", 0.0)


def test_a_hole_and_two_parts():
    # WORKED: 16 ha less a pond of 4 ha across the middle, and 1 ha on the east side.
    holed = Polygon(SQUARE.exterior, [box(100, 100, 300, 300).exterior.coords])
    field = MultiPolygon([holed, box(410, 0, 440, 100)])
    pieces, areas_ha = cut(field, layer_of({"west": WEST, "east": EAST}))
    assert areas_ha == pytest.approx({"west": 6, "east": 6.3})
    assert len(pieces) == 3


def test_one_soil_in_two_places_is_two_pieces():
    horseshoe = box(-10, -10, 410, 410).difference(box(150, -20, 250, 500))
    pieces, areas_ha = cut(SQUARE, layer_of({"sides": horseshoe}))
    assert areas_ha == pytest.approx({"sides": 12, None: 4})
    assert len(pieces) == 3


def test_a_soil_with_an_island():
    ring = Polygon(box(-9, -9, 409, 409).exterior, [box(100, 100, 200, 200).exterior.coords])
    soils = {"ring": ring, "island": box(100, 100, 200, 200)}
    assert cut(SQUARE, layer_of(soils))[1] == pytest.approx({"ring": 15, "island": 1})


def test_layers_that_fit_ill_still_tile_the_field():
    # A hundred squares, each off by some 0.3 m: gaps and overlaps everywhere.
    rng = np.random.default_rng(7)
    soils = {
        f"{x},{y}": translate(box(x, y, x + 50, y + 50), *rng.normal(0, 0.3, 2))
        for x in range(-50, 450, 50)
        for y in range(-50, 450, 50)
    }
    _, areas_ha = cut(SQUARE, layer_of(soils))
    assert areas_ha[None] < 0.2
    assert areas_ha["200,200"] == pytest.approx(0.25, abs=0.01)


def test_a_hairline_along_the_edge_goes_to_the_soil_beside_it():
    # The soils end 5 cm short of the field's north edge: that is how files are written, not
    # ground without soil. Each half takes its own stretch of it.
    soils = {"west": box(0, 0, 200, 399.95), "east": box(200, 0, 400, 399.95)}
    pieces, areas_ha = cut(SQUARE, layer_of(soils))
    assert areas_ha == pytest.approx({"west": 8, "east": 8}, abs=1e-6)
    assert len(pieces) == 2
    # Half a metre is ground.
    soils = {"west": box(0, 0, 200, 399.5), "east": box(200, 0, 400, 399.5)}
    assert cut(SQUARE, layer_of(soils))[1][None] == pytest.approx(0.02)


def test_a_parallel_drawn_once_long_and_once_short():
    # In degrees both follow the parallel; taken to metres, the long edge is a chord of 1 cm.
    long = box(-93.505, 41.995, -93.495, 42.005)
    short = long.segmentize(0.001)
    field = field_of(shapely.transform(long, to_local, interleaved=False))
    layer = layer_of({"soil": shapely.transform(short, to_local, interleaved=False)})
    laid = overlay(field, [layer])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert_tiles(pieces, field)
    assert (len(pieces), uncovered_ha) == (1, 0.0)


def to_local(longitudes, latitudes):
    from pyproj import Transformer

    return Transformer.from_crs("EPSG:4326", LOCAL, always_xy=True).transform(longitudes, latitudes)


def test_a_soil_polygon_that_crosses_itself():
    touching = [
        (-9, -9),
        (100, -9),
        (100, 100),
        (200, 100),
        (100, -9),
        (450, -9),
        (450, 450),
        (-9, 450),
    ]
    pieces, areas_ha = cut(SQUARE, layer_of({"looped": Polygon(touching)}))
    assert sum(areas_ha.values()) == pytest.approx(16)
    assert any("outline-repaired" in codes(facts.notes) for facts in pieces["facts"])
    with pytest.raises(LayerError, match="A soil polygon of map crosses itself"):
        cut(SQUARE, layer_of({"tie": BOW_TIE}))


def test_a_bad_polygon_far_away_stops_nobody():
    layer = layer_of({"soil": box(-9, -9, 409, 409), "tie": translate(BOW_TIE, 9000, 0)})
    assert cut(SQUARE, layer)[1] == pytest.approx({"soil": 16})


def test_ground_without_marks_lies_nowhere():
    pieces, _ = cut(SQUARE, layer_of({"west": WEST, "east": EAST}))
    assert list(pieces["site"]) == [NOWHERE, NOWHERE]


@pytest.mark.parametrize("crs", [LOCAL, "EPSG:4326", "EPSG:26915"])
def test_marks_part_the_soils(crs):
    # WORKED: a strip of 100 m along the south, half on either soil.
    strip = marks_of({Marks(headland=True): box(-5, -5, 405, 100)}, crs=crs)
    pieces, areas_ha = cut(SQUARE, layer_of({"west": WEST, "east": EAST}), marks=[strip])
    assert areas_ha == pytest.approx({"west": 8, "east": 8}, abs=1e-4)
    assert by_site(pieces) == pytest.approx({Marks(headland=True): 4, NOWHERE: 12}, abs=1e-3)
    assert len(pieces) == 4


def test_for_each_value_the_first_that_says_something_wins():
    # WORKED: west "low" and south "high" share 200 x 100 m2; the slopes of the lie of the land
    # hold everywhere, but for the south-east, where the drawn zone knows better.
    low, high = Marks(part=drawn_zone("low")), Marks(part=drawn_zone("high"), slope_frac=0.05)
    drawn = marks_of({low: box(0, 0, 200, 400), high: box(0, 0, 400, 100)})
    wet = Marks(gathers_water=True, slope_frac=0.01)
    pieces, _ = cut(
        SQUARE, layer_of({"soil": box(-9, -9, 409, 409)}), marks=[drawn, marks_of({wet: SQUARE})]
    )
    assert by_site(pieces) == pytest.approx(
        {
            Marks(part=drawn_zone("low"), slope_frac=0.05, gathers_water=True): 2,
            Marks(part=drawn_zone("low"), slope_frac=0.01, gathers_water=True): 6,
            Marks(part=drawn_zone("high"), slope_frac=0.05, gathers_water=True): 2,
            wet: 6,
        }
    )


def test_level_ground_is_something_said():
    layers = [marks_of({Marks(slope_frac=slope): SQUARE}) for slope in (0.0, 0.05)]
    pieces, _ = cut(SQUARE, layer_of({"soil": box(-9, -9, 409, 409)}), marks=layers)
    assert list(pieces["site"]) == [Marks(slope_frac=0.0)]


def test_marks_that_say_the_same_are_one_piece():
    strips = [box(0, 0, 100, 400), box(100, 0, 200, 400)]
    marks = [marks_of({Marks(track=True): strip}) for strip in strips]
    pieces, _ = cut(SQUARE, layer_of({"soil": box(-9, -9, 409, 409)}), marks=marks)
    assert by_site(pieces) == pytest.approx({Marks(track=True): 8, NOWHERE: 8})
    assert len(pieces) == 2


def test_ground_without_soil_is_marked_as_well():
    strip = marks_of({Marks(headland=True): box(0, 0, 400, 100)})
    pieces, areas_ha = cut(SQUARE, layer_of({"west": WEST}), marks=[strip])
    assert areas_ha == pytest.approx({"west": 8, None: 8})
    assert by_site(pieces) == pytest.approx({Marks(headland=True): 4, NOWHERE: 12})


def test_a_mark_a_hairline_off_leaves_no_hairline():
    # The zone was drawn along the soils' border and along the field's edge, 5 cm off both.
    drawn = marks_of({Marks(part=drawn_zone("west")): box(0.05, 0.05, 200.05, 399.95)})
    pieces, areas_ha = cut(SQUARE, layer_of({"west": WEST, "east": EAST}), marks=[drawn])
    assert areas_ha == pytest.approx({"west": 8, "east": 8}, abs=0.01)
    assert by_site(pieces) == pytest.approx(
        {Marks(part=drawn_zone("west")): 8, NOWHERE: 8}, abs=0.01
    )
    assert len(pieces) == 2


@pytest.mark.parametrize("seed", range(6))
def test_random_marks_tile_the_field_and_hold_where_they_lie(seed):
    random = np.random.default_rng(seed)
    soils = {
        f"{x},{y}": translate(box(x, y, x + 100, y + 100), *random.normal(0, 0.3, 2))
        for x in range(-50, 450, 100)
        for y in range(-50, 450, 100)
    }
    spots = shapely.buffer(shapely.points(random.uniform(0, 400, (12, 2))), 60)
    marks = marks_of({Marks(part=drawn_zone(f"{n}")): spot for n, spot in enumerate(spots)})
    stripe = marks_of({Marks(track=True): box(-9, 150, 409, 180)})
    pieces, _ = cut(SQUARE, layer_of(soils), marks=[marks, stripe])
    points = shapely.point_on_surface(pieces.geometry.to_numpy())
    for point, site in zip(points, pieces["site"], strict=True):
        over = [drawn_zone(f"{n}") for n, spot in enumerate(spots) if spot.contains(point)]
        assert site == Marks(track=150 < point.y < 180, part=over[0] if over else None)


def test_boundary_and_soil_that_do_not_meet():
    # WORKED: 3,000 m from edge to edge.
    layer = layer_of({"far": box(3400, 0, 3800, 400)}, name="ZZ001")
    with pytest.raises(LayerError) as fault:
        overlay(field_of(SQUARE), [layer])
    for word in ["do not meet", "Square: longitude -93.50", "ZZ001: longitude", "3.0 km away"]:
        assert word in str(fault.value)


def test_a_layer_that_misses_beside_one_that_meets():
    far = layer_of({"far": box(3400, 0, 3800, 400)}, name="far")
    assert cut(SQUARE, far, layer_of({"soil": box(-9, -9, 409, 409)}))[1] == {"soil": 16}


def test_a_layer_without_a_polygon_near_the_field_is_said():
    empty = SoilLayer("survey", "soil survey", layer_of({"far": SQUARE}).ground.iloc[:0])
    with pytest.raises(LayerError, match="survey: has no soil near it"):
        overlay(field_of(SQUARE), [empty])
    assert cut(SQUARE, empty, layer_of({"soil": SQUARE}))[1] == {"soil": 16}


def says(name, textures):
    """A layer that says a texture class of each shape, or is named what it is not."""
    known = [
        SoilFacts(texture=texture) if texture in TEXTURES else SoilFacts(ground=texture)
        for texture in textures.values()
    ]
    ground = gpd.GeoDataFrame({"facts": known}, geometry=list(textures), crs=LOCAL)
    return SoilLayer(name, "polygons", ground)


def test_layers_that_disagree_are_told_by_area():
    # WORKED: of 16 ha the samples cover the northern half; on 8 ha x 1/2 the classes differ in
    # the west, in the east both say loam. The third layer says clay of the south-west 4 ha,
    # where only the survey lies under it.
    survey = says("survey", {WEST: "clay loam", EAST: "loam"})
    samples = says(
        "samples", {box(0, 200, 200, 400): "sandy loam", box(200, 200, 400, 400): "loam"}
    )
    drawn = says("drawn", {box(0, 0, 200, 200): "clay"})
    pieces = overlay(field_of(SQUARE), [survey, samples, drawn])
    assert pieces.disagreements == (
        Disagreement("survey", "clay loam", "drawn", "clay", pytest.approx(4)),
        Disagreement("survey", "clay loam", "samples", "sandy loam", pytest.approx(4)),
    )
    assert sentences(pieces.notes) == (
        "4.00 ha: survey says clay loam, drawn says clay; the first is planned.",
        "4.00 ha: survey says clay loam, samples says sandy loam; the first is planned.",
    )


def test_who_says_nothing_does_not_disagree():
    # WORKED: the first layer has no data in the west; there the second stands against the third.
    survey = says("survey", {WEST: "no data", EAST: "water"})
    pieces = overlay(
        field_of(SQUARE), [survey, says("a", {SQUARE: "loam"}), says("b", {SQUARE: "clay"})]
    )
    assert pieces.disagreements == (
        Disagreement("a", "loam", "b", "clay", pytest.approx(8)),
        Disagreement("survey", "water", "a", "loam", pytest.approx(8)),
        Disagreement("survey", "water", "b", "clay", pytest.approx(8)),
    )


def test_two_polygons_of_one_layer_do_not_disagree():
    both = says("survey", {box(0, 0, 400, 250): "loam", box(0, 150, 400, 400): "clay"})
    assert overlay(field_of(SQUARE), [both]).disagreements == ()


def test_hairlines_that_were_closed_are_counted():
    # WORKED: 0.05 m x 400 m along the north edge, parted between the two halves: 20 m2.
    soils = {"west": box(0, 0, 200, 399.95), "east": box(200, 0, 400, 399.95)}
    assert sentences(overlay(field_of(SQUARE), [layer_of(soils)]).notes) == (
        "2 strips narrower than 20 cm between outlines went to the ground beside: 20 m² together.",
    )
    assert overlay(field_of(SQUARE), [layer_of({"soil": SQUARE})]).notes == ()


def test_a_survey_from_its_files_to_pieces(tmp_path):
    polygons = {box(-50, -50, 200, 450): "1", box(200, -50, 450, 300): "99"}
    layer = read_layer(write_survey(tmp_path / "survey", polygons=polygons))
    field = field_of(SQUARE)
    laid = overlay(field, [layer])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert_tiles(pieces, field)
    assert uncovered_ha == pytest.approx(2, abs=1e-4)  # WORKED: 200 m x 100 m, north-east
    grounds = [(facts.ground, facts.named and facts.named[:11]) for facts in pieces["facts"]]
    assert sorted(grounds, key=str) == [
        ("no data", "map unit 99"),
        ("no data", None),
        ("soil", '7A Alpha "w'),
    ]
