"""A soil survey through its real tables, and each way to break it."""

import shutil
from collections import Counter
from pathlib import Path

import pytest
from shapely.geometry import box

from tests.field.ground import in_degrees
from tests.field.nrcs import COLUMNS, COMPONENTS, MAP_UNIT, STEMS, write_survey
from tests.telling import sentences
from zoneplan.errors import LayerError
from zoneplan.field.layer import ReadOptions, read_layer
from zoneplan.field.survey import parts as parts_module
from zoneplan.field.survey import read as read_module
from zoneplan.field.survey.columns import FileRows, Row
from zoneplan.field.survey.parts import is_survey
from zoneplan.field.survey.read import Survey, read_survey


def edit(path: Path, change):
    path.write_bytes(change(path.read_bytes()))


def headings(table: str) -> bytes:
    return "|".join(COLUMNS[table]).encode() + b"\n"


def test_the_worked_check_through_the_tables(tmp_path):
    # WORKED: see test_seedzone. Fragments, published example of NSSH 618.90: gravel 15,
    # cobbles 10, stones 3 make 28 %, here in 60 of 90 parts: 28 x 60 / 90 = 18.667 %.
    layer = read_layer(write_survey(tmp_path / "survey"))
    (facts,) = layer.ground["facts"]
    assert (layer.name, layer.kind) == ("ZZ001", "soil survey")
    assert "2.3.3" in sentences(layer.notes)[0]
    assert facts.clay_frac == pytest.approx(0.25)
    assert facts.rated_share == pytest.approx(0.9)
    assert facts.organic_pct == pytest.approx((3 * 60 + 6 * 30) / 90)
    assert facts.density_mg_m3 == pytest.approx((1.3 * 60 + 1.2 * 30) / 90)
    assert facts.extensibility_pct == pytest.approx((1.5 * 60 + 4.5 * 30) / 90)
    assert facts.fragments_frac == pytest.approx(0.18667, abs=1e-5)
    assert (facts.drainage, facts.hydrologic_group) == ("Well drained", "B")
    # By volume of the whole soil 21.6 % and 36 %: without 28 % of fragments, over density, by
    # weight 21.6 / 0.72 / 1.3 = 23.077 % and 36 / 1.2 = 30 %.
    water_pct = (23.0769 * 60 + 30 * 30) / 90
    assert facts.liquid_limit_pct == pytest.approx((38 * 60 + 50 * 30) / 90)
    assert facts.plasticity_index_pct == pytest.approx((14 * 60 + 20 * 30) / 90)
    assert facts.third_bar_pct == pytest.approx(water_pct, abs=1e-3)
    # Quotes and a line's end inside a text are no new column and no new row.
    assert facts.named == '7A Alpha "wet" loam,\n2 to 6 % slopes'


def test_a_zip_with_one_folder_on_top(tmp_path):
    write_survey(tmp_path / "in" / "ZZ001")
    packed = Path(shutil.make_archive(str(tmp_path / "wss"), "zip", tmp_path / "in"))
    assert is_survey(Path(packed))
    assert read_layer(packed).ground["facts"][0].texture == "loam"


def test_names_in_the_old_windows_encoding(tmp_path):
    survey = write_survey(tmp_path / "survey")
    edit(survey / "tabular" / "mapunit.txt", lambda data: data.replace(b"Alpha", b"Ca\xf1on"))
    assert "Cañon" in read_layer(survey).ground["facts"][0].named


def test_without_the_table_of_fragments_they_are_unknown(tmp_path):
    survey = write_survey(tmp_path / "survey")
    (survey / "tabular" / "chfrags.txt").unlink()
    assert read_layer(survey).ground["facts"][0].fragments_frac is None


def test_a_dictionary_under_its_newer_names(tmp_path):
    survey = write_survey(tmp_path / "survey")
    for old, new in (("mstab", "mdstattabs"), ("mstabcol", "mdstattabcols")):
        (survey / "tabular" / f"{old}.txt").rename(survey / "tabular" / f"{new}.txt")
    assert read_layer(survey).ground["facts"][0].texture == "loam"


def test_a_polygon_that_the_tables_do_not_have(tmp_path):
    polygons = {box(0, 0, 200, 400): "1", box(200, 0, 400, 400): "99"}
    layer = read_layer(write_survey(tmp_path / "survey", polygons=polygons))
    assert [facts.ground for facts in layer.ground["facts"]] == ["soil", "no data"]
    assert "map unit 99" in sentences(layer.ground["facts"][1].notes)[0]


