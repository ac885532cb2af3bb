import base64
import itertools
import json
import re

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from tests.export.plans import FIELD, small_plan
from tests.pages.test_layer_views import EAST, WEST, made, soil
from tests.pages.uploads import HOSTILE
from zoneplan.export.maps import map_classes
from zoneplan.export.picture import HATCHES, INK, STEPS, hatch_patterns
from zoneplan.pages.layer_views import NOTHING, SOURCES, Patch, View, view
from zoneplan.pages.map import (
    SERVED,
    ground_look,
    ground_shapes,
    layer_legend,
    shades,
    zone_look,
    zone_shapes,
)
from zoneplan.soil.texture import GROUNDS, TEXTURES, SoilFacts


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


KINDS = [*TEXTURES, *(ground for ground in GROUNDS if ground != "soil"), "no texture data"]


def every(about="soil", kinds=KINDS):
    return View("all", about, tuple(Patch(kind, kind, FIELD.shape, 6.0) for kind in kinds))


def luminance(colour):
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return sum(
        weight * value for weight, value in zip((0.2126, 0.7152, 0.0722), linear, strict=True)
    )


def test_every_class_has_a_look_of_its_own_and_none_of_a_margin():
    looks = shades(every())
    pairs = {(look.fill, look.hatch) for kind, look in looks.items() if kind not in ("no data",)}
    assert len(pairs) == len(KINDS) - 1  # ground without data looks as soil without a texture
    assert not {look.fill for look in looks.values()} & {fill for fill, _ in STEPS}
    assert {look.hatch for look in looks.values()} <= {*HATCHES, "plain"}


def test_finer_soil_is_darker_and_hatches_can_be_seen_on_all_of_it():
    looks = shades(every())
    light = [luminance(looks[texture].fill) for texture in TEXTURES]
    assert light == sorted(light, reverse=True)
    steps = sorted({*light}, reverse=True)
    assert len(steps) == 5
    # Lightness L* of CIE 1976. That 8 can be told apart in grey is judged.
    lightness = [116 * step ** (1 / 3) - 16 for step in steps]
    assert min(one - other for one, other in itertools.pairwise(lightness)) >= 8
    # WCAG 2.2, 1.4.11: 3 to 1 for what is needed to understand a drawing
    assert min((value + 0.05) / (luminance(INK) + 0.05) for value in light) >= 3


def test_kinds_without_an_order_look_different_as_long_as_there_are_looks():
    looks = shades(every("mark", [f"part {n}" for n in range(36)]))
    assert len({(look.fill, look.hatch) for look in looks.values()}) == 36


def test_the_legend_names_each_kind_with_its_acres():
    layer = view(made(soil("map", (WEST, "loam"), (EAST, "clay"))), "soil: map")
    legend = layer_legend(layer, shades(layer))
    # WORKED: 3 ha / 0.40468564224 = 7.4 acres each
    assert re.findall("<span>(.*?)</span>", legend) == ["loam, 7.4 acres", "clay, 7.4 acres"]
    pictures = re.findall(r'src="data:image/svg\+xml;base64,(.*?)"', legend)
    for picture, look in zip(pictures, shades(layer).values(), strict=True):
        assert f'fill="{look.fill}"' in base64.b64decode(picture).decode()


@pytest.mark.parametrize("name", [HOSTILE, "a & b"])
def test_names_are_only_letters(name):
    both = made(soil(name, (WEST, "loam")), soil("other", (WEST, "clay")))
    layer = view(both, SOURCES)
    assert [*layer.kinds_ha()] == [name, NOTHING]
    legend = layer_legend(layer, shades(layer))
    assert name not in legend
    assert "<script" not in legend
