"""Notices in words: every code has a template, merging goes by code and never by words."""

import ast
import re
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import pytest

import zoneplan
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.field.shapes import Marks
from zoneplan.notices import CODES, Notice, as_dict, notice, notice_from
from zoneplan.plan.model import OVERRIDE, Setting, Wait
from zoneplan.plan.requirement import Basis, Conditions, requirement_of
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import read_rules
from zoneplan.rules.rule import Reason
from zoneplan.say.notices import each_once, link_amount, link_name, link_words, shown_links, words
from zoneplan.say.quantities import number
from zoneplan.say.trade import MEANINGS, TRADE
from zoneplan.soil.texture import SoilFacts, texture_class
from zoneplan.terms import Ground, Moisture, System, Tillage
from zoneplan.units import M_PER_IN, MPS_PER_MPH


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


ALIKE = {"all-headland": {"of", "narrow"}, "needs-less-downforce": {"least_n"}}  # field, machine


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("turn", range(4))
def test_notices_of_every_code_that_differ_in_their_figures_are_told_together(
    code: str, turn: int
) -> None:
    values = values_of(code, turn)
    more = {
        name: value + 40.0
        if isinstance(value, float) and name not in ALIKE.get(code, ())
        else value
        for name, value in values.items()
    }
    notices = [notice(code, zone=1, **values), notice(code, zone=2, **more)]
    remarks = each_once(notices, "us")
    assert {place for place, _ in remarks} <= {"Zones 1, 2", "Zone 1", "Zone 2"}
    assert all(text.endswith((".", "!", "?", ".)")) for _, text in remarks)


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


def test_a_column_may_be_called_what_a_template_has_fields_by():
    # a laboratory names its columns: braces in a name are no field of ours
    columns = ("silt {coarse}", "silt {part}")
    text = words(notice("texture-part-summed", part="silt", columns=columns, total=100.0))
    assert text.startswith("Silt is silt {coarse} + silt {part}, which make 100 with the others.")


def test_the_squeeze_test_is_told_alike_wherever_it_is_told():
    # moist soil stays a ball too: what tells it from wet is whether the ball breaks when dropped
    squeeze = MEANINGS["Squeeze first"].removesuffix(", wait.")
    assert "dropped" in squeeze
    assert squeeze in words(notice("hand-test"))


# ---- the links of a chain --------------------------------------------------------------------

# What the load on the gauge wheels is said to do. "The more clay" says nothing of it.
MORE = re.compile(r"\b(bounces more|swings? more|pushed up harder|pushes back harder|more swing)\b")
LESS = re.compile(r"\b(bounces less|one less|swings less|less hard|softer|less is aimed)\b", re.I)
SOILS = ((0.92, 0.04), (0.60, 0.12), (0.40, 0.20), (0.32, 0.34), (0.08, 0.45), (0.20, 0.60))


def facts(sand_frac: float, clay_frac: float, density_mg_m3: float | None = None) -> SoilFacts:
    silt_frac = 1 - sand_frac - clay_frac
    return SoilFacts(
        texture=texture_class(sand_frac, silt_frac, clay_frac),
        sand_frac=sand_frac,
        silt_frac=silt_frac,
        clay_frac=clay_frac,
        density_mg_m3=density_mg_m3,
        density_measured=density_mg_m3 is not None,
    )


@cache
def links() -> tuple[Reason, ...]:
    """Those of 6 soils, 3 moistures, 3 tillages and 4 systems, easy and rough, and of the demo."""
    rules, answer = read_rules(), {}
    for system, tillage in product(System, Tillage):
        machine = read_machine(system)
        for speed_mph, depth_in, residue_frac in (
            (3.0, 1.5, 0.0),
            (5.0, 2.0, 0.0),
            (7.0, 3.0, 0.7),
        ):
            day = Conditions(tillage, speed_mph * MPS_PER_MPH, depth_in * M_PER_IN, residue_frac)
            basis = Basis(machine, rules, day)
            for soil, moisture in product(SOILS, Moisture):
                for ground, site in (
                    (facts(*soil), Marks()),
                    (facts(*soil, 1.75), Marks(headland=True, slope_frac=0.06)),
                ):
                    asked = requirement_of(basis, ground, site, moisture)
                    for each in (*asked.reasons, *asked.closing_reasons, *asked.stop_reasons):
                        answer[each] = None
    for demo in demo_fields():
        for setting in plan_demo(demo).settings:
            for result in setting.moistures.values():
                if isinstance(result, Setting):
                    answer |= dict.fromkeys((*result.closing_reasons, *result.stop_reasons))
                if isinstance(result, Setting | Wait):
                    answer |= dict.fromkeys(result.reasons)
    return tuple(answer)


