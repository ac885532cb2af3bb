"""The page of what leaves: previews, files, the saved plan, and opening one again."""

import base64
import datetime
import io
import json
import re
import zipfile

import geopandas as gpd
import pytest
import shapely
import streamlit as st
from pypdf import PdfReader
from streamlit.testing.v1 import AppTest

from tests.helpers.jobs import demo_job, job, plan_of
from tests.pages.test_app import APP, fault, opened, own, shown, turned_to
from tests.pages.test_state import press
from tests.pages.uploads import (
    DEMOS,
    HOSTILE,
    SQUARE,
    TWO_SOILS,
    features,
    machine,
    square,
    survey,
    upload,
)
from zoneplan.demo import plan_demo
from zoneplan.errors import OutputError
from zoneplan.export.bundle import (
    EVERYTHING,
    MAKERS,
    TASKSET,
    OutputFiles,
    bundle_files,
    output_files,
)
from zoneplan.export.manifest import Options
from zoneplan.export.sheets.printed import pages_of
from zoneplan.export.zone_files import zipped
from zoneplan.pages import answers, sheets
from zoneplan.pages.frame import SAVED_NEEDED
from zoneplan.pages.intake import SAVED
from zoneplan.pages.sheets import FILES, SHEETS
from zoneplan.pages.state import MACHINE_FILE, OWN_FIELD
from zoneplan.request import Drawn, Request
from zoneplan.sources import Upload
from zoneplan.store import archive
from zoneplan.store.archive import PLAN, WORK, saved
from zoneplan.units import HA_PER_ACRE, M_PER_FT, M_PER_IN, MPS_PER_MPH

_PIXEL = base64.b64decode(  # WORKED: a PNG of one white pixel
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGP4DwABAQEAsTj2FAAAAABJRU5ErkJggg=="
)
SHEET_FILES = [sheet for sheet in SHEETS if sheet != sheets.LANDOWNER]


@pytest.fixture
def offered(monkeypatch):
    """What the page offers to take home, by its name: the content and what it is said to be."""
    files = {}

    def spy(_label, data, file_name, mime, **_):
        files[file_name] = (data, mime)

    monkeypatch.setattr(st, "download_button", spy)
    return files


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """What is asked of the files, which take their time and are not made."""
    asked = []

    def no_files(_plan, options):
        asked.append(options)
        return OutputFiles(dict.fromkeys(FILES, b""))

    monkeypatch.setattr(answers, "output_files", no_files)
    monkeypatch.setattr(answers, "pages_of", lambda *_, **__: [_PIXEL])
    return asked


@pytest.fixture
def real(monkeypatch):
    """Files and pictures as they are."""
    monkeypatch.setattr(answers, "output_files", output_files)
    monkeypatch.setattr(answers, "pages_of", pages_of)


@pytest.fixture(scope="module")
def saved_zip():
    """The creek field as it was saved."""
    return upload("creek.zip", saved(demo_job("creek"), plan_demo(DEMOS["creek"])))


def sheets_of(field="level", **chosen):
    """The app at this page from the start."""
    app = AppTest.from_file(APP, default_timeout=30)
    for key, value in {"field": field, **chosen}.items():
        app.session_state[key] = value
    return turned_to("sheets", app)


def contents(offered):
    return {name: data() if callable(data) else data for name, (data, _) in offered.items()}


def unzipped(content):
    archive = zipfile.ZipFile(io.BytesIO(content))
    return {name: archive.read(name) for name in archive.namelist()}


def choose(app, **boxes):
    for key, value in boxes.items():
        app.button_group(key=key.replace("_", "-")).set_value(value)
    return app.run()


@pytest.mark.usefixtures("real")
def test_downloads_are_what_the_builders_make(offered, monkeypatch):
    monkeypatch.setattr(answers, "_LOOK_S", 0.0)  # two bars in one run: of the plan, of its files
    shown(sheets_of())
    assert set(offered) == {*FILES, "Level eighty (saved plan).zip"}
    assert set(FILES) == {*MAKERS, TASKSET, EVERYTHING}
    plan = plan_demo(DEMOS["level"])
    made = contents(offered)
    expected = bundle_files(plan, Options())
    assert unzipped(made[EVERYTHING]) == expected
    assert {name: made[name] for name in MAKERS} == {name: expected[name] for name in MAKERS}
    assert [*unzipped(made[TASKSET])] == ["TASKDATA/TASKDATA.XML"]
    # Read back by what a browser would be told they are.
    assert offered["summary.pdf"][1] == "application/pdf"
    assert made["summary.pdf"].startswith(b"%PDF-")
    assert json.loads(made["plan.json"])["field"]["name"] == plan.field.name
    assert len(gpd.read_file(io.BytesIO(made["zones.geojson"]))) == len(plan.settings)
    assert "zones.shp" in zipfile.ZipFile(io.BytesIO(made["zones.zip"])).namelist()


