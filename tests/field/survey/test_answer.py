"""The JSON answer of the data-access service: the join taken apart, and each way to break it."""

import pytest
from shapely.geometry import GeometryCollection, LineString, box

from tests.field.ground import in_degrees
from tests.field.nrcs import answer, soil_map, write_answer
from tests.telling import sentences
from zoneplan.errors import LayerError
from zoneplan.field.layer import read_layer
from zoneplan.field.survey.answer import answer_map, answer_tables, has_shapes, read_answer

SQUARE = in_degrees(box(0, 0, 400, 400))


def tables_of(path):
    return answer_tables(read_answer(path), path.name)


def test_what_the_join_repeats_counts_once(tmp_path):
    # WORKED. Joined: three kinds of fragments in one horizon and four other rows without
    # any, of 3 components and 4 horizons; the rock outcrop has no horizon, one has no texture.
    rows = answer()
    assert len(rows) - 1 == 3 + 3 + 1
    tables = tables_of(write_answer(tmp_path / "answer.json", rows + rows[1:]))
    counts = {table: len(result) for table, result in tables.items()}
    assert counts == {"mapunit": 1, "component": 3, "chorizon": 4, "chfrags": 3, "legend": 1}


def test_columns_that_an_answer_can_do_without(tmp_path):
    lacking = ("compkind", "hydgrp", "fragvol_r", "chfragskey")
    rows = answer(without=lacking, wkt=SQUARE.wkt)
    layer = read_layer(write_answer(tmp_path / "answer.json", rows))
    (facts,) = layer.ground["facts"]
    assert facts.clay_frac == pytest.approx(0.25)
    assert (facts.hydrologic_group, facts.fragments_frac) == (None, None)
    assert sentences(facts.notes) == ('10 % of 7A Alpha "wet" loam,\n2 to 6 % slopes has no data.',)
    assert any("have no compkind, hydgrp, fragvol_r" in note for note in sentences(layer.notes))
    assert any("ground that is no soil counts as" in note for note in sentences(layer.notes))


@pytest.mark.parametrize("gone", ["mukey", "cokey", "chkey", "chfragskey"])
def test_a_key_that_is_missing_is_named(tmp_path, gone):
    path = write_answer(tmp_path / "answer.json", answer(without=[gone]))
    with pytest.raises(LayerError, match=f"no column {gone}, which tells one row of .* repeated"):
        tables_of(path)


def test_every_column_that_is_missing_is_named(tmp_path):
    path = write_answer(tmp_path / "answer.json", answer(without=["cokey", "claytotal_r"]))
    with pytest.raises(LayerError, match=r"answer\.json has 2 faults") as fault:
        tables_of(path)
    for word in ("no column cokey", "no column claytotal_r", "Add what is missing to the SELECT"):
        assert word in str(fault.value)


def test_a_key_with_two_values(tmp_path):
    rows = answer()
    twice = [*rows[1]]
    twice[rows[0].index("claytotal_r")] = "25"
    with pytest.raises(LayerError, match="chkey 201 comes with claytotal_r 20 and 25"):
        tables_of(write_answer(tmp_path / "answer.json", [*rows, twice]))


def test_a_number_that_is_none(tmp_path):
    rows = answer()
    rows[1][rows[0].index("om_r")] = "three"
    with pytest.raises(LayerError, match="chkey 201: om_r is three"):
        tables_of(write_answer(tmp_path / "answer.json", rows))


def test_a_column_that_is_selected_twice(tmp_path):
    same = [[*row, row[0]] for row in answer()]
    assert len(tables_of(write_answer(tmp_path / "same.json", same))["mapunit"]) == 1
    other = [[*row, row[0] if number == 0 else "2"] for number, row in enumerate(answer())]
    with pytest.raises(LayerError, match="two columns mukey, and they differ"):
        tables_of(write_answer(tmp_path / "other.json", other))


TEXTS = {  # what the file holds: words that the message must contain
    "nothing found": ("{}", ["is an empty answer", "the query found nothing"]),
    "no row": ('{"Table": [["mukey", "cokey"]]}', ["is an empty answer"]),
    "no names": (
        '{"Table": [["IA073", "2765528"]]}',
        ["which column is which", "IA073", "JSON+COLUMNNAME"],
    ),
    "cut off": ('{"Table": [["mukey", "cokey"], ["1"', ["is cut off or damaged"]),
    "two results": (
        '{"Table": [["mukey"], ["1"]], "Table1": [["cokey"], ["2"]]}',
        ["holds 2 results: Table, Table1", "single SELECT"],
    ),
    "a row too short": (
        '{"Table": [["mukey", "cokey"], ["1"]]}',
        ["Row 1 is no list of 2 values"],
    ),
}


@pytest.mark.parametrize("case", TEXTS)
def test_an_answer_that_cannot_be_trusted(tmp_path, case):
    text, words = TEXTS[case]
    path = tmp_path / "answer.json"
    path.write_text(text)
    with pytest.raises(LayerError) as fault:
        read_layer(path)
    for word in ("answer.json", *words):
        assert word in str(fault.value)


def test_without_polygons_the_map_is_named(tmp_path):
    path = write_answer(tmp_path / "answer.json")
    assert not has_shapes(path)
    with pytest.raises(LayerError) as fault:
        read_layer(path)
    for word in ("no map. spatial/soilmu_a_zz001.shp", "into one folder", "mupolygongeo as well"):
        assert word in str(fault.value)


def test_lines_left_over_from_a_cut_are_no_ground(tmp_path):
    both = GeometryCollection([SQUARE, LineString([(0, 0), (1, 1)])])
    rows = answer(geom=both.wkt)
    rows[-1][-1] = "POINT (0 0)"
    columns = read_answer(write_answer(tmp_path / "answer.json", rows))
    result = answer_map(columns, "answer.json")
    assert list(result["mukey"]) == ["1"]
    assert result.geometry.iloc[0].equals(soil_map({box(0, 0, 400, 400): "1"}).geometry[0])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("POLYGON ((0 0, 1 1", "cannot be read"),
        ("POLYGON ((4e5 4e6, 5e5 4e6, 5e5 5e6, 4e5 4e6))", "does not lie in degrees"),
        ("POLYGON ((42 -93, 43 -93, 43 -94, 42 -93))", "longitude first"),
    ],
)
def test_polygons_that_cannot_be_trusted(tmp_path, text, words):
    path = write_answer(tmp_path / "answer.json", answer(mupolygongeo=text))
    with pytest.raises(LayerError, match=f"answer.json, map unit 1: its polygon.*{words}"):
        read_layer(path)
