import re

import pytest
from shapely.geometry import box
from streamlit_folium import generate_leaflet_string

from tests.export.plans import small_plan
from tests.pages.test_layer_views import EAST, WEST, made, soil
from tests.pages.uploads import HOSTILE
from zoneplan.export.picture import map_classes
from zoneplan.pages.layer_views import view
from zoneplan.pages.layers import shades
from zoneplan.pages.map import layer_map, zone_map
from zoneplan.pages.offline_map import WEB_TILES
from zoneplan.soil.texture import SoilFacts


def layers(drawn, kind):
    return [it for it in drawn.laid._children.values() if it._name == kind]


def ids(layer):
    return [it["properties"]["id"] for it in layer.data["features"]]


@pytest.mark.parametrize("moisture", ["dry", "moist", "wet"])
def test_zones_are_shaded_and_hatched_as_on_the_printed_map(moisture):
    plan = small_plan()
    fills, hatches, *_ = layers(zone_map(plan, moisture, 1), "GeoJson")
    assert ids(fills) == ids(hatches) == [1, 2, 3]
    for kind in map_classes(plan, moisture):
        for feature in fills.data["features"]:
            if feature["properties"]["id"] in kind.zones:
                assert fills.style_function(feature)["fillColor"] == kind.fill
                drawn_hatch = hatches.style_function(feature)
                assert drawn_hatch["fillColor"] == f"url(#{kind.hatch})"
                assert bool(drawn_hatch["fillOpacity"]) == (kind.hatch != "plain")


def test_only_the_zones_below_take_the_click():
    fills, *above = layers(zone_map(small_plan(), "moist", 1), "GeoJson")
    assert "interactive" not in fills.options
    assert [it.options["interactive"] for it in above] == [False] * len(above)


def test_the_outline_and_the_chosen_zone_are_drawn_last():
    *_, outline, casing, edge = layers(zone_map(small_plan(), "moist", 2), "GeoJson")
    assert ids(casing) == ids(edge) == [2]
    (field,) = outline.data["features"]
    longitudes, latitudes = zip(*field["geometry"]["coordinates"][0], strict=True)
    # WORKED: 300 m x 200 m about 42.05 N: a degree of latitude is 111.09 km there (between
    # 110.57 at the equator and 111.69 at a pole), one of longitude cos 42.05 x 111.5 = 82.8 km.
    assert max(latitudes) - min(latitudes) == pytest.approx(0.2 / 111.09, rel=0.002)
    assert max(longitudes) - min(longitudes) == pytest.approx(0.3 / 82.8, rel=0.004)


def test_every_zone_has_its_number_and_those_without_a_target_say_why():
    told = [it.icon.options["html"] for it in layers(zone_map(small_plan(), "wet", 1), "Marker")]
    assert told == ["<b>1</b>", "<b>2</b><i>wait</i>", "<b>3</b><i>no data</i>"]


def script(drawn):
    """What the browser is given to run, but for Leaflet itself."""
    drawn.laid.add_to(drawn.ground)
    drawn.ground.get_root().render()
    return generate_leaflet_string(drawn.ground)


def shown(it, title, chosen=1, **options):
    layer = view(it, title)
    return layer_map(layer, it.plan, shades(layer), chosen, **options)


TWO = made(soil("map", (WEST, "loam"), (EAST, "clay")))


@pytest.mark.parametrize("drawn", [zone_map(small_plan(), "moist", 1), shown(TWO, "soil: map")])
def test_nothing_is_fetched(drawn):
    links = [link for _, link in drawn.ground.default_js + drawn.ground.default_css]
    assert [link[:5] for link in links] == ["data:"] * 3
    assert not re.search(r"https?:|//[a-z]", script(drawn))


@pytest.mark.parametrize("web", [True, False])
def test_pictures_from_the_internet_come_only_where_they_are_asked_for(web):
    for drawn in (zone_map(small_plan(), "moist", 1, web=web), shown(TWO, "soil: map", web=web)):
        fills, *_ = layers(drawn, "GeoJson")
        dense = fills.style_function(fills.data["features"][0])["fillOpacity"]
        asked = script(drawn)
        assert (WEB_TILES in asked) == web
        assert ("OpenStreetMap" in asked) == web
        assert drawn.ground.options["attribution_control"] == web
        assert (dense < 1) == web  # or they would not be seen


def test_a_layer_is_shaded_by_its_kinds_and_told_below_the_pointer():
    drawn = shown(TWO, "soil: map", chosen=2)
    fills, hatches, zones, outline, casing, edge = layers(drawn, "GeoJson")
    assert [it["properties"] for it in fills.data["features"]] == [
        {"kind": "loam", "told": "loam, 7.4 acres"},  # WORKED: 3 ha / 0.40468564224
        {"kind": "clay", "told": "clay, 7.4 acres"},
    ]
    kinds = shades(view(TWO, "soil: map"))
    for layer, part in ((fills, "fill"), (hatches, "hatch")):
        for feature in layer.data["features"]:
            kind = kinds[feature["properties"]["kind"]]
            assert getattr(kind, part) in layer.style_function(feature)["fillColor"]
    (edges,) = zones.data["features"]
    assert edges["geometry"]["type"] == "MultiLineString"
    assert ids(casing) == ids(edge) == [2]
    assert outline.style_function(None)["weight"] == 3
    assert "interactive" not in fills.options
    for above in (hatches, zones, outline, casing, edge):
        assert above.options["interactive"] is False
    numbers = [it.icon.options["html"] for it in layers(drawn, "Marker")]
    assert numbers == ["<b>1</b>", "<b>2</b>", "<b>3</b>"]


def test_the_ground_stays_when_another_layer_is_shown():
    first, second = zone_map(small_plan(), "moist", 1).ground, shown(TWO, "soil: map").ground
    for drawn in (first, second):
        drawn.get_root().render()
    assert generate_leaflet_string(first) == generate_leaflet_string(second)


def test_names_of_ground_do_nothing():
    named = SoilFacts(texture="loam", named=HOSTILE)
    drawn = shown(made(soil("map", (WEST, named))), "soil: map")
    (feature,) = layers(drawn, "GeoJson")[0].data["features"]
    assert "<" not in feature["properties"]["told"]
    assert "<script" not in script(drawn)


def test_a_layer_of_thousands_of_pieces_stays_light():
    squares = [
        (box(15 * x, 10 * y, 15 * x + 15, 10 * y + 10), ("loam", "clay", "sand")[(x * y) % 3])
        for x in range(-10, 10)
        for y in range(-10, 10)
    ]
    drawn = shown(made(soil("cells", *squares)), "soil: cells")
    assert len(script(drawn)) < 300_000


def test_the_head_of_the_page_is_not_burdened_with_what_the_browser_gets_anyway():
    drawn = zone_map(small_plan(), "moist", 1)
    drawn.ground.get_root().render()
    assert "data:" not in drawn.ground.get_root().header.render()
    assert len(drawn.ground.default_js) == 1  # and it is there for the next time
