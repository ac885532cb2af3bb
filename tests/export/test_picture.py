"""The zone map: every zone once, its number where it belongs, readable without colour."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import pytest
from shapely.geometry import MultiPolygon, Point, Polygon, box

from tests.export.plans import FIELD, LIGHT, LOAM, NO_DATA, settled, small_plan
from zoneplan.export.maps import map_classes, zone_map_svg
from zoneplan.export.picture import HATCHES, STEPS, nice_length, swatch_svg
from zoneplan.plan.model import Plan, ZoneSetting
from zoneplan.units import N_PER_LBF
from zoneplan.zones.zone import Zone

SVG = "{http://www.w3.org/2000/svg}"


def strips(pounds: list[float]) -> Plan:
    """The small field cut into strips from west to east, one margin target each."""
    width = 300 / len(pounds)
    settings = []
    for i, target in enumerate(pounds):
        shape = box(-150 + i * width, -100, -150 + (i + 1) * width, 100)
        zone = Zone(i + 1, shape, 6.0 / len(pounds), LOAM, ((f"Strip {i + 1}", 1.0),))
        moisture = settled(target * N_PER_LBF - 44.0, 800.0, LIGHT)  # `settled` adds the 44
        settings.append(ZoneSetting(zone, dict.fromkeys(("dry", "moist", "wet"), moisture)))
    return replace(small_plan(), settings=tuple(settings), uncovered_ha=0.0)


def drawing(plan: Plan, moisture: str = "moist") -> ET.Element:
    return ET.fromstring(zone_map_svg(plan, moisture))


def discs(svg: ET.Element) -> dict[int, Polygon]:
    """The white disc of each label, as a round piece of ground, by zone."""
    groups = svg.iterfind(f"{SVG}g[@class='label']")
    return {int(group.attrib["data-zone"]): _disc(group) for group in groups}


def _disc(group: ET.Element) -> Polygon:
    disc = group.find(f"{SVG}circle")
    assert disc is not None
    x, y, radius = (float(disc.attrib[name]) for name in ("cx", "cy", "r"))
    return Point(x, -y).buffer(radius)


def words(svg: ET.Element) -> list[str | None]:
    return [text.text for text in svg.iter(f"{SVG}text")]


@pytest.mark.parametrize("moisture", ["dry", "moist", "wet"])
def test_every_zone_has_one_shape_and_one_number(moisture: str) -> None:
    for plan in (strips([100]), small_plan(), strips([60 + 10 * i for i in range(12)])):
        svg = drawing(plan, moisture)
        numbers = [setting.zone.id for setting in plan.settings]
        assert sorted(discs(svg)) == numbers
        assert [f"{moisture}-zone-{number}" for number in numbers] == [
            path.attrib["id"] for path in svg.iterfind(f"{SVG}defs/{SVG}path")
        ]
        assert {str(number) for number in numbers} <= set(words(svg))


def test_a_number_lies_wholly_in_its_own_zone() -> None:
    plan = small_plan()
    for setting in plan.settings:
        assert setting.zone.shape.contains(discs(drawing(plan))[setting.zone.id])


def test_numbers_that_do_not_fit_stand_beside_the_field_and_point_to_their_zone() -> None:
    # WORKED: 7.5 m wide, and a disc is 4 mm of 2.4 m to the mm: 9.7 m
    plan = strips([100.0] * 40)
    svg = drawing(plan)
    beside = discs(svg)
    for setting in plan.settings:
        assert not beside[setting.zone.id].intersects(plan.field.shape)
    apart = list(beside.values())
    assert not any(a.intersects(b) for i, a in enumerate(apart) for b in apart[:i])
    feet = svg.findall(f"{SVG}circle")
    assert len(feet) == 40
    for setting in plan.settings:
        assert any(
            setting.zone.shape.contains(Point(float(each.attrib["cx"]), -float(each.attrib["cy"])))
            for each in feet
        )
    left, top, width, height = map(float, svg.attrib["viewBox"].split())
    paper = box(left, -top - height, left + width, -top)
    assert all(paper.contains(disc) for disc in apart)


def test_numbers_beside_the_field_go_no_higher_than_it() -> None:
    field = strips([100.0] * 40)
    top = max(disc.centroid.y for disc in discs(drawing(field)).values())
    assert top <= 100.0 + 1e-6  # the field's north
    west = {
        round(disc.centroid.x) for disc in discs(drawing(field)).values() if disc.centroid.x < 0
    }
    # WORKED: 200 m are 82.7 mm; 20 numbers of 5.8 x 0.8 mm are 92.8 mm: two columns
    assert len(west) == 2


def test_words_beside_the_field_keep_clear_of_the_next_number() -> None:
    # two slivers at each end of a wide zone; one column a side has room for words
    blank = dict.fromkeys(("dry", "moist", "wet"), NO_DATA)
    edges = (-150.0, -147.0, -144.0, 144.0, 147.0, 150.0)
    settings = tuple(
        ZoneSetting(Zone(i, box(a, -100, b, 100), 1.0, LOAM), blank)
        for i, (a, b) in enumerate(pairwise(edges), 1)
    )
    svg = drawing(replace(small_plan(), settings=settings))
    labels = []
    for group in svg.iterfind(f"{SVG}g[@class='label']"):
        rect = group.find(f"{SVG}rect")
        assert rect is not None
        x, y, wide, high = (float(rect.attrib[each]) for each in ("x", "y", "width", "height"))
        labels.append(_disc(group).union(box(x, -y - high, x + wide, -y)))
    assert len(svg.findall(f"{SVG}circle")) == 4
    assert len(labels) == 5
    assert not any(a.intersects(b) for i, a in enumerate(labels) for b in labels[:i])


def test_more_columns_of_numbers_leave_no_room_for_words() -> None:
    plan = strips([100.0] * 40)
    blank = dict.fromkeys(("dry", "moist", "wet"), NO_DATA)
    plan = replace(
        plan, settings=tuple(replace(setting, moistures=blank) for setting in plan.settings)
    )
    svg = drawing(plan)
    assert "no data" not in words(svg)
    apart = list(discs(svg).values())
    assert not any(a.intersects(b) for i, a in enumerate(apart) for b in apart[:i])


def test_north_is_up_and_a_metre_is_a_unit() -> None:
    path = drawing(strips([100])).find(f".//{SVG}path[@id='moist-zone-1']")
    assert path is not None
    corners = set(path.attrib["d"].strip("MZ").split("L"))
    assert corners == {"-150.00 -100.00", "-150.00 100.00", "150.00 100.00", "150.00 -100.00"}
    north = drawing(replace(strips([100]), field=replace(FIELD, shape=box(-150, -100, 150, 300))))
    assert float(north.attrib["viewBox"].split()[1]) < -300  # WORKED: y = 300 m is drawn at -300


def test_a_hole_stays_open() -> None:
    svg = drawing(small_plan())
    path = svg.find(f".//{SVG}path[@id='moist-zone-1']")
    assert path is not None
    assert path.attrib["d"].count("M") == 2
    assert path.attrib["fill-rule"] == "evenodd"


def test_a_field_of_two_parts_is_outlined_twice() -> None:
    parts = MultiPolygon([box(-150, -100, 50, 100), box(60, -100, 150, 100)])
    plan = replace(small_plan(), field=replace(FIELD, shape=parts))
    outline = drawing(plan).findall(f"{SVG}path")[0]
    assert outline.attrib["d"].count("M") == 2


def test_a_shade_means_the_same_load_in_every_plan_and_moisture() -> None:
    classes = map_classes(strips([105, 60, 114, 80]))
    assert [(each.label, each.fill, each.zones) for each in classes] == [
        ("below 105 lb", STEPS[0][0], (2, 4)),
        ("105 to 115 lb", STEPS[1][0], (1, 3)),
    ]
    (alone,) = map_classes(strips([109]))
    assert alone.fill == STEPS[1][0]  # though it is the only one


def test_classes_are_the_same_in_newtons() -> None:
    plan = strips([105, 115, 60])
    pounds, newtons = map_classes(plan), map_classes(plan, system="si")
    # WORKED: 105, 115 and 125 lb x 4.44822 = 467.1, 511.5 and 556.0 N
    assert [load_n.label for load_n in newtons] == ["below 467 N", "467 to 512 N", "512 to 556 N"]
    assert [load_n.zones for load_n in newtons] == [load_lb.zones for load_lb in pounds]


def test_ground_without_a_target_says_why() -> None:
    moist, wet = map_classes(small_plan()), map_classes(small_plan(), "wet")
    assert (moist[-1].label, moist[-1].zones) == ("no numbers: no data", (3,))
    assert [(each.label, each.zones) for each in wet[-2:]] == [
        ("wait: too wet", (2,)),
        ("no numbers: no data", (3,)),
    ]
    assert "no data" in words(drawing(small_plan()))
    assert {"wait", "no data"} <= set(words(drawing(small_plan(), "wet")))


def test_classes_differ_without_colour() -> None:
    five = [*map_classes(strips([60, 105, 115, 125, 140])), *map_classes(small_plan(), "wet")[-2:]]
    assert len({each.hatch for each in five}) == 7
    assert len({drawn for _, _, drawn in HATCHES.values()}) >= 5
    patterns = [ET.fromstring(swatch_svg(each)).find(f".//{SVG}pattern") for each in five]
    assert [pattern is None for pattern in patterns] == [True] + [False] * 6


def test_colours_darken_in_even_steps() -> None:
    lightness = [_lightness(fill) for fill, _ in STEPS]
    steps = [a - b for a, b in pairwise(lightness)]
    assert min(steps) > 6.0  # judgement: a step in L* that a photocopier keeps
    assert lightness[-1] > 50.0  # judgement: dark lines still show on the darkest


def _lightness(colour: str) -> float:
    """CIE 1976 L* of an sRGB colour (IEC 61966-2-1 and CIE 15, from memory)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return 116 * luminance ** (1 / 3) - 16


