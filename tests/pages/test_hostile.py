"""Names that mean harm reach every page, and do nothing there."""

import io
from html.parser import HTMLParser

import pytest
from click.testing import CliRunner
from google.protobuf.message import Message
from playwright.sync_api import expect
from pypdf import PdfReader
from streamlit.testing.v1 import AppTest

from tests.helpers.jobs import plan_of
from tests.pages.hostile import (
    RAW_HTML,
    RAW_MARKDOWN,
    SERVER,
    evil,
    evil_notch,
    hostile_job,
)
from tests.pages.test_app import APP, turned_to
from tests.pages.test_start import drop, pressed, start
from tests.pages.uploads import EAST, TWO_SOILS, WEST, features, machine, upload
from zoneplan.cli import main
from zoneplan.export.bundle import output_files
from zoneplan.export.manifest import Options
from zoneplan.harmless import on_terminal
from zoneplan.pages.compare import KEPT, MOST_LETTERS
from zoneplan.pages.frame import PAGES
from zoneplan.pages.intake import SAVED
from zoneplan.pages.words import shortened
from zoneplan.store.archive import opened, saved

# Where text is shown as it is, whatever it says. All else is Markdown: a label, a hint, a heading.
AS_TYPED = {
    "selectbox.options",
    "selectbox.raw_value",
    "text_input.value",
    "text_input.default",
    "text_area.value",
    "text_area.default",
    "text_input.placeholder",
}
HTML = "html.body"
SVG_AND_SCRIPT = {"component_instance.json_args"}  # of the map: its words are tested in a browser


@pytest.fixture(scope="module")
def plan():
    job = hostile_job()
    return "hostile.zip", saved(job, plan_of(job)), "application/zip"


@pytest.fixture
def app(plan):
    """The app with it opened."""
    app = AppTest.from_file(APP, default_timeout=60)
    app.session_state["field"] = "a saved plan"
    app.run()
    app.file_uploader(key="saved-side-0").set_value(plan).run()
    assert not app.exception
    return app


def texts(app):
    """Every text that is sent to the page, and the kind of element and part that it stands in."""

    def of(node):
        proto = getattr(node, "proto", None)
        if isinstance(proto, Message):
            kind = getattr(node, "type", type(node).__name__)
            for where, text in parts(proto):
                yield f"{kind}.{where}", text
        for child in getattr(node, "children", {}).values():
            yield from of(child)

    def parts(message):
        for field, value in message.ListFields():
            several = value if field.is_repeated else [value]
            for one in several:
                if isinstance(one, str):
                    yield field.name, one
                elif isinstance(one, Message):
                    for where, text in parts(one):
                        yield f"{field.name}.{where}", text

    yield from of(app._tree)


def held_to(app):
    """Hold all texts of a page to it; tell where the hostile ones stood."""
    seen = set()
    for where, text in texts(app):
        if "evil" not in text or where in SVG_AND_SCRIPT:
            continue
        seen.add(where)
        if where == HTML:
            traces = [trace for trace in RAW_HTML if trace in text]
        elif where in AS_TYPED:
            traces = []
        else:
            traces = [trace for trace in RAW_MARKDOWN if trace in text]
        assert traces == [], f"{where}: {text[:300]}"
    return seen


@pytest.mark.parametrize("page", PAGES)
def test_every_text_on_every_page_is_escaped_for_where_it_stands(app, page):
    if page != "field.py":
        turned_to(page.removesuffix(".py"), app)
    where = "text_input.value" if page == "planter.py" else HTML  # names stand in boxes there
    assert where in held_to(app)
    assert not app.exception


def test_names_in_a_file_of_many_fields_are_escaped_where_they_are_chosen_and_planned():
    fields = ((WEST, {"name": evil("one"), "x": evil("a")}), (EAST, {"name": evil("two")}))
    app = drop(start(), upload("many.geojson", features(*fields)), TWO_SOILS, machine("creek"))
    assert "checkbox.label" in held_to(app)
    for number in (1, 2):
        app.checkbox(key=f"field-{number}").check().run()
    for key in ("take-fields", "plan-it", "queue-done"):
        pressed(app, key)
        assert HTML in held_to(app)


def test_a_plan_kept_under_such_a_name_is_escaped_beside_the_other(app):
    turned_to("compare", app)
    name = evil_notch(1)[:MOST_LETTERS]
    app.text_input(key="compare-name").set_value(name)
    app.button(key="compare-keep").click().run()
    assert app.selectbox(key="compare-with").value == f"{KEPT}{name}"
    assert {HTML, "selectbox.options"} <= held_to(app)


def test_a_fault_in_a_file_of_such_a_name_is_told_in_words_alone(app):
    app.session_state["desk"].refused = ("side", evil("error"))
    app.selectbox(key="field").set_value(SAVED).run()
    assert HTML in held_to(app)


# ---- on paper, in files, on a terminal ----------------------------------------------------------


@pytest.fixture(scope="module")
def made(plan):
    return output_files(plan_of(opened(plan[1], plan[0]).job), Options()).files