@pytest.mark.usefixtures("real")
def test_whose_plan_it_is_is_asked_once_and_plans_nothing_again(offered, monkeypatch):
    app = sheets_of()
    for key, value in {"farm": "Mud Farm", "season": "2027", "prepared_by": "B. Reed"}.items():
        app.text_input(key=key).set_value(value)
    app.number_input(key="revision").set_value(2)
    app.date_input(key="dated").set_value(datetime.date(2027, 4, 1))
    monkeypatch.setattr(answers, "plan_ground", None)  # what is planned again fails
    offered.clear()
    shown(app.run())
    made = contents(offered)
    cab = made["mud-farm-level-eighty-2027-r2-cab.pdf"]
    page = " ".join(PdfReader(io.BytesIO(cab)).pages[0].extract_text().split())
    assert "Mud Farm, season 2027, plan 2, 1 Apr 2027; prepared by B. Reed" in page
    assert "mud-farm-level-eighty-2027-r2-field.html" in made
    assert not {"cab.pdf", "field.html"} & set(made)
    title = archive.opened(made["Level eighty (saved plan).zip"], "saved").job.request.title
    assert (title.farm, title.revision) == ("Mud Farm", 2)


def test_every_option_of_the_command_line_is_there(quick):
    app = sheets_of("bottom")
    app.selectbox(key="moisture").set_value("wet")
    choose(app, paper="a4", units="si")
    app.checkbox(key="every").check()
    app.selectbox(key="taskset").set_value("version 3")
    app.checkbox(key="grid").check()
    shown(app.checkbox(key="margins").check().run())
    assert quick[-1] == Options("wet", True, "a4", "si", 3, True, "margin")
    shown(app.selectbox(key="taskset").set_value("none").run())
    assert quick[-1] == Options("wet", True, "a4", "si", None)
    assert "grid" not in {box.key for box in app.checkbox}
    turned_to("sheets", turned_to("field", app))  # and nothing chosen is forgotten
    assert quick[-1] == Options("wet", True, "a4", "si", None)


def test_a_caution_comes_with_margins_in_the_task_set():
    assert "margins" not in {box.key for box in sheets_of("level").checkbox}
    app = sheets_of("bottom")  # whose planter holds a margin
    assert "<details class='zp-sheets' ><summary>" in shown(app)
    app.checkbox(key="margins").check().run()
    assert "<details class='zp-sheets' open><summary>" in shown(app)
    assert "Load it only where the controller is known to take that entry as a margin" in shown(app)


@pytest.mark.usefixtures("real")
@pytest.mark.parametrize("sheet", SHEET_FILES)
def test_every_page_of_a_sheet_is_pictured_and_described(sheet, monkeypatch):
    pictures = []
    monkeypatch.setattr(st, "image", lambda page, alt, **_: pictures.append((page, alt)))
    shown(sheets_of(sheet=sheet))
    pages = PdfReader(io.BytesIO(MAKERS[sheet](plan_demo(DEMOS["level"])))).pages
    assert len(pictures) == len(pages)
    for number, (page, alt) in enumerate(pictures, 1):
        assert page.startswith(b"\x89PNG")
        assert alt.startswith(f"{SHEETS[sheet]}, page {number} of {len(pages)}. ")


@pytest.mark.usefixtures("real")
def test_the_landowners_page_is_shown_in_a_frame_of_its_own():
    app = sheets_of(sheet=sheets.LANDOWNER)
    shown(app)
    (frame,) = app.get("iframe")
    kind, _, content = frame.proto.src.partition(",")
    assert kind == "data:text/html;charset=utf-8;base64"  # an origin that is not the app's
    assert base64.b64decode(content) == MAKERS[sheets.LANDOWNER](plan_demo(DEMOS["level"]))
    assert frame.proto.alt == "Landowner's page, preview"


