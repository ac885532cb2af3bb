import json

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from tests.export.plans import small_plan
from tests.pages.test_layer_views import EAST, WEST, made, soil
from tests.pages.uploads import HOSTILE
from zoneplan.export.maps import map_classes
from zoneplan.export.picture import hatch_patterns
from zoneplan.pages.layer_looks import shades
from zoneplan.pages.layer_views import view
from zoneplan.pages.map import SERVED, ground_look, ground_shapes, zone_look, zone_shapes
from zoneplan.soil.texture import SoilFacts


@pytest.mark.parametrize("moisture", ["dry", "moist", "wet"])
def test_zones_are_shaded_and_hatched_as_on_the_printed_map(moisture):
    plan = small_plan()
    looks = zone_look(plan, moisture).looks
    assert sorted(looks) == [1, 2, 3]
    for kind in map_classes(plan, moisture):
        assert {looks[zone] for zone in kind.zones} == {(kind.fill, kind.hatch)}


def test_every_hatch_that_a_zone_may_have_is_sent():
    patterns = zone_shapes(small_plan()).content["hatches"]
    assert patterns == hatch_patterns(3.0)
    for moisture in ("dry", "moist", "wet"):
        for _, hatch in zone_look(small_plan(), moisture).looks.values():
            assert hatch == "plain" or f'id="{hatch}"' in patterns


def corners(line):
    """As the browser reads them."""
    return np.cumsum(np.array(line).reshape(-1, 2), axis=0) / 1e7


def test_the_field_and_its_zones_lie_where_they_are():
    plan = small_plan()
    sent = zone_shapes(plan).content
    ((ring,),) = sent["outline"]
    east, north = corners(ring).T
    # WORKED: 300 m x 200 m about 42.05 N: a degree of latitude is 111.09 km there (between
    # 110.57 at the equator and 111.69 at a pole), one of longitude cos 42.05 x 111.5 = 82.8 km.
    assert np.ptp(north) == pytest.approx(0.2 / 111.09, rel=0.002)
    assert np.ptp(east) == pytest.approx(0.3 / 82.8, rel=0.004)
    assert sent["bounds"] == pytest.approx((min(east), min(north), max(east), max(north)))
    assert [zone["id"] for zone in sent["zones"]] == [1, 2, 3]
    shapes = [
        shapely.union_all([shapely.Polygon(corners(rings[0])) for rings in zone["parts"]])
        for zone in sent["zones"]
    ]
    for zone, shape in zip(sent["zones"], shapes, strict=True):
        assert shape.contains(shapely.Point(zone["at"]))
    edges = shapely.union_all([shapely.LineString(corners(line)) for line in sent["edges"]])
    around = shapely.union_all(shapely.boundary(shapes))
    assert edges.length == pytest.approx(around.length)


def test_zones_without_a_target_say_why_and_the_others_what_it_is():
    look = zone_look(small_plan(), "wet")
    assert look.words == {2: "wait", 3: "no data"}
    assert look.names[1].startswith("Zone 1, ")
    assert look.names[1].endswith(" lb")


TWO = made(soil("map", (WEST, "loam"), (EAST, "clay")))


def test_a_layer_is_shaded_by_its_kinds_and_told_below_the_pointer():
    layer = view(TWO, "soil: map")
    patches = ground_shapes(layer, TWO.plan.field.crs).content["patches"]
    assert [(patch["kind"], patch["name"]) for patch in patches] == [
        ("loam", "loam, 7.4 acres"),  # WORKED: 3 ha / 0.40468564224
        ("clay", "clay, 7.4 acres"),
    ]
    kinds = shades(layer)
    looks = ground_look(layer, TWO.plan, kinds).looks
    assert looks == {name: (kind.fill, kind.hatch) for name, kind in kinds.items()}


def test_the_same_shapes_have_one_digest_and_others_another():
    plan = small_plan()
    assert zone_shapes(plan) == zone_shapes(plan)
    layer = ground_shapes(view(TWO, "soil: map"), TWO.plan.field.crs)
    assert len({zone_shapes(plan).digest, zone_shapes(TWO.plan).digest, layer.digest}) == 2


def test_names_of_ground_come_as_they_are_and_the_browser_takes_them_as_text():
    named = SoilFacts(texture="loam", named=HOSTILE)
    run = made(soil("map", (WEST, named)))
    (patch,) = ground_shapes(view(run, "soil: map"), run.plan.field.crs).content["patches"]
    assert HOSTILE in patch["name"]  # what it does in a browser: test_browser.py
    script = (SERVED / "map.js").read_text()
    assert "innerHTML" not in script


def test_a_layer_of_thousands_of_pieces_stays_light():
    squares = [
        (box(15 * x, 10 * y, 15 * x + 15, 10 * y + 10), ("loam", "clay", "sand")[(x * y) % 3])
        for x in range(-10, 10)
        for y in range(-10, 10)
    ]
    run = made(soil("cells", *squares))
    sent = ground_shapes(view(run, "soil: cells"), run.plan.field.crs)
    assert len(json.dumps(sent.content)) < 80_000


def test_nothing_of_the_map_names_another_place():
    own = [path for path in SERVED.iterdir() if path.is_file()]
    assert {path.name for path in own} == {"index.html", "map.js", "map.css"}
    for path in own:
        text = path.read_text().replace("http://www.w3.org/2000/svg", "")
        assert "http" not in text
        assert "//" not in text.replace("// ", "").replace("\n//", "")
