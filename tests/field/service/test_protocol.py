"""Questions are T-SQL of numbers and checked keys; whatever bytes come back are rows or a fault."""

import json
import re

import pytest
import shapely
import sqlglot
from hypothesis import example, given
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, box
from sqlglot import exp

from zoneplan.errors import ServiceError
from zoneplan.field.service import protocol
from zoneplan.field.service.manners import Reply
from zoneplan.field.service.protocol import (
    TABLE_COLUMNS,
    TooMuchError,
    areas_query,
    is_last_word,
    map_query,
    rows_of,
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


COLUMNS = ("mukey", "musym")
SOUND = {"Table": [["mukey", "musym"], ["1", "A"], ["2", None]]}
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner),
    max_leaves=12,
)


def reply(body, status=200, kind="application/json"):
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return Reply("https://soil.example/Tabular/post.rest", status, kind, content)


def rows_or_fault(body, **more):
    """Rows, or None for a fault that is told: with what was found, why, and what to do."""
    rows, fault = None, None
    try:
        rows = rows_of(reply(body, **more), COLUMNS)
    except ServiceError as error:
        fault = error
    if fault is not None:
        assert fault.code.startswith("service-")
        assert "soil.example" in str(fault)
        assert "\n" in str(fault)
        assert all(len(line) < 700 for line in str(fault).splitlines())
        return None
    assert all(len(row) == len(COLUMNS) for row in rows)
    assert all(cell is None or isinstance(cell, str) for row in rows for cell in row)
    return rows


def test_rows_come_in_the_order_that_was_asked_for_whatever_theirs_is():
    turned = {"Table": [["MUSYM", "MUKEY"], ["A ", "1"], [None, "2"]]}
    assert rows_or_fault(turned) == rows_or_fault(SOUND) == [("1", "A"), ("2", None)]


def test_numbers_and_texts_are_the_same():
    assert rows_or_fault({"Table": [["mukey", "musym"], [1, "A"]]}) == [("1", "A")]


def test_ground_that_is_not_known_has_no_rows():
    assert (
        rows_or_fault(b"{}") == rows_or_fault(b" {}\r\n") == rows_or_fault(b"\xef\xbb\xbf{}") == []
    )


@given(st.binary(max_size=200), st.sampled_from([200, 400, 500]))
@example(b"[" * 100_000, 200)
@example(b'{"Table":' * 20_000, 200)
@example(b"\xff\xfe{\x00", 200)
def test_any_bytes(body, status):
    rows_or_fault(body, status=status)


@given(VALUES)
@example([["mukey", "musym"], ["1"]])
@example([["mukey", "musym"], {"mukey": "1"}])
@example([["mukey", "mukey"], ["1", "2"]])
@example([])
@example([[]])
def test_any_table(table):
    rows_or_fault({"Table": table})


@given(st.integers(0, len(json.dumps(SOUND))))
def test_an_answer_that_is_cut_anywhere_is_no_answer(end):
    whole = json.dumps(SOUND).encode()
    assert rows_or_fault(whole[:end]) is None or end == len(whole)


@given(st.text(max_size=40))
def test_the_words_of_a_fault_are_told_whatever_they_are(words):
    fault = f"<ServiceException>\n{words}</ServiceException>"
    assert rows_or_fault(fault.encode("utf-8", "replace")) is None
    assert is_last_word(reply(fault.encode("utf-8", "replace")))


def test_as_many_rows_as_a_service_gives_at_most_may_be_cut(monkeypatch):
    monkeypatch.setattr(protocol, "MOST_ROWS", 2)
    with pytest.raises(TooMuchError, match="its limit"):
        rows_of(reply(SOUND), COLUMNS)


@pytest.mark.parametrize(
    "words",
    [
        "Your query timed out.",
        "Error: the length of the string exceeds the value set on the maxJsonLength property.",
        "The query processor ran out of internal resources and could not produce a query plan.",
    ],
)
@pytest.mark.parametrize("status", [200, 400, 500])
def test_too_much_is_known_by_its_words_whatever_the_status(words, status):
    body = f"<ServiceException>\n{words}</ServiceException>".encode()
    with pytest.raises(TooMuchError):
        rows_of(reply(body, status, "text/xml"), COLUMNS)


def test_entities_of_a_fault_are_read():
    body = b"<ServiceException>\nInvalid column name &#39;clay&#39;.</ServiceException>"
    with pytest.raises(ServiceError, match="Invalid column name 'clay'"):
        rows_of(reply(body, 400, "text/xml"), COLUMNS)
