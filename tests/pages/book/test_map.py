"""The map of a book's fields: its weight and its shades."""

from dataclasses import replace

import pytest

from tests.book.filled import add_field, filled
from tests.book.handed import at, field_plan, given
from tests.export.plans import SETTINGS
from tests.pages.test_growers import ANN, BOB
from zoneplan.book.fields import find_field
from zoneplan.pages.book import standing
from zoneplan.pages.book.map import SCALES, fields_svg


@pytest.fixture
def book(tmp_path):
    with filled(tmp_path / "season.book", ANN, BOB) as one:
        yield one


def test_the_map_is_small_whatever_the_county(book):
    """The picture grows with the ground that is drawn, and a field costs a few dozen bytes."""
    stands = standing.standing(book)
    shapes = standing.outlines(book, stands)
    shown = {one.id for one in stands.listed}
    for scale in SCALES.values():
        svg = fields_svg(stands.listed, shapes, scale, shown=shown)
        assert len(svg) < 3_500 + 21 * 60
        assert svg.count("<path") < 20


def test_a_field_that_comes_between_the_list_and_the_map_is_on_the_next_one(book):
    standing._shared.clear()
    before = standing.standing(book)
    with book.write() as connection:
        add_field(connection, 1, field_plan("Home", "late", -88, 42))
    assert len(standing.outlines(book, before).paths) == 21
    after = standing.standing(book)
    assert len(standing.outlines(book, after).paths) == len(after.listed) == 22


def test_the_same_margin_has_the_same_shade_in_every_book(tmp_path):
    """What is shaded is the number, not its rank among others."""
    first, *others = SETTINGS
    heavy = replace(
        first,
        moistures={
            name: replace(instruction, margin_n=instruction.margin_n + 300)
            if hasattr(instruction, "margin_n")
            else instruction
            for name, instruction in first.moistures.items()
        },
    )
    plan = replace(at(-80, 40), settings=(heavy, *others))
    alone = given("Zed", field_plan("F", "light", -81, 40))
    both = given(
        "Zed",
        field_plan("F", "light", -81, 40),
        replace(field_plan("F", "heavy", -80, 40), plan=plan),
    )
    shades = []
    for name, one in (("alone", alone), ("both", both)):
        with filled(tmp_path / name, one) as book:
            light = find_field(book, "light")
            shades.append(SCALES["margin"].of(light))
            if name == "both":
                assert SCALES["margin"].of(find_field(book, "heavy")) != shades[-1]
    assert shades[0] == shades[1]