def test_a_landowners_page_that_no_address_holds_is_not_shown(monkeypatch):
    steps = []
    monkeypatch.setattr(st, "html", steps.append)
    sheets._landowners_page(bytes(2_000_000))
    assert "It is too long to be shown here" in steps[0]


def test_a_file_that_cannot_be_made_is_a_fault_of_its_own(monkeypatch):
    def refuse(*_):
        raise OutputError("zones.csv is not as it should be.\nReport it.")

    monkeypatch.setattr(answers, "output_files", refuse)
    app = sheets_of()
    assert "<p>zones.csv is not as it should be.</p>" in shown(app)
    assert "<h1>Level eighty</h1>" in shown(app)


def test_making_files_can_be_stopped():
    app = sheets_of()
    desk = app.session_state["desk"]
    desk.stopped = ("files", desk.now, Options(paper="a4"))  # as the button does
    choose(app, paper="a4")
    assert "Stopped. Nothing was changed." in shown(app)
    assert "<h1>Level eighty</h1>" in shown(app)
    assert [button.label for button in app.get("download_button")] == ["Save the plan"]
    next(button for button in app.button if button.label == "Go on").click().run()
    assert len(app.get("download_button")) == 1 + len(FILES)


# ---- open it again -----------------------------------------------------------------------------


def saved_by(app, offered):
    offered.clear()
    shown(turned_to("sheets", app))
    (name,) = (file for file in offered if file.endswith("(saved plan).zip"))
    return upload(name, contents(offered)[name])


def open_in_the_side(app, sent):
    app.selectbox(key="field").set_value(SAVED).run()
    fresh = app.session_state["desk"].fresh
    return app.file_uploader(key=f"saved-side-{fresh}").set_value(sent).run()


def plain(text):
    """All that is said of the plan itself."""
    return re.sub(r'^<p class="zp-said".*?</p>\n', "", text)


def changed(content, **parts):
    files = unzipped(content)
    document = json.loads(files[PLAN])
    for zone in document["zones"]:
        zone["moistures"]["moist"].update(parts)
    return zipped(files | {PLAN: json.dumps(document).encode()})


@pytest.mark.slow
def test_a_saved_plan_is_opened_to_the_same_page(offered):
    app = own(square(), TWO_SOILS, machine=MACHINE_FILE)
    app.file_uploader(key="machine_file").set_value(machine("level"))
    app.number_input(key="speed_mps").set_value(6.0)
    app.number_input(key="headland_passes").set_value(2).run()
    app.multiselect(key="headland_sides").set_value(["north"]).run()
    text = shown(app)
    sent = saved_by(app, offered)
    other = open_in_the_side(opened("level"), sent)
    other_text = shown(other)
    assert other_text.startswith(
        '<p class="zp-said" role="status">Opened: square, with the numbers it had.</p>'
    )
    assert plain(other_text) == text
    assert other.session_state["desk"].now == app.session_state["desk"].now
    assert other.number_input(key="speed_mps").value == 6.0
    # What is changed now is not what was opened; a step back is.
    other.number_input(key="depth_m").set_value(3.0).run()
    assert "Opened:" not in shown(other)
    press(other, "undo")
    assert shown(other) == text
    press(other, "undo")
    assert "<h1>Level eighty</h1>" in shown(other)
    assert saved_by(open_in_the_side(sheets_of(), sent), offered) == sent  # the same bytes


def test_numbers_that_are_other_than_they_were_are_told(saved_zip):
    app = open_in_the_side(
        sheets_of(), upload("x.zip", changed(saved_zip[1], closing_notch="<b>Q"))
    )
    text = shown(app)
    assert "Opened: Creek field, but not all of its numbers are what they were" in text
    assert "put no older file into the cab" in text
    assert "<li>Zone 1, moist: closing notch " in text
    assert ", was &lt;b&gt;Q.</li>" in text
    assert text.count("<h1>Creek field</h1>") == 1
    assert "but not all" in shown(app.run())  # until something else is asked


