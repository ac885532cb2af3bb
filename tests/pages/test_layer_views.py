from dataclasses import replace

import geopandas as gpd
import pytest
import shapely
from shapely.geometry import box

from tests.export.plans import FIELD, small_plan
from tests.marking import drawn_zone
from zoneplan.field.compose import Disagreement
from zoneplan.field.shapes import MarkLayer, Marks, SoilLayer
from zoneplan.pages.layer_views import (
    AGREED,
    DISAGREEMENTS,
    MOST_CORNERS,
    NOTHING,
    SOURCES,
    planned_soil,
    titles,
    view,
)
from zoneplan.request import Request
from zoneplan.run import Run, SourceSummary
from zoneplan.soil.texture import SoilFacts

# The field is 300 m x 200 m about the origin, so that every hectare below can be counted.
WHOLE = box(-200, -150, 200, 150)
WEST, EAST = box(-200, -150, 0, 150), box(0, -150, 200, 150)
NORTH = box(-200, 0, 200, 150)


def soil(name, *ground):
    """A layer of (shape, what it is); a word that is no kind of ground is a texture."""
    shapes, kinds = zip(*ground, strict=True)
    facts = [
        kind
        if isinstance(kind, SoilFacts)
        else SoilFacts(ground=kind)
        if kind in ("water", "no data")
        else SoilFacts(texture=kind)
        for kind in kinds
    ]
    frame = gpd.GeoDataFrame({"facts": facts}, geometry=list(shapes), crs=FIELD.crs)
    return SoilLayer(name, "polygons", frame.to_crs("EPSG:4326"))


def mark(name, *ground):
    shapes, sites = zip(*ground, strict=True)
    return MarkLayer(
        name, gpd.GeoDataFrame({"site": list(sites)}, geometry=list(shapes), crs=FIELD.crs)
    )


def made(*soils, marks=(), **plan):
    return Run(Request(), replace(small_plan(), **plan), SourceSummary("WGS 84", soils, marks))


def hectares(seen):
    return {kind: pytest.approx(area_ha, abs=0.005) for kind, area_ha in seen.kinds_ha().items()}


def test_ground_of_one_class_is_joined_and_told_by_its_own_name():
    clarion = SoilFacts(texture="loam", named="L138B Clarion loam")
    layer = soil("survey", (WEST, clarion), (box(0, -150, 50, 150), "loam"), (EAST, "clay"))
    seen = view(made(layer), "soil: survey")
    # WORKED: 200 m high; loam 150 m + 50 m wide, clay the 100 m that are left
    assert hectares(seen) == {"loam": 4.0, "clay": 2.0}
    assert [patch.name for patch in seen.patches] == ["L138B Clarion loam: loam", "loam", "clay"]
    shapes = [patch.shape for patch in seen.patches]
    assert shapely.union_all(shapes).symmetric_difference(FIELD.shape).area < 1


def test_kinds_stand_from_coarse_to_fine_and_then_what_is_no_soil():
    strips = [box(-150 + 60 * n, -100, -90 + 60 * n, 100) for n in range(5)]
    kinds = ["water", "clay", "no data", "sand", "silt loam"]
    seen = view(made(soil("map", *zip(strips, kinds, strict=True))), "soil: map")
    assert [*seen.kinds_ha()] == ["sand", "silt loam", "clay", "no data", "water"]


def test_of_two_polygons_that_overlap_in_a_layer_the_first_counts():
    seen = view(made(soil("map", (WEST, "loam"), (WHOLE, "clay"), (EAST, "sand"))), "soil: map")
    assert hectares(seen) == {"loam": 3.0, "clay": 3.0}  # WORKED: half of 6 ha each


def test_where_soil_comes_from_and_what_is_planned_go_by_the_order_of_the_layers():
    first, second = soil("samples", (WEST, "loam")), soil("survey", (NORTH, "clay"))
    both = made(first, second)
    assert SOURCES in titles(both)
    # WORKED: 150 x 200 m; the north-east 150 x 100 m; the south-east
    assert hectares(view(both, SOURCES)) == {"samples": 3.0, "survey": 1.5, NOTHING: 1.5}
    assert hectares(planned_soil(both)) == {"loam": 3.0, "clay": 1.5}
    assert hectares(planned_soil(made(second, first))) == {"loam": 1.5, "clay": 3.0}


