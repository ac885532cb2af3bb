"""Questions are T-SQL of numbers and checked keys, and of nothing else."""

import re

import pytest
import shapely
import sqlglot
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, box
from sqlglot import exp

from zoneplan.field.service.queries import (
    TABLE_COLUMNS,
    areas_query,
    map_query,
    size_query,
    tables_query,
    vintage_query,
    wkt,
)
from zoneplan.field.survey.columns import FRAGMENTS, NEEDED, WELCOME

SQUARE = MultiPolygon([box(-93.5, 42, -93.49, 42.01)])
QUERIES = {
    "size": size_query(SQUARE),
    "areas": areas_query(SQUARE),
    "map": map_query(SQUARE),
    "tables": tables_query(["999001", "999002"]),
    "edition": vintage_query(["IA073", "IA015"]),
}


@pytest.mark.parametrize("name", QUERIES)
def test_each_is_one_select_in_t_sql(name):
    (tree,) = sqlglot.parse(QUERIES[name], read="tsql")
    assert isinstance(tree, exp.Select)
    assert not list(tree.find_all(exp.Declare))  # which the service refuses


def test_the_tables_hold_every_column_that_the_model_takes():
    wanted = {
        name
        for tables in (NEEDED, WELCOME, FRAGMENTS)
        for table in tables.values()
        for name in table
    }
    assert wanted <= set(TABLE_COLUMNS)
    (tree,) = sqlglot.parse(QUERIES["tables"], read="tsql")
    assert [expression.name for expression in tree.expressions] == list(TABLE_COLUMNS)


@pytest.mark.parametrize(
    "key", ["", "1'", "1; DROP TABLE mapunit", "1 ", "-1", "１２", "1\n", None, 5, "9" * 40]
)
def test_what_is_no_key_of_a_map_unit_goes_into_no_query(key):
    with pytest.raises(ValueError, match="only checked keys"):
        tables_query(["999001", key])


@pytest.mark.parametrize("area", ["", "IA073'", "ia073", "IA73", "IA0733", "US", "IA073\n", None])
def test_what_is_no_survey_area_goes_into_no_query(area):
    with pytest.raises(ValueError, match="only checked keys"):
        vintage_query([area])


def test_an_empty_list_asks_for_nothing():
    with pytest.raises(ValueError, match="only checked keys"):
        tables_query([])


DEGREES = st.floats(-180, 180, allow_subnormal=True).filter(lambda each: abs(each) < 179)


@given(DEGREES, st.floats(-89, 89), st.floats(1e-9, 1), st.floats(1e-9, 1))
def test_an_outline_is_written_in_digits_alone_and_read_back_to_a_centimetre(x, y, wide, tall):
    outline = MultiPolygon([box(x, y, x + wide, y + tall)])
    text = wkt(outline)
    assert re.fullmatch(r"POLYGON \(\([-0-9., ]+\)\)", text), "digits, and no exponent"
    read = shapely.get_coordinates(shapely.from_wkt(text))
    assert abs(read - shapely.get_coordinates(outline)).max() <= 1e-7


def test_several_parts_and_holes_are_written_too():
    holed = box(0, 0, 3, 3).difference(box(1, 1, 2, 2))
    text = wkt(MultiPolygon([holed, box(5, 5, 6, 6)]))
    assert text.startswith("MULTIPOLYGON (((")
    assert shapely.from_wkt(text).area == pytest.approx(9)
