from dataclasses import replace
from functools import cache

import pytest
from shapely.geometry import Polygon, box

from tests.export.plans import FIELD, SETTINGS, remarks, small_plan
from tests.export.planted import PLANTED
from tests.marking import drawn_zone
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.export import bundle
from zoneplan.export.bundle import bundle_files
from zoneplan.export.manifest import Options
from zoneplan.export.readback import differences, restored_plan
from zoneplan.field.shapes import Marks


@pytest.fixture(scope="module")
def files():
    return bundle_files(small_plan(), Options())


@pytest.fixture
def without_sheets(monkeypatch):
    """They have tests of their own, and take the time."""
    monkeypatch.setattr(bundle, "SHEETS", {})


@cache
def demo_plan(name):
    return plan_demo(next(demo_field for demo_field in demo_fields() if demo_field.name == name))


def test_what_was_written_agrees(files):
    assert differences(files, small_plan(), Options()) == []
    assert differences(files, restored_plan(files), Options()) == []


@pytest.mark.parametrize("planted", PLANTED)
def test_a_planted_difference_is_told_with_its_file(files, planted):
    name, change, result = PLANTED[planted]
    faults = differences({name: change(files[name])}, small_plan(), Options())
    assert any(result in fault for fault in faults)
    assert all(fault.startswith((f"{name}: ", "TASKDATA/: ")) for fault in faults)


@pytest.mark.parametrize(
    "name", ["North \u202e forty", "\ufeff North\u200b 40", "a \u200e\u200e b"]
)
def test_letters_that_nobody_sees_are_no_difference(name):
    """They come with names out of spreadsheets."""
    plan = small_plan()
    plan = replace(plan, field=replace(plan.field, name=name))
    assert differences(bundle_files(plan, Options()), plan, Options()) == []


def test_a_needle_that_rounding_takes_off_is_no_difference():
    """Zone 1 of 100 x 200 m with a needle of 5 m to the west, a hundredth of a millimetre wide."""
    plan = small_plan()
    first, *others = plan.settings
    west, south, _, north = first.zone.shape.bounds
    middle = (south + north) / 2
    needle = [(west, middle), (west - 5, middle), (west, middle + 1e-5)]
    shape = first.zone.shape.union(Polygon(needle))
    assert shape.bounds[0] == west - 5
    pricked = replace(first, zone=replace(first.zone, shape=shape))
    plan = replace(plan, settings=(pricked, *others))
    assert differences(bundle_files(plan, Options(files=("zones",))), plan, Options()) == []


def test_every_file_is_looked_at(files):
    assert {name for name, _, _ in PLANTED.values()} == set(files) - {"manifest.json"}


def test_every_difference_is_told_at_once(files):
    one, other = (PLANTED[each] for each in ("a value in GeoJSON", "a command"))
    changed = {name: change(files[name]) for name, change, _ in (one, other)}
    faults = differences({**files, **changed}, small_plan(), Options())
    assert [fault.partition(": ")[0] for fault in faults] == ["zones.geojson", "TASKDATA/"]


def test_files_for_another_moisture_do_not_agree(files):
    faults = differences(files, small_plan(), Options(moisture="wet"))
    for name in ("zones.geojson", "zones.zip", "zones.gpkg", "zones.csv", "TASKDATA/"):
        assert any(fault.startswith(f"{name}: ") for fault in faults)


ASKED = {
    "bottom": Options(all_moistures=True, moisture="dry"),
    "creek": Options(moisture="wet", taskset_version=3, taskset_grid=True),
    "level": Options(taskset_version=None),
}


@pytest.mark.usefixtures("without_sheets")
@pytest.mark.parametrize("name", ASKED)
def test_demo_fields_agree_whatever_was_asked(name):
    plan, asked = demo_plan(name), ASKED[name]
    files = bundle_files(plan, asked)
    assert differences(files, plan, asked) == []
    assert differences(files, restored_plan(files), asked) == []