def test_a_page_without_a_plan_opens_one_too(saved_zip):
    app = sheets_of()
    app.selectbox(key="field").set_value(OWN_FIELD).run()
    assert "Still to give" in shown(app)
    assert "Level eighty" not in shown(app)  # the plan before is not shown as if it stood
    app.file_uploader(key="saved-page-0").set_value(saved_zip).run()
    assert "Opened: Creek field, with the numbers it had." in shown(app)
    assert app.selectbox(key="field").value == "creek"


def test_what_cannot_be_opened_says_why_and_nothing_is_lost(saved_zip):
    app = opened("level", speed_mps=6.0)
    text = shown(app)
    app.selectbox(key="field").set_value(SAVED).run()
    assert SAVED_NEEDED in shown(app)
    for sent, words in {
        "boundary": (square(), "square.geojson cannot be unpacked: File is not a zip file"),
        "survey": (survey("level"), "survey.zip is no saved plan: there is no work.json"),
        "finished": (
            upload("plan.zip", zipped(bundle_files(plan_demo(DEMOS["level"]), Options()))),
            "plan.zip holds a finished plan",
        ),
        "half": (upload("half.zip", saved_zip[1][:900]), "half.zip cannot be unpacked"),
    }.values():
        app.file_uploader(key="saved-side-0").set_value(sent).run()
        assert f'<div class="zp-fault" role="alert"><p>{words}' in shown(app)
    app.selectbox(key="field").set_value("level").run()
    assert shown(app) == text
    app = open_in_the_side(app, saved_zip)
    assert "zp-fault" not in shown(app)


def test_who_opens_nothing_goes_back_with_all_files():
    app = own(square(), TWO_SOILS)
    text = shown(app)
    app.selectbox(key="field").set_value(SAVED).run()
    assert shown(press(app, "back-to")) == text


def test_a_saved_plan_whose_ground_cannot_be_read_is_laid_out_all_the_same(offered):
    files = unzipped(saved_by(own(square(), TWO_SOILS), offered)[1])
    files["files/01 square.geojson"] = features()
    app = open_in_the_side(sheets_of(), upload("x.zip", zipped(files)))
    assert "square.geojson holds no area" in fault(app)
    assert any("soils" in box.label for box in app.button)


def test_names_in_a_saved_plan_do_nothing(offered):
    files = unzipped(saved_by(own(square(name=HOSTILE), TWO_SOILS), offered)[1])
    work = json.loads(files[WORK])
    assert work["field"] == HOSTILE
    app = open_in_the_side(opened(), upload(HOSTILE, zipped(files)))
    assert "Opened: &lt;img src=x" in shown(app)
    assert "<script" not in shown(app)
    broken = upload(
        HOSTILE, zipped({WORK: json.dumps(work | {"request": {"edits": HOSTILE}, "sources": {}})})
    )
    app = open_in_the_side(app, broken)
    assert "&lt;script&gt;" in shown(app)
    assert "<script" not in shown(app)


LIMITS = [
    {
        "speed_mps": 1 * MPS_PER_MPH,
        "depth_m": 4 * M_PER_IN,
        "residue_frac": 1.0,
        "headland_passes": 20,
        "least_area_m2": 0.0,
        "least_width_m": 0.0,
        "most_zones": 1,
    },
    {
        "speed_mps": 15 * MPS_PER_MPH,
        "depth_m": 0.5 * M_PER_IN,
        "residue_frac": 0.0,
        "least_area_m2": 1000 * HA_PER_ACRE * 10_000,
        "least_width_m": 1000 * M_PER_FT,
        "most_zones": 2**53 - 1,
    },
]


@pytest.mark.parametrize("limits", LIMITS)
def test_boxes_hold_all_that_a_saved_plan_may(limits):
    asked = demo_job("level", **limits)
    content = saved(asked, plan_demo(DEMOS["level"]))
    app = open_in_the_side(sheets_of("creek"), upload("x.zip", content))
    assert app.session_state["desk"].now == asked


def test_drawn_ground_is_opened_too():
    outline = shapely.to_geojson(SQUARE)
    drawn = (Drawn("boundary", "By hand", outline), Drawn("soil", "loam", outline))
    by_hand = job(Upload("m.toml", machine("level")[1]), Request(drawn=drawn))
    content = saved(by_hand, plan_of(by_hand))
    app = open_in_the_side(sheets_of(), upload("x.zip", content))
    assert "Opened: By hand, with the numbers it had." in shown(app)
    assert app.session_state["desk"].drawn == drawn
