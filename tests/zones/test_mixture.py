"""Adding soils one by one, against blending them all at once."""

import dataclasses

import numpy as np
import pytest

from tests.zones.ground import GATHERS, HEADLAND, WATER, soil
from zoneplan.field.shapes import Site
from zoneplan.soil.blend import blend
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.marks import blend_sites
from zoneplan.zones.mixture import add, mixture_of


def added(known, areas_m2, blend_two):
    mixture = mixture_of(known[0], areas_m2[0])
    for one, area_m2 in zip(known[1:], areas_m2[1:], strict=True):
        add(mixture, mixture_of(one, area_m2), blend_two)
    return mixture


@pytest.mark.parametrize("seed", range(5))
def test_soils_added_one_by_one_blend_as_all_at_once(seed):
    random = np.random.default_rng(seed)
    named = [dataclasses.replace(soil(n), named="one name") for n in random.uniform(100, 400, 20)]
    gaps = [dataclasses.replace(facts, organic_pct=None) for facts in named[:7]]
    by_class = SoilFacts(texture="clay", rated_share=1.0, named="a class")
    soils = [*named, *gaps, by_class, WATER]
    areas_m2 = random.uniform(1, 9, len(soils)).tolist()
    mixture = added(soils, areas_m2, blend)
    assert len(mixture) == 4
    one_by_one, at_once = (
        blend(list(mixture.values())),
        blend(list(zip(soils, areas_m2, strict=True))),
    )
    for field in dataclasses.fields(SoilFacts):
        here, there = (getattr(facts, field.name) for facts in (one_by_one, at_once))
        assert here == (pytest.approx(there, rel=1e-9) if isinstance(there, float) else there)


def test_sites_added_one_by_one_blend_as_all_at_once():
    sites = [*[Site(slope_frac=n / 100) for n in range(9)], HEADLAND, GATHERS]
    areas_m2 = [float(n + 1) for n in range(len(sites))]
    mixture = added(sites, areas_m2, lambda parts: blend_sites(dict(parts)))
    assert len(mixture) == 3
    at_once = blend_sites(dict(zip(sites, areas_m2, strict=True)))
    # WORKED: slopes of n % on n + 1 m2: (1x2 + 2x3 + ... + 8x9) / 45 = 240 / 45 = 5.33 %.
    assert at_once.slope_frac == pytest.approx(2.4 / 45)
    assert blend_sites(dict(mixture.values())) == dataclasses.replace(
        at_once, slope_frac=pytest.approx(2.4 / 45)
    )


def test_equal_soils_are_given_back_as_they_are():
    assert list(added([WATER] * 3, [1.0] * 3, blend).values()) == [(WATER, 3.0)]