def test_headings_in_another_order_say_which_column_is_which(tmp_path):
    survey = write_survey(tmp_path / "survey")
    before = read_layer(survey).ground["facts"][0]
    table = survey / "tabular" / "chorizon.txt"
    lines = [headings("chorizon").decode(), *table.read_text().splitlines()]
    table.write_text("".join("|".join(reversed(line.strip().split("|"))) + "\n" for line in lines))
    layer = read_layer(survey)
    assert layer.ground["facts"][0] == before
    assert any(
        "chorizon.txt" in note and "another order" in note for note in sentences(layer.notes)
    )


def test_headings_are_said(tmp_path):
    survey = write_survey(tmp_path / "survey")
    edit(survey / "tabular" / "comp.txt", lambda data: headings("component").upper() + data)
    edit(
        survey / "tabular" / "mstabcol.txt",
        lambda data: b"tabphyname|colsequence|colphyname|and more\n" + data,
    )
    layer = read_layer(survey)
    assert layer.ground["facts"][0].clay_frac == pytest.approx(0.25)
    assert sentences(layer.notes)[1:] == (
        "mstabcol.txt starts with a row of headings, which was skipped.",
        "comp.txt starts with a row of headings, which was skipped.",
    )


def test_quotes_escaped_by_a_backslash(tmp_path):
    survey = write_survey(tmp_path / "survey")
    before = read_layer(survey).ground["facts"][0]
    edit(survey / "tabular" / "mapunit.txt", lambda data: data.replace(b'""', b'\\"'))
    assert b'Alpha \\"wet\\" loam' in (survey / "tabular" / "mapunit.txt").read_bytes()
    assert read_layer(survey).ground["facts"][0] == before


def without_dictionary(survey: Path) -> Path:
    for name in ("mstab.txt", "mstabcol.txt"):
        (survey / "tabular" / name).unlink()
    return survey


def test_tables_that_all_have_headings_need_no_dictionary(tmp_path):
    survey = write_survey(tmp_path / "survey")
    before = read_layer(survey).ground["facts"][0]
    for table in COLUMNS:
        path = survey / "tabular" / f"{STEMS.get(table, table)}.txt"
        edit(path, lambda data, table=table: headings(table).upper() + data)
    (without_dictionary(survey) / "tabular").rename(survey / "tables")
    layer = read_layer(survey)
    assert layer.ground["facts"][0] == before
    assert any(
        "comp.txt starts with a row of headings" in sentence for sentence in sentences(layer.notes)
    )


def test_one_table_without_headings_needs_the_dictionary(tmp_path):
    survey = without_dictionary(write_survey(tmp_path / "survey"))
    for table in ("mapunit", "chorizon"):
        edit(survey / "tabular" / f"{table}.txt", lambda data, table=table: headings(table) + data)
    with pytest.raises(LayerError, match=r"mstab\.txt.* is missing"):
        read_layer(survey)


def cut_a_row(data: bytes) -> bytes:
    return data[: data.rindex(b"|")]  # the last column of the last row is gone


BREAKS = {  # file: (what happens to it, words that the message must contain)
    "a row cut off": ("chorizon.txt", cut_a_row, ["chorizon.txt", "line 4", "13 columns", "14"]),
    "a text cut off": ("comp.txt", lambda data: data[:-30], ["comp.txt", "cut off", "line 3"]),
    "headings of somebody's own": (
        "comp.txt",
        lambda data: headings("component").replace(b"hydgrp", b"group") + data,
        ["comp.txt starts with a row of headings", '"group" is none of its', "Delete that row"],
    ),
    "headings for some columns": (
        "comp.txt",
        lambda data: b"cokey|compname|mukey\n" + data,
        ["comp.txt starts with a row of headings", "there are 3 of its 9 columns"],
    ),
    "headings of somebody's own in the dictionary": (
        "mstabcol.txt",
        lambda data: b"table|number|name\n" + data,
        ["mstabcol.txt starts with a row of headings", '"number" is not the number'],
    ),
    "a key that is none": (
        "chorizon.txt",
        lambda data: data.replace(b'"102"', b'"x"'),
        ["chorizon.txt is damaged", "line 4"],
    ),
    "a number that is none": (
        "chorizon.txt",
        lambda data: data.replace(b"|3.0|", b"|three|"),
        ["chorizon.txt, line 1", "om_r is three"],
    ),
    "a column unknown": (
        "mstabcol.txt",
        lambda data: data.replace(b"claytotal_r", b"clay"),
        ["no column claytotal_r in chorizon"],
    ),
    "an empty table": ("mapunit.txt", lambda _: b"", ["mapunit.txt", "is empty"]),
}  # fmt: skip


