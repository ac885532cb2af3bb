"""Errors speak of the page: no option of the command line is left in them."""

import re
from pathlib import Path

import pytest

import zoneplan
from zoneplan.cli.plan import plan
from zoneplan.field.layer import COLUMNS
from zoneplan.pages.ask import BOXES, WORDS
from zoneplan.pages.overview import fault

SOURCES = [
    path
    for path in Path(zoneplan.__file__).parent.rglob("*.py")
    if path.parent.name not in ("cli", "pages")
    and path.name not in ("__init__.py", "address.py")  # which speaks before there is a page
]
# As an error spells it, with the example that follows where it has no box of its own.
NAMED = {
    found
    for path in SOURCES
    for found in re.findall(r"--(?:band \S+:NUMBER|[a-z]+(?:-[a-z]+)*)", path.read_text())
} | {f"--{part}-column" for part in COLUMNS}


def test_errors_name_options():
    assert {"--layer-crs", "--pick", "--raster-unit", "--band clay=FILE:NUMBER"} <= NAMED


@pytest.mark.parametrize("option", sorted(NAMED))
def test_no_option_that_an_error_names_is_left_in_it(option):
    assert "--" not in fault(f"Found it.\nSay {option} x", WORDS)


def test_a_box_stands_for_an_option_that_there_is():
    options = {name for it in plan.params for name in it.opts}
    assert BOXES.keys() <= options


def test_one_option_that_begins_like_another_keeps_its_own_box():
    assert "“Headland sides” north" in fault("Say\n--headland-side north", WORDS)