def test_ground_of_which_the_first_layer_knows_nothing_is_the_next_one_s():
    # WORKED: the first knows the west, 3 of 6 ha, and the second says the northern half.
    first = soil("survey", (WEST, "loam"), (EAST, "no data"))
    both = made(first, soil("raster", (NORTH, "clay")))
    assert hectares(view(both, SOURCES)) == {"survey": 4.5, "raster": 1.5}
    assert hectares(planned_soil(both)) == {"loam": 3.0, "clay": 1.5, "no data": 1.5}


def test_one_layer_over_all_of_the_field_needs_no_word_on_where_soil_comes_from():
    assert titles(made(soil("map", (WHOLE, "loam")), uncovered_ha=0.0)) == ["soil: map"]
    assert SOURCES in titles(made(soil("map", (WEST, "loam")), uncovered_ha=3.0))


def test_disagreements_are_shown_where_they_are_told():
    layers = (
        soil("samples", (WEST, "loam"), (EAST, "no data")),
        soil("survey", (NORTH, "clay"), (WHOLE, "loam")),
        soil("guess", (WHOLE, "clay")),
    )
    # As plan_field would list them; the areas are WORKED: samples says loam on 3 ha, survey on
    # the south-east 1.5 ha that only it speaks of before the guess.
    disagreements = (
        Disagreement("samples", "loam", "guess", "clay", 3.0),
        Disagreement("samples", "loam", "survey", "clay", 1.5),
        Disagreement("survey", "loam", "guess", "clay", 1.5),
    )
    ground = made(*layers, disagreements=disagreements)
    assert DISAGREEMENTS in titles(ground)
    assert hectares(view(ground, DISAGREEMENTS)) == {
        "samples says loam, guess says clay": 3.0,
        "samples says loam, survey says clay": 1.5,
        "survey says loam, guess says clay": 1.5,
        AGREED: 1.5,
    }
    assert DISAGREEMENTS not in titles(made(*layers))


def test_marks_are_layers_too():
    marks = (
        mark("headland", (box(-150, 80, 150, 100), Marks(headland=True))),
        mark("wheels", (box(-150, 0, 150, 10), Marks(track=True))),
        mark(
            "mine", (WEST, Marks(part=drawn_zone("Knoll"))), (EAST, Marks(part=drawn_zone("Flat")))
        ),
        mark(
            "heights",
            (WEST, Marks(slope_frac=0.01, gathers_water=True)),
            (EAST, Marks(slope_frac=0.08, steep=True)),
        ),
    )
    ground = made(soil("map", (WHOLE, "loam")), marks=marks, uncovered_ha=0.0)
    _, *names = titles(ground)
    assert names == [
        "headland",
        "wheel tracks: wheels",
        "zones or edges: mine",
        "lie of the land: heights",
    ]
    # WORKED: 300 x 20 m; 300 x 10 m; halves
    shown = [hectares(view(ground, title)) for title in names]
    assert shown == [
        {"headland": 0.6},
        {"wheel track": 0.3},
        {"Knoll": 3.0, "Flat": 3.0},
        {"water gathers": 3.0, "steep: 6 % or more": 3.0},
    ]


def test_layers_of_one_name_are_told_apart():
    ground = made(soil("map", (WEST, "loam")), soil("map", (EAST, "clay")), uncovered_ha=0.0)
    assert titles(ground)[:2] == ["soil: map", "soil: map (2)"]
    assert hectares(view(ground, "soil: map (2)")) == {"clay": 3.0}


def test_a_layer_of_thousands_of_pieces_stays_light_and_keeps_its_hectares():
    squares = [
        (box(5 * x, 5 * y, 5 * x + 5, 5 * y + 5), "loam" if (x + y) % 2 else "clay")
        for x in range(-30, 30)
        for y in range(-20, 20)
    ]
    seen = view(made(soil("cells", *squares)), "soil: cells")
    assert sum(len(shapely.get_coordinates(patch.shape)) for patch in seen.patches) <= MOST_CORNERS
    assert hectares(seen) == {"loam": 3.0, "clay": 3.0}  # WORKED: 1200 squares of 25 m² each


def test_a_crossed_polygon_is_shown_all_the_same():
    crossed = shapely.Polygon([(-150, -100), (150, 100), (150, -100), (-150, 100)])
    seen = view(made(soil("map", (crossed, "loam"))), "soil: map")
    assert hectares(seen) == {"loam": 3.0}  # WORKED: two triangles of 200 m x 150 m / 2