@pytest.mark.parametrize("case", BREAKS)
def test_a_damaged_table_is_named(tmp_path, case):
    name, change, words = BREAKS[case]
    survey = write_survey(tmp_path / "survey")
    edit(survey / "tabular" / name, change)
    with pytest.raises(LayerError) as fault:
        read_layer(survey)
    for word in [*words, "Download the survey area again"]:
        assert word in str(fault.value)


@pytest.mark.parametrize(
    "name", ["mapunit.txt", "comp.txt", "chorizon.txt", "mstab.txt", "mstabcol.txt"]
)
def test_a_missing_table_is_named(tmp_path, name):
    survey = write_survey(tmp_path / "survey")
    (survey / "tabular" / name).unlink()
    with pytest.raises(LayerError, match=f"{name}.* is missing"):
        read_layer(survey)


def test_every_fault_is_told_at_once(tmp_path):
    survey = write_survey(tmp_path / "survey")
    (survey / "tabular" / "comp.txt").unlink()
    edit(survey / "tabular" / "chorizon.txt", cut_a_row)
    with pytest.raises(LayerError, match=r"survey has 2 faults:\n  comp.txt.*\n  chorizon.txt"):
        read_layer(survey)


HALVES = {  # what is gone: words that the message must contain
    "tabular": ["no tables", "tabular of survey area ZZ001", "comp.txt", "wss_SSA_ZZ001_*.zip"],
    "spatial": ["no map. spatial/soilmu_a_zz001.shp", "survey area ZZ001"],
    "spatial and legend": ["no map. spatial/soilmu_a_*.shp", "Download the survey area again"],
}


@pytest.mark.parametrize("gone", HALVES)
def test_half_a_survey(tmp_path, gone):
    survey = write_survey(tmp_path / "survey")
    shutil.rmtree(survey / gone.split()[0])
    if "legend" in gone:
        (survey / "tabular" / "legend.txt").unlink()
    with pytest.raises(LayerError) as fault:
        read_layer(survey)
    for word in HALVES[gone]:
        assert word in str(fault.value)


def test_neither_half(tmp_path):
    with pytest.raises(LayerError, match="holds no soil survey"):
        read_survey(tmp_path)


def test_a_map_and_tables_of_different_areas(tmp_path):
    survey = write_survey(tmp_path / "survey", polygons={box(0, 0, 400, 400): "99"})
    with pytest.raises(LayerError, match=r"are of different areas.*map is of ZZ001"):
        read_layer(survey)


def test_two_surveys_at_once(tmp_path):
    write_survey(tmp_path / "both" / "one")
    write_survey(tmp_path / "both" / "two", components=COMPONENTS[:1])
    with pytest.raises(LayerError, match="more than one soil survey"):
        read_layer(tmp_path / "both")


def test_the_map_alone_asks_for_the_rest(tmp_path):
    survey = write_survey(tmp_path / "survey")
    with pytest.raises(LayerError, match="looks like the map of a soil survey"):
        read_layer(survey / "spatial" / "soilmu_a_zz001.shp")


def test_a_map_without_coordinate_system(tmp_path):
    survey = write_survey(tmp_path / "survey")
    (survey / "spatial" / "soilmu_a_zz001.prj").unlink()
    with pytest.raises(LayerError, match=r"no soilmu_a_zz001\.prj beside it"):
        read_layer(survey)
    assert read_layer(survey, options=ReadOptions(crs="EPSG:4326")).ground.crs.to_epsg() == 4326


