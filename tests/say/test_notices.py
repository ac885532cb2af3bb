"""Notices in words: every code has a template, merging goes by code and never by words."""

import ast
import re
from pathlib import Path
from typing import Any

import pytest

import zoneplan
from zoneplan.notices import CODES, Notice, as_dict, notice, notice_from
from zoneplan.say.notices import each_once, words
from zoneplan.say.trade import TRADE
from zoneplan.terms import Ground, Moisture, Tillage


def test_every_code_has_words_and_no_words_are_left_over():
    assert set(TRADE) == set(CODES)


def test_every_code_is_made_somewhere():
    # A code nobody makes is dead: its words could rot unseen.
    core = [
        path for path in Path(zoneplan.__file__).parent.rglob("*.py") if path.name != "notices.py"
    ]
    made = {
        node.value
        for path in core
        if path.parent.name != "say"
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert set(CODES) - made == {"edit-of-part"}  # which only a plan of an earlier zoneplan carries


def test_a_notice_carries_what_its_code_carries():
    with pytest.raises(ValueError, match="carries"):
        notice("takes-lift", part=0.5)


def test_a_notice_is_the_same_after_a_file():
    note = notice("own-position", zone=2, moisture=Moisture.DRY, position_n=889.6)
    assert notice_from(as_dict(note)) == note


@pytest.mark.parametrize(
    ("units", "expected"),
    [("us", "200 lb"), ("si", "890 N"), ("both", "200 lb (890 N)")],
)
def test_one_unit_system_is_told_or_both(units: str, expected: str):
    note = notice("own-position", position_n=889.6)
    assert words(note, units) == f"On its own this zone would take the {expected} position."


def float_at(zone: int, moisture: Moisture) -> Notice:
    return notice("openers-float", zone=zone, moisture=moisture)


def test_notices_alike_are_told_once_with_where_and_when():
    remarks = each_once(
        [float_at(1, Moisture.DRY), float_at(2, Moisture.DRY), float_at(2, Moisture.MOIST)]
    )
    assert [place for place, _ in remarks] == ["Zone 1, dry; zone 2, dry and moist"]


def test_figures_that_differ_are_told_as_a_span_of_each():
    moist = {"moisture": Moisture.MOIST, "most_n": 1779.3}
    remarks = each_once(
        [
            notice("needs-more-downforce", zone=1, needed_n=1900.0, **moist),
            notice("needs-more-downforce", zone=4, needed_n=2224.1, **moist),
        ],
        "us",
    )
    assert remarks == [
        (
            "Zones 1, 4, moist",
            "Out of reach: needs 427 to 500 lb down, and the machine gives no more than "
            "400 lb down.",
        )
    ]


SOME = {  # values that a template looks at, or that are no figures
    "by_hand": (True, False),
    "changes": ((1, 3),),
    "decides": ("margin", "closing"),
    "edit": ("merge",),
    "fill": ("full", "at refill"),
    "fewer": (None, 2),
    "more": (None, 4),
    "fewer_share": (0.5,),
    "more_share": (0.97,),
    "ground": tuple(map(str, Ground)),
    "latitude_deg": (None, 42.0),
    "longitude_deg": (-93.5,),
    "parts": (("sand", "clay"),),
    "table_layout": (None, "2.3.3"),
    "tillage": tuple(map(str, Tillage)),
    "unit": ("fraction", "g/kg", "7A Alpha loam"),
    "value": ("conductivity", "sand_frac", "silt_frac", "clay_frac", "organic_pct"),
    "what": ("boundary", "polygon", "soil polygon"),
    "whole": (None, "7A Alpha loam"),
    "would": ("would not tile", "would be narrow"),
    "sides": (None, ("north", "east")),
    "block_m": (None, 9.8),
}
LISTS = {"areas", "columns", "others", "places", "properties", "rules", "soils", "warned"}
NUMBERS = {"parted", "zones"}
FLAGS = {"before_edits", "carbon", "clipped", "far_off", "gathers", "in_order", "measured"}
FLAGS |= {"waits", "weighed"}
WORDS = {"band", "cap", "column", "component", "fault", "file", "first", "first_says", "horizon"}
WORDS |= {
    "conductivity",
    "map",
    "mark",
    "notch",
    "other",
    "other_says",
    "part",
    "second",
    "seen_moisture",
}
WORDS |= {"soil", "source", "system", "texture", "who", "why", "words"}


def values_of(code: str, turn: int) -> dict[str, Any]:
    """Values such as a notice of this code may carry; another turn, others where it matters."""

    def one(name: str) -> Any:
        if name == "zones" and code in ("zones-keep", "more-zones-than-asked"):
            return 1 + turn
        if name in SOME:
            return SOME[name][turn % len(SOME[name])]
        if name in LISTS:
            return ("one", "other")
        if name in NUMBERS:
            return (1, 2)[: 1 + turn % 2]
        if name in FLAGS:
            return bool(turn % 2)
        return "a word" if name in WORDS else 1.5 + turn

    return {name: one(name) for name in CODES[code].values}


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("turn", range(6))
def test_every_template_says_its_values_in_every_system(code: str, turn: int) -> None:
    note = notice(code, layer=None if turn % 2 else "soil.shp", **values_of(code, turn))
    assert notice_from(as_dict(note)) == note
    for units in ("us", "si", "both"):
        text = words(note, units)
        assert text.endswith((".", "!", "?", ".)"))
        assert not set("{}[]") & set(text)
        assert not re.search(r"\bNone\b", text.removeprefix("None of its polygons"))
        assert text.startswith("soil.shp: ") == (note.layer is not None)


def test_a_notice_of_a_file_within_a_layer_keeps_the_file_s_name() -> None:
    result = notice("decimal-commas").of("lab.csv").of("log")
    assert result.layer == "lab.csv"
    assert words(result) == "lab.csv: commas in numbers are read as decimal points."


def test_notices_of_two_layers_are_told_apart() -> None:
    values = [notice("lines-as-wide", width_m=3.0).of(layer) for layer in ("lanes", "tracks")]
    assert [text for _, text in each_once(values, "si")] == [
        "lanes: lines are taken as 3 m wide.",
        "tracks: lines are taken as 3 m wide.",
    ]


def test_ten_rounds_are_ten_in_a_notice_as_they_are_on_a_sheet() -> None:
    # WORKED: whole tenths are 2, 4 and 3; the tenth round goes to the largest remainder, too heavy.
    result = notice("seldom-right", right_share=0.230, light_share=0.423, heavy_share=0.347)
    assert words(result).startswith("Of 10 rounds: right 2, too light 4, too heavy 4.")
