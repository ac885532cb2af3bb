import re
from dataclasses import fields

import pytest

from tests.export.plans import NO_DATA, SETTINGS, WAITING, small_plan
from zoneplan.export.table import COLUMNS, chain, row, tidy
from zoneplan.prescription import MoistureSetting

DBASE_NAME = re.compile(r"[A-Z][A-Z0-9_]{0,9}")  # PUBLISHED: dBASE III, ten characters, ASCII


def test_long_names_are_unique():
    assert len({column.name for column in COLUMNS}) == len(COLUMNS)


def test_short_names_fit_a_shapefile_and_are_unique():
    assert [c.short for c in COLUMNS if not DBASE_NAME.fullmatch(c.short)] == []
    assert len({column.short for column in COLUMNS}) == len(COLUMNS)


def test_every_column_has_a_meaning():
    assert all(column.meaning for column in COLUMNS)


@pytest.mark.parametrize("wetness", ["dry", "moist", "wet"])
def test_every_part_of_a_moisture_setting_has_its_column(wetness):
    told_as_why = {"reasons", "closing_reasons"}
    parts = {field.name for field in fields(MoistureSetting)} - told_as_why | {"why", "wait"}
    names = {column.name for column in COLUMNS if column.name.startswith(f"{wetness}_")}
    assert names == {f"{wetness}_{part}" for part in parts}


def test_row_has_the_zone_values():
    values = row(small_plan(), SETTINGS[0])
    # WORKED: zone 1 as written down in plans.py; 600 N + 44 N.
    assert values["id"] == 1
    assert values["area_ha"] == 3.64
    assert values["texture"] == "loam"
    assert values["dry_margin_n"] == 644.0
    assert values["wet_closing_notch"] == "light"
    assert values["wet_warnings"] == "Check the sidewall. Try the lightest notch."
    assert values["dry_wait"] is False


def test_row_keeps_unknown_as_none():
    values = row(small_plan(), SETTINGS[2])
    assert values["texture"] is None
    assert values["dry_margin_n"] is None
    assert values["dry_reached"] is None
    assert values["dry_why"] == ""


def test_chain_adds_up_in_plain_text():
    # WORKED: 600 + 44 = 644.
    assert chain(SETTINGS[0].moistures["dry"]) == "base-ground +600, residue +44 = 644 N"


def test_chain_of_a_stop_tells_why():
    assert chain(WAITING).startswith("past-plastic: The seed zone is past its plastic limit")


def test_chain_of_ground_without_soil_is_empty():
    assert chain(NO_DATA) == ""


def test_tidy_leaves_no_negative_zero():
    assert str(tidy(-1e-12)) == "0.0"