@pytest.mark.usefixtures("without_sheets")
def test_margins_agree_where_they_were_asked_for():
    plan = demo_plan("bottom")
    asked = Options(taskset_value="margin")
    files = bundle_files(plan, asked)
    assert differences(files, plan, asked) == []
    faults = differences(files, plan, Options())
    assert faults
    assert all("it commands" in fault or "is named" in fault for fault in faults)


@pytest.mark.parametrize(
    "name",
    [
        "Поле 北の畑 😀 2",
        'Sow\'s "80" <north> & Åmål; =1+1',
        "2024-05-01",
        "[1, 2]",
        "  two  spaces\tand\nlines, half a \udc80letter\x00",
        "x" * 400,
    ],
)
@pytest.mark.usefixtures("without_sheets")
def test_words_of_any_kind_come_through_every_file(name):
    moist = replace(
        SETTINGS[0].moistures["moist"], closing_notch=name, notices=remarks(name, "Slow.")
    )
    marked = replace(
        SETTINGS[0],
        zone=replace(
            SETTINGS[0].zone, site=Marks(part=drawn_zone(name)), marked=((drawn_zone(name), 1.0),)
        ),
        moistures={**SETTINGS[0].moistures, "moist": moist},
    )
    plan = replace(
        small_plan(),
        field=replace(FIELD, name=name),
        settings=(marked, *SETTINGS[1:]),
        notices=remarks(name),
    )
    files = bundle_files(plan, Options())
    assert differences(files, plan, Options()) == []
    assert differences(files, restored_plan(files), Options()) == []


@pytest.mark.parametrize("name", ["Поле за рекой", "北の畑 😀 2", "half a \udc80letter", "What?"])
def test_a_sheet_is_for_its_field_whatever_its_letters(name):
    plan = replace(small_plan(), field=replace(FIELD, name=name))
    files = {"summary.pdf": bundle.SHEETS["summary.pdf"](plan)}
    assert differences(files, plan, Options()) == []
    assert len(differences(files, small_plan(), Options())) == 1


@pytest.mark.usefixtures("without_sheets")
def test_a_grid_may_miss_an_outline_by_its_cells_but_not_by_a_zone():
    asked = Options(taskset_grid=True)
    files = bundle_files(small_plan(), asked)
    tasks = {name: each for name, each in files.items() if name.startswith("TASKDATA/")}
    assert differences(tasks, small_plan(), asked) == []
    # WORKED: 20 cells of 3 m by 3 m are 180 m² of 3600; outlines of 240 m by 2.1 m are 511 m².
    # The whole zone is 7 times that.
    grid = "TASKDATA/GRD00001.BIN"
    moved = {**tasks, grid: tasks[grid].replace(b"\x03" * 20, b"\x02" * 20, 40)}
    assert any("zone 2 encloses" in fault for fault in differences(moved, small_plan(), asked))


@pytest.mark.usefixtures("without_sheets")
def test_a_field_far_in_the_south_and_east_agrees():
    crs = "+proj=laea +lat_0=-34.5 +lon_0=150.25 +datum=WGS84 +units=m"
    plan = replace(small_plan(), field=replace(FIELD, crs=crs, shape=box(-150, -100, 150, 100)))
    files = bundle_files(plan, Options())
    assert differences(files, plan, Options()) == []


def test_a_name_that_a_newer_zoneplan_added_is_no_difference(files):
    content = files["plan.json"].replace(b'"rows": 8', b'"rows": 8, "sensors": {"n": [1]}')
    content = content.replace(b'"uncovered_ha"', b'"later": [{"a": 1}], "uncovered_ha"')
    content = content.replace(b'"drainage"', b'"flooding": "rare", "drainage"')
    assert content.count(b"later") == 1
    assert content.count(b"flooding") == 3
    by_name = {**files, "plan.json": content}
    assert restored_plan(by_name) == restored_plan(files)
    assert differences({"plan.json": content}, small_plan(), Options()) == []


def test_a_list_that_is_longer_is_a_difference(files):
    content = files["plan.json"].replace(b'"kept": []', b'"kept": [{"zones": 9, "share": 1.0}]')
    result = differences({"plan.json": content}, small_plan(), Options())
    assert result == ["plan.json: $.kept is 1, not 0"]
