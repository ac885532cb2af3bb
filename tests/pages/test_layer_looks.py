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

KINDS = [*TEXTURES, *(it for it in GROUNDS if it != "soil"), "no texture data"]


def every(about="soil", kinds=KINDS):
    return View("all", about, tuple(Patch(kind, kind, FIELD.shape, 6.0) for kind in kinds))


def luminance(colour):
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [it / 12.92 if it <= 0.04045 else ((it + 0.055) / 1.055) ** 2.4 for it in parts]
    return sum(weight * it for weight, it in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_every_class_has_a_look_of_its_own_and_none_of_a_margin():
    looks = shades(every())
    told = {(it.fill, it.hatch) for kind, it in looks.items() if kind not in ("no data",)}
    assert len(told) == len(KINDS) - 1  # ground without data looks as soil without a texture
    assert not {it.fill for it in looks.values()} & {fill for fill, _ in STEPS}
    assert {it.hatch for it in looks.values()} <= {*HATCHES, "plain"}


def test_finer_soil_is_darker_and_hatches_can_be_seen_on_all_of_it():
    looks = shades(every())
    light = [luminance(looks[texture].fill) for texture in TEXTURES]
    assert light == sorted(light, reverse=True)
    steps = sorted({*light}, reverse=True)
    assert len(steps) == 5
    # Lightness L* of CIE 1976. That 8 can be told apart in grey is judged.
    lightness = [116 * it ** (1 / 3) - 16 for it in steps]
    assert min(one - other for one, other in itertools.pairwise(lightness)) >= 8
    # WCAG 2.2, 1.4.11: 3 to 1 for what is needed to understand a drawing
    assert min((it + 0.05) / (luminance(INK) + 0.05) for it in light) >= 3


def test_kinds_without_an_order_look_different_as_long_as_there_are_looks():
    looks = shades(every("mark", [f"part {n}" for n in range(36)]))
    assert len({(it.fill, it.hatch) for it in looks.values()}) == 36


def test_the_legend_names_each_kind_with_its_acres():
    it = view(made(soil("map", (WEST, "loam"), (EAST, "clay"))), "soil: map")
    told = layer_legend(it, shades(it))
    # WORKED: 3 ha / 0.40468564224 = 7.4 acres each
    assert re.findall("<span>(.*?)</span>", told) == ["loam, 7.4 acres", "clay, 7.4 acres"]
    pictures = re.findall(r'src="data:image/svg\+xml;base64,(.*?)"', told)
    for picture, look in zip(pictures, shades(it).values(), strict=True):
        assert f'fill="{look.fill}"' in base64.b64decode(picture).decode()


@pytest.mark.parametrize("name", [HOSTILE, "a & b"])
def test_names_are_only_letters(name):
    both = made(soil(name, (WEST, "loam")), soil("other", (WEST, "clay")))
    it = view(both, SOURCES)
    assert [*it.kinds_ha()] == [name, NOTHING]
    told = layer_legend(it, shades(it))
    assert name not in told
    assert "<script" not in told