def of_kind(kind: str) -> list[Reason]:
    return [link for link in links() if link.kind == kind]


def test_all_kinds_of_links_are_met_with() -> None:
    kinds = {link.kind for link in links()}
    assert kinds >= {"base", "swing", "most", "rounding", "stop", "test"}
    assert len(links()) > 1000
    assert {each.share is None for each in of_kind("base")} == {True, False}
    for rule in ("swing-speed", "swing-depth"):  # these act both ways
        assert {(link.adds or 0) > 0 for link in links() if link.rule == rule} == {True, False}


@pytest.mark.parametrize("units", ["us", "si"])
def test_every_link_has_a_reason(units: str) -> None:
    for link in links():
        words = link_words(link, units)
        assert len(words.split()) > 4, link
        assert words.endswith("."), link


def test_the_words_of_a_link_agree_with_the_sign_of_its_number() -> None:
    seen = set()
    for link in links():
        if link.kind == "base" or link.adds is None:
            continue
        words = link.why or link_words(link, "us")  # without the lead, which is made from the sign
        more, less = MORE.search(words), LESS.search(words)
        if more and not less:
            seen.add("more")
            assert link.adds > 0, words
        if less and not more:
            seen.add("less")
            assert link.adds < 0, words
    assert "more" in seen


def test_what_swings_less_is_said_to_before_its_rule_speaks() -> None:
    for each in of_kind("swing"):
        assert each.adds is not None
        assert each.factor is not None
        lead = "Swings more" if each.factor > 1 else "Swings less"
        assert link_words(each, "us").startswith(lead)
        assert (each.factor > 1) == (each.adds > 0)


def test_held_and_rounded_say_which_way() -> None:
    for one in of_kind("most"):
        assert (one.adds or 0) < 0
        assert link_words(one, "us").startswith("Held at the most that the soil bears.")
    for one in of_kind("least"):
        assert (one.adds or 0) > 0
        assert link_words(one, "us").startswith("Lifted to the least")
    ways = {link_words(each, "us"): (each.adds or 0) > 0 for each in of_kind("rounding")}
    assert ways == {"Rounded up to a whole 5 lb.": True, "Rounded down to a whole 5 lb.": False}


def test_shares_of_a_base_tell_what_they_are_of() -> None:
    for each in of_kind("base"):
        words = link_words(each, "us")
        assert ("Between texture classes" in words) == (each.share is not None)
        assert (" of " in link_name(each)) == (each.share is not None)


# WORKED: 155.7 N / 4.44822 = 35.0 lb; −4.4 N = −1.0 lb; 467.1 N = 105.0 lb; 0.3 N = 0.1 lb
@pytest.mark.parametrize(
    ("kind", "adds", "factor", "us", "si"),
    [
        ("base", 467.1, None, "105", "467"),
        ("swing", 155.7, 1.318, "× 1.32, +35", "× 1.32, +156"),
        ("swing", -32.7, 0.939, "× 0.94, −7", "× 0.94, −33"),
        ("rounding", -4.4, None, "−1", "−4"),
        ("rounding", 0.3, None, "0", "0"),
        ("stop", None, None, "wait", "wait"),
    ],
)
def test_a_link_is_written_with_its_sign_and_its_factor(
    kind: str, adds: float | None, factor: float | None, us: str, si: str
) -> None:
    link = Reason("a-rule", kind, adds, "Why.", "judgement", "judged", factor=factor)
    assert (link_amount(link, "us"), link_amount(link, "si")) == (us, si)


def test_a_rounding_that_reads_as_nothing_is_left_out_and_no_other_link() -> None:
    nothing = Reason("rounding", "rounding", 0.3, "", "", "judged")
    some = Reason("rounding", "rounding", 9.0, "", "", "judged")
    warns = Reason("stony", "adjust", 0.0, "Stones.", "judgement", "judged")
    assert shown_links((nothing, some, warns), "us") == [some, warns]


def test_what_is_told_adds_up_to_what_is_aimed_for() -> None:
    """Links are rounded one by one, so their sum may miss by half a pound each."""
    for demo in demo_fields():
        for setting in plan_demo(demo).settings:
            for result in setting.set_at.values():
                if any(reason.kind == OVERRIDE for reason in result.reasons):
                    continue
                written = [
                    number(told_link.adds, "load", "us")
                    for told_link in shown_links(result.reasons, "us")
                ]
                total = sum(int(each.replace("−", "-")) for each in written)
                aim = int(number(result.margin_n, "load", "us"))
                assert abs(total - aim) <= (len(result.reasons) + 1) / 2