def test_a_survey_is_opened_once_and_asked_for_one_field_after_another(tmp_path, monkeypatch):
    polygons = {
        box(0, 0, 200, 400): "1",
        box(5000, 0, 5400, 400): "1",
        box(9000, 0, 9400, 400): "2",
    }
    units = [MAP_UNIT, {**MAP_UNIT, "mukey": "2", "musym": "8B"}]
    parts = [*COMPONENTS, {**COMPONENTS[0], "cokey": "90", "mukey": "2"}]
    survey = write_survey(tmp_path / "in", map_units=units, components=parts, polygons=polygons)
    packed = Path(shutil.make_archive(str(tmp_path / "wss"), "zip", survey))
    calls: Counter[str] = Counter()
    for name in ("unpacked", "read_tables", "weigh"):
        module = parts_module if name == "unpacked" else read_module
        work = getattr(module, name)

        def counted(*args, name=name, work=work, **options):
            calls[name] += 1
            return work(*args, **options)

        monkeypatch.setattr(module, name, counted)
    around = [in_degrees(shape).bounds for shape in polygons]
    with Survey(packed) as opened:
        unpacked_before = calls["unpacked"]
        layers = [opened.around(box) for box in around]
    assert [len(layer.ground) for layer in layers] == [1, 1, 1]
    assert [layer.ground["facts"][0].named[:2] for layer in layers] == ["7A", "7A", "8B"]
    assert calls["unpacked"] == unpacked_before
    assert (calls["read_tables"], calls["weigh"]) == (1, 2)
    whole = read_survey(packed)
    assert whole.ground["facts"].tolist() == [layer.ground["facts"][0] for layer in layers]


def test_rows_of_map_units_elsewhere_are_not_made(tmp_path, monkeypatch):
    units = [MAP_UNIT, {**MAP_UNIT, "mukey": "2", "musym": "8B"}]
    parts = [*COMPONENTS, {**COMPONENTS[0], "cokey": "90", "mukey": "2"}]
    polygons = {box(0, 0, 200, 400): "1", box(9000, 0, 9400, 400): "2"}
    survey = write_survey(tmp_path, map_units=units, components=parts, polygons=polygons)
    made: list[Row] = []
    as_ever = FileRows.__getitem__

    def noted(rows, at):
        made.append(as_ever(rows, at))
        return made[-1]

    monkeypatch.setattr(FileRows, "__getitem__", noted)
    read_survey(survey, bbox=in_degrees(box(0, 0, 100, 100)).bounds)
    assert {row["mukey"] for row in made if "compname" in row} == {"1"}
    assert "90" not in {row["cokey"] for row in made if "hzdept_r" in row}


def test_of_a_survey_beside_the_field_all_is_told(tmp_path):
    survey = write_survey(tmp_path / "survey")
    west, south, east, north = in_degrees(box(20_000, 0, 20_400, 400)).bounds
    assert len(read_survey(survey, bbox=(west, south, east, north)).ground) == 1


def test_numbers_of_other_map_units_are_not_looked_at(tmp_path):
    units = [MAP_UNIT, {**MAP_UNIT, "mukey": "2"}]
    parts = [*COMPONENTS, {**COMPONENTS[0], "cokey": "90", "mukey": "2", "comppct_r": 250}]
    survey = write_survey(tmp_path / "survey", map_units=units, components=parts)
    assert read_survey(survey).ground["facts"][0].texture == "loam"
    edit(survey / "tabular" / "comp.txt", lambda data: data.replace(b"|60|", b"|600|"))
    with pytest.raises(LayerError, match=r"comp\.txt, line 1: comppct_r is 600") as fault:
        read_survey(survey)
    assert "line 4" not in str(fault.value)


def test_a_map_that_is_held_gives_the_polygons_that_its_file_gives(tmp_path):
    polygons = {box(300 * n, 0, 300 * n + 300, 400): str(1 + n % 2) for n in range(8)}
    units = [MAP_UNIT, {**MAP_UNIT, "mukey": "2", "musym": "8B"}]
    parts = [*COMPONENTS, {**COMPONENTS[0], "cokey": "90", "mukey": "2"}]
    survey = write_survey(tmp_path / "in", map_units=units, components=parts, polygons=polygons)
    boxes = [box(350, 50, 900, 90), box(0, 0, 300, 10), box(599, -50, 601, -1), box(0, 0, 9e3, 9e3)]
    with Survey(survey) as read, Survey(survey, hold=True) as kept_open:
        for bounds in (*(in_degrees(shape).bounds for shape in boxes), None):
            expected, layer = read.around(bounds), kept_open.around(bounds)
            assert layer.ground.geometry.tolist() == expected.ground.geometry.tolist()
            assert layer.ground["facts"].tolist() == expected.ground["facts"].tolist()
            assert (layer.name, layer.notes) == (expected.name, expected.notes)
        assert len(kept_open.around(in_degrees(boxes[0]).bounds).ground) == 3
