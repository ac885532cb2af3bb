import re
from dataclasses import fields, replace
from pathlib import Path

import pytest

from tests.export.plans import NO_DATA, SETTINGS, WAITING, small_plan
from tests.marking import drawn_zone
from zoneplan.export.table import (
    COUNT,
    NUMBER,
    SETTING_COLUMNS,
    TEXT,
    YES,
    chain,
    columns,
    row,
    setting_rows,
    tidy,
)
from zoneplan.field.shapes import Marks
from zoneplan.plan.model import Setting
from zoneplan.terms import Moisture

KINDS = {COUNT: "whole number", NUMBER: "number", YES: "true or false", TEXT: "text"}
README = Path(__file__).parents[2] / "README.md"
DBASE_NAME = re.compile(r"[A-Z][A-Z0-9_]{0,9}")  # PUBLISHED: dBASE III, ten characters, ASCII
PARTS = {field.name for field in fields(Setting)}
TOLD = PARTS - {"reasons", "closing_reasons", "stop_reasons", "notices"} | {
    "why",
    "wait",
    "warnings",
}  # the chain is told as why
EACH = pytest.mark.parametrize("moistures", [("wet",), ("dry", "wet"), tuple(Moisture)])


@EACH
def test_long_names_are_unique(moistures):
    names = [column.name for column in columns(moistures)]
    assert len(set(names)) == len(names)


@EACH
def test_short_names_fit_a_shapefile_and_are_unique(moistures):
    names = [column.short for column in columns(moistures)]
    assert [name for name in names if not DBASE_NAME.fullmatch(name)] == []
    assert len(set(names)) == len(names)


def test_every_column_has_a_meaning():
    assert all(column.meaning for column in (*columns(tuple(Moisture)), *SETTING_COLUMNS))


def test_one_moisture_has_plain_names_and_says_which_it_is():
    names = [column.name for column in columns(["wet"])]
    assert set(names) > TOLD
    assert names == [column.name for column in columns()]
    assert row(small_plan(), SETTINGS[0], ["wet"])["moisture"] == "wet"
    assert row(small_plan(), SETTINGS[0])["moisture"] == "moist"
    assert not any(name.startswith(tuple(Moisture)) for name in names if name != "moisture")


def test_several_moistures_are_named_in_every_column_of_theirs():
    names = {column.name for column in columns(tuple(Moisture))}
    assert names > {f"{moisture}_{part}" for moisture in Moisture for part in TOLD}
    assert not names & (TOLD | {"moisture"})


@pytest.mark.parametrize("moisture", Moisture)
def test_both_ways_say_the_same(moisture):
    one, all_three = (
        row(small_plan(), SETTINGS[0], each) for each in ([moisture], tuple(Moisture))
    )
    for part in TOLD:
        assert one[part] == all_three[f"{moisture}_{part}"]


def test_row_has_the_zone_values():
    values = row(small_plan(), SETTINGS[0], tuple(Moisture))
    # WORKED: zone 1 as written down in plans.py; 600 N + 44 N.
    assert values["id"] == 1
    assert values["area_ha"] == 3.64
    assert values["texture"] == "loam"
    assert values["dry_margin_n"] == 644.0
    assert values["wet_closing_notch"] == "light"
    assert values["wet_warnings"] == "Check the sidewall. Try the lightest notch."
    assert values["dry_wait"] is False


def test_row_says_where_the_zone_lies():
    site = Marks(headland=True, part=drawn_zone("Low end"), slope_frac=0.03, gathers_water=True)
    setting = replace(SETTINGS[0], zone=replace(SETTINGS[0].zone, site=site))
    values = row(small_plan(), setting)
    assert (values["headland"], values["track"], values["steep"]) == (True, False, False)
    assert (values["part"], values["slope_frac"]) == ("Low end", 0.03)
    assert values["gathers_water"] is True


def test_row_keeps_unknown_as_none():
    values = row(small_plan(), SETTINGS[2], ["dry"])
    assert values["texture"] is None
    assert values["part"] is None
    assert values["margin_n"] is None
    assert values["reached"] is None
    assert values["why"] == ""


def test_settings_are_a_row_for_each_zone_at_each_moisture():
    rows = setting_rows(small_plan(), tuple(Moisture))
    assert [(row["zone"], row["moisture"]) for row in rows] == [
        (zone, moisture) for zone in (1, 2, 3) for moisture in Moisture
    ]
    assert list(rows[0]) == [column.name for column in SETTING_COLUMNS]
    # WORKED: as written down in plans.py; 600 N + 44 N dry, and too wet in zone 2.
    assert rows[0]["margin_n"] == 644.0
    assert (rows[5]["margin_n"], rows[5]["wait"]) == (None, True)
    assert len(setting_rows(small_plan())) == 3


def test_chain_adds_up_in_plain_text():
    # WORKED: 600 + 44 = 644.
    assert chain(SETTINGS[0].moistures["dry"]) == "base-ground +600, residue +44 = 644 N"


def test_chain_of_a_stop_tells_why():
    assert chain(WAITING).startswith("past-plastic: The seed zone is past its plastic limit")


def test_chain_of_ground_without_soil_is_empty():
    assert chain(NO_DATA) == ""


def test_tidy_leaves_no_negative_zero():
    assert str(tidy(-1e-12)) == "0.0"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("  low \t ground\r\nby the creek ", "low ground by the creek"),
        ("a\x00b\x07", "ab"),
        ("low \x07 ground", "low ground"),
        ("half a \udc80letter", "half a letter"),
        ("Сад, côté nord 北", "Сад, côté nord 北"),
    ],
)
def test_tidy_puts_text_on_one_line_that_every_file_can_hold(text, line):
    assert tidy(text) == line
    assert tidy(line) == line


def test_the_readme_tells_every_column_once():
    _, marker, rest = README.read_text(encoding="utf-8").partition("<!-- dictionary -->\n")
    assert marker
    lines = rest.partition("<!-- /dictionary -->")[0].strip().splitlines()
    assert [line for line in lines if line.startswith("| `")] == [
        f"| `{column.name}` | `{column.short}` | {KINDS[column.dtype]} | {column.unit} "
        f"| {column.meaning} |"
        for column in columns()
    ]
    thrice = [column.name for column in columns(tuple(Moisture)) if "margin_n" in column.name][:3]
    assert all(f"`{name}` and `{name[0].upper()}_MARGIN`" in lines[-1] for name in thrice)