@pytest.mark.parametrize("sheet", ["summary.pdf", "cab.pdf", "agronomist.pdf"])
def test_a_sheet_prints_it_and_runs_none_of_it(made, sheet):
    pages = PdfReader(io.BytesIO(made[sheet])).pages
    text = "".join("".join(page.extract_text() for page in pages).split())
    assert "field_a_**owned**" in text
    assert "root:" not in text
    links = [
        str(link.get_object().get("/A", {}).get("/URI"))
        for page in pages
        for link in page.get("/Annots") or ()
    ]
    assert [link for link in links if SERVER in link and link != f"https://{SERVER}/link"] == []


class Tags(HTMLParser):
    """Every tag of a page, with its attributes."""

    def __init__(self, page):
        super().__init__()
        self.found = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.found += [(tag, name, value or "") for name, value in attrs] or [(tag, "", "")]


def test_the_landowners_page_says_it_and_holds_no_element_of_it(made):
    page = made["field.html"].decode()
    assert SERVER in page
    tags = Tags(page).found
    assert "img" not in {tag for tag, _, _ in tags}
    assert len([tag for tag, _, _ in tags if tag in ("script", "style")]) == 2
    assert [name for _, name, _ in tags if name.startswith("on")] == []
    words = (
        "aria-label",
        "alt",
        "title",
        "data-dry",
        "data-moist",
        "data-wet",
    )  # read out, or said
    assert {name for _, name, value in tags if SERVER in value} <= {*words}


def test_the_command_line_prints_it_and_is_not_steered(tmp_path):
    sources = hostile_job().sources
    given = {"boundary": sources.boundary, "soil": sources.soils[0]}
    paths = {name: tmp_path / f"{name}.geojson" for name in given}
    for name, sent in given.items():
        paths[name].write_bytes(sent.content)
    machine = tmp_path / "planter.toml"
    machine.write_bytes(sources.machine.content)
    arguments = [paths["boundary"], "--soil", paths["soil"], "--machine", machine]
    for more in (["--why"], ["--json"]):
        out = str(tmp_path / more[0])
        result = CliRunner().invoke(main, ["plan", *map(str, arguments), "--out", out, *more])
        assert result.exit_code == 0, result.output
        assert "owned" in result.output
        assert all(letter.isprintable() or letter == "\n" for letter in result.output)


# ---- in a browser -------------------------------------------------------------------------------


def looks(text):
    """Text as a page shows it: in one line, and what steers a terminal written out."""
    return " ".join(on_terminal(text).split())


@pytest.mark.browser
def test_nothing_of_it_acts_and_it_looks_as_it_was_typed(visit, plan, tmp_path):
    page = visit.page
    visit.choose("Which field", SAVED)
    _, content, kind = plan
    chooser = page.locator("[data-testid=stFileUploader] input[type=file]").first
    chooser.set_input_files({"name": f"{evil('zip')}.zip", "mimeType": kind, "buffer": content})
    expect(page.locator("h1")).to_have_text(looks(evil("field")))
    visit.one_map()
    sent = page.get_by_role("button", name="boundary-file")
    shown = sent.inner_text().replace("\u2060", "")
    name = looks(shortened(f"{evil('boundary-file')}.geojson"))
    assert f" {name}, " in " ".join(shown.split())
    for number in range(visit.zones.count()):
        visit.zones.nth(number).hover(position={"x": 8, "y": 8}, force=True)
    visit.choose("Zone", "zone _a_")
    for title, address in PAGES.values():
        if address:
            visit.turn_to(title)
        page.locator("details:not([open]) > summary").evaluate_all(
            "all => all.map(it => it.click())"
        )
        visit.at_rest()
        page.screenshot(path=tmp_path / f"{title}.png", full_page=True)
        if title == "Draw":
            page.get_by_role("radio", name="Zone").or_(
                page.get_by_role("button", name="Zone", exact=True)
            ).first.click()
            visit.one_map()
            visit.map.locator("path.leaflet-interactive").first.hover(force=True)
        for frame in page.frames:
            drawn = "img, script, style, link, iframe, image, use"
            assert_none(frame, f":is({drawn})[src*='{SERVER}']")
            assert_none(frame, f":is({drawn})[href*='{SERVER}']")
            assert_none(frame, "[onerror], [onload]:not(body)")
    visit.turn_to("Sheets and files")
    page.get_by_text("Landowner's page", exact=True).first.click()
    landowners = page.frame_locator("iframe").locator("h1")
    expect(landowners).to_contain_text("field _a_ **owned**")
    visit.turn_to("Compare")
    page.get_by_label("Keep this plan (B) as").fill(evil_notch(1)[:MOST_LETTERS])
    page.get_by_role("button", name="Keep it to compare with").click()
    visit.at_rest()
    expect(page.locator("figure.zp-map strong").first).to_have_text(
        looks(evil_notch(1)[:MOST_LETTERS])
    )
    assert visit.outside == []


def assert_none(frame, selector):
    assert frame.locator(selector).count() == 0, selector
