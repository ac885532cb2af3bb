import base64
import re
import xml.etree.ElementTree as ET

import pytest

from zoneplan.export.picture import INK, STEPS
from zoneplan.pages.forces import (
    Balanced,
    Forces,
    balance_figure,
    forces_figure,
    window_figure,
)
from zoneplan.units import N_PER_LBF

SVG = "{http://www.w3.org/2000/svg}"
# WORKED, in lb: 340 + 160 = 270 + 230 = 230 + 120 + 150
PRESSED = (340, 270, 160, 230, 230, 120, 150)
# WORKED, in lb: 340 - 60 = 270 + 10 = 150 + 40 + 90
LIFTED = (340, 270, -60, 10, 150, 40, 90)


def forces(pounds):
    return Forces(*(load * N_PER_LBF for load in pounds))


def window(*pounds):
    return window_figure(*(load_lb and load_lb * N_PER_LBF for load_lb in pounds))


def alt(html):
    return re.search(r'alt="(.*?)"', html)[1]


def picture(html):
    (packed,) = re.findall(r'src="data:image/svg\+xml;base64,(.*?)"', html)
    return ET.fromstring(base64.b64decode(packed))


def boxes(html):
    """Left and right end of each outlined box, and its line."""
    bars = [bar for bar in picture(html).iter(f"{SVG}rect") if bar.get("stroke")]
    return [
        (float(bar.get("x")), float(bar.get("x")) + float(bar.get("width")), float(bar.get("y")))
        for bar in bars
        if float(bar.get("height")) > 13  # the key's are smaller
    ]


def ends(html):
    """How far each bar reaches, from the top."""
    reach = {}
    for left, right, top in boxes(html):
        reach[top] = (min(left, reach.get(top, (left,))[0]), right)
    return [round(right - left, 1) for left, right in reach.values()]


def words(html):
    return [element.text for element in picture(html).iter(f"{SVG}text")]


def test_what_presses_is_as_long_as_what_it_carries():
    html = forces_figure(forces(PRESSED))
    assert ends(html) == pytest.approx([418.0] * 3, abs=0.3)
    full_weight = boxes(html)[0]
    # WORKED: 340 of 500 lb
    assert full_weight[1] - full_weight[0] == pytest.approx(418 * 340 / 500, abs=0.1)


def test_lift_takes_back_what_is_too_heavy():
    html = forces_figure(forces(LIFTED))
    weight, lift, refill, added, *_ = boxes(html)
    assert lift[1] == pytest.approx(weight[1], abs=0.2)
    # WORKED: 280 of 340 lb are left, as at refill and as is carried
    assert lift[0] - weight[0] == pytest.approx(418 * 280 / 340, abs=0.2)
    assert added[1] == pytest.approx(lift[0], abs=0.2)
    assert boxes(html)[-1][1] == pytest.approx(lift[0], abs=0.3)
    assert refill[0] == weight[0]
    assert alt(html).startswith("Hopper full, weight 340 lb and lift 60 lb; at refill, weight 270")
    assert {"−60", "10", "lift", "downforce"} <= set(words(html))


def balanced(*fills, units="us"):
    rows = (Balanced(fill, *(load * N_PER_LBF for load in pounds)) for fill, *pounds in fills)
    return balance_figure("A row unit", [*rows], units)


# WORKED, in lb: 205 + 90 + 100 = 150 + 40 + 205; 205 + 10 - 60 = 150 + 40 - 35
PRESSING = ("hopper full", 205, 90, 100, 150, 40, 205)
FLOATING = ("at refill", 205, 10, -60, 150, 40, -35)


def test_what_presses_down_is_as_long_as_what_holds_up():
    html = balanced(PRESSING)
    down, up = ends(html)
    assert down == up == 418.0
    assert alt(html) == (
        "Hopper full, row unit 205 lb, seed 90 lb and downforce 100 lb press down; "
        "opener load 150 lb, closing wheels 40 lb and gauge wheels 205 lb hold up."
    )
    assert {"205", "90", "100", "150", "40"} <= set(words(html))


