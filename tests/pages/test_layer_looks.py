import base64
import itertools
import re

import pytest

from tests.export.plans import FIELD
from tests.pages.test_layer_views import EAST, WEST, made, soil
from tests.pages.uploads import HOSTILE
from zoneplan.export.picture import HATCHES, INK, STEPS
from zoneplan.pages.layer_looks import layer_legend, shades
from zoneplan.pages.layer_views import NOTHING, SOURCES, Patch, View, view
from zoneplan.soil.texture import GROUNDS, TEXTURES

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
