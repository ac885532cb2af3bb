import re

import pytest
from streamlit_folium import generate_leaflet_string

from tests.export.plans import small_plan
from zoneplan.export.picture import map_classes
from zoneplan.pages.map import zone_map


def layers(drawn, kind):
    return [it for it in drawn.zones._children.values() if it._name == kind]


def ids(layer):
    return [it["properties"]["id"] for it in layer.data["features"]]


@pytest.mark.parametrize("wetness", ["dry", "moist", "wet"])
def test_zones_are_shaded_and_hatched_as_on_the_printed_map(wetness):
    plan = small_plan()
    fills, hatches, *_ = layers(zone_map(plan, wetness, 1), "GeoJson")
    assert ids(fills) == ids(hatches) == [1, 2, 3]
    for kind in map_classes(plan, wetness):
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


def test_nothing_is_fetched():
    drawn = zone_map(small_plan(), "moist", 1)
    links = [link for _, link in drawn.ground.default_js + drawn.ground.default_css]
    assert [link[:5] for link in links] == ["data:"] * 3
    drawn.zones.add_to(drawn.ground)
    drawn.ground.get_root().render()
    script = generate_leaflet_string(drawn.ground)
    assert not re.search(r"https?:|//[a-z]", script)