def test_lift_and_floating_openers_are_taken_back_from_the_end():
    html = balanced(PRESSING, FLOATING)
    *_, unit, seed, lift, opener, closing, short = boxes(html)
    assert lift[0] == pytest.approx(opener[0] + (155 / 395) * 418, abs=0.3)
    assert short[0] == pytest.approx(lift[0], abs=0.3)
    assert (lift[1], short[1]) == pytest.approx((seed[1], closing[1]), abs=0.3)
    assert unit[0] == opener[0]
    assert "seed 10 lb, less lift 60 lb, press down" in alt(html)
    assert "closing wheels 40 lb, less floating by 35 lb, hold up" in alt(html)
    assert {"\u221260", "\u221235"} <= set(words(html))


def test_the_balance_is_told_in_newtons_where_they_are_asked_for():
    html = balanced(PRESSING, units="si")
    assert "row unit 912 N" in alt(html)
    assert "912" in words(html)
    assert " lb" not in alt(html)


def test_every_force_has_its_number_and_its_name():
    text = words(forces_figure(forces(PRESSED)))
    for word in ("340", "160", "270", "230", "120", "150", "hopper full", "at refill", "carries"):
        assert word in text
    assert text[-5:] == ["weight", "downforce", "opener load", "closing load", "margin"]


def test_no_two_forces_look_alike_in_grey():
    html = forces_figure(forces(LIFTED))
    rects = list(picture(html).iter(f"{SVG}rect"))
    looks = {
        (one.get("fill"), two.get("fill")) for one, two in zip(rects[::2], rects[1::2], strict=True)
    }
    assert len(looks) == 6
    assert len({hatch for _, hatch in looks}) == 6
    assert {fill for fill, _ in looks} - {fill for fill, _ in STEPS} == {"#ffffff"}


def test_the_target_lies_in_its_window():
    html = window(120, 145, 194)
    ((left, right, _),) = boxes(html)
    (dot,) = (circle for circle in picture(html).iter(f"{SVG}circle") if circle.get("stroke"))
    # WORKED: (145 - 120) / (194 - 120)
    assert (float(dot.get("cx")) - left) / (right - left) == pytest.approx(25 / 74, abs=0.01)
    assert words(html) == ["least 120 lb", "most 194 lb", "aim 145 lb", "0"]
    assert alt(html) == "Least 120 lb, aim 145 lb, most 194 lb."
    assert "<figcaption>How far the margin may stray, lb<" in html


def test_a_window_that_crosses_says_so():
    html = window(157, 145, 112)
    assert "no margin is good" in alt(html)
    least, most = (
        label
        for label in picture(html).iter(f"{SVG}text")
        if label.text.startswith(("least", "most"))
    )
    assert (least.get("text-anchor"), most.get("text-anchor")) == ("start", "end")
    assert [bar.get("fill") for bar in picture(html).iter(f"{SVG}rect")] == [
        "#ffffff",
        "url(#bars)",
    ]


def test_a_window_without_a_most_is_open_to_the_heavy_side():
    html = window(67, 90, None)
    assert boxes(html)[0][1] == pytest.approx(418)
    assert "most not known" in alt(html)
    assert words(html) == ["least 67 lb", "aim 90 lb", "0"]


@pytest.mark.parametrize("pounds", [(120, 145, 194), (157, 145, 112), (121, 122, 123), (1, 2, 90)])
def test_words_stay_in_the_drawing_and_apart(pounds):
    drawing = picture(window(*pounds))
    spans = []
    for label in drawing.iter(f"{SVG}text"):
        wide, at = (
            7.5 * len(label.text),
            float(label.get("x")),
        )  # no letter of its font is wider at 13 px
        left = {"start": at, "middle": at - wide / 2, "end": at - wide}[label.get("text-anchor")]
        spans.append((float(label.get("y")), left, left + wide))
    assert all(left >= 0 and right <= 420 for _, left, right in spans)
    below = sorted(span[1:] for span in spans if span[0] == 64)
    assert below[0][1] <= below[1][0]


def test_nothing_is_fetched():
    for html in (forces_figure(forces(PRESSED)), window(120, 145, 194)):
        drawing = ET.tostring(picture(html)).decode()
        assert re.findall(r"https?://[^\s\"]+", drawing) == ["http://www.w3.org/2000/svg"]
        assert INK in drawing