def test_each_scale_bar_is_as_long_as_it_says() -> None:
    # WORKED: 300 m on 124 mm is 2.42 m to the mm; 45 mm are 109 m, 357 ft.
    for system, words, length_m in (("us", "200 ft", 60.96), ("si", "100 m", 100.0)):
        svg = ET.fromstring(zone_map_svg(small_plan(), system=system))
        (scale,) = svg.findall(f"{SVG}g[@class='scale']")
        (whole, half) = (float(rect.attrib["width"]) for rect in scale.findall(f"{SVG}rect"))
        assert [text.text for text in scale.findall(f"{SVG}text")] == [words]
        assert whole == pytest.approx(length_m, abs=0.06)
        assert half == pytest.approx(length_m / 2, abs=0.06)


def test_a_smaller_map_shows_the_same_field_in_less_room() -> None:
    full, less = (
        ET.fromstring(zone_map_svg(small_plan(), **size))
        for size in ({}, {"width_mm": 62.0, "height_mm": 42.0})
    )
    wide = [float(each.attrib["width"].removesuffix("mm")) for each in (full, less)]
    # WORKED: the field's 300 m on 124 and on 62 mm; scale and north want 66 mm; 1.5 mm all round
    assert wide == [127.0, 69.0]
    assert sorted(discs(less)) == sorted(discs(full))


@pytest.mark.parametrize(
    ("limit", "expected"), [(999.0, 500.0), (1000.0, 1000.0), (199.0, 100.0), (2.5, 2.0)]
)
def test_nice_lengths_are_round_and_no_longer_than_asked(limit: float, expected: float) -> None:
    assert nice_length(limit) == expected


def test_a_name_cannot_bring_markup() -> None:
    plan = replace(small_plan(), field=replace(FIELD, name='</title><script>"&\x07'))
    title = drawing(plan).find(f"{SVG}title")
    assert title is not None
    assert title.text == '</title><script>"&: too light, right or too heavy by zone, moist'


def test_every_edge_is_a_dark_line_on_a_light_casing() -> None:
    svg = drawing(small_plan())
    groups = [each for each in svg.findall(f"{SVG}g") if each.find(f"{SVG}use") is not None]
    casing, line = (
        (group.attrib["stroke"], float(group.attrib["stroke-width"])) for group in groups
    )
    assert casing[0] == "#ffffff"
    assert casing[1] > line[1]
