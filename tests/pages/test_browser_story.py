"""The whole story in Chromium with the network cut, and every page held to WCAG 2.1 AA."""

import io
import json

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from tests.pages.uploads import boundary, machine, survey
from tests.pages.visit import Visit, elsewhere
from zoneplan.demo import demo_field, plan_demo
from zoneplan.pages.frame import PAGES, START
from zoneplan.pages.intake import SAVED
from zoneplan.pages.state import MACHINE_FILE

pytestmark = pytest.mark.browser


def files_of(*sent):
    return [{"name": name, "mimeType": kind, "buffer": data} for name, data, kind in sent]


def taken(visit, label):
    """Press a download, and give what comes."""
    with visit.page.expect_download() as download:
        visit.page.get_by_role("button", name=label, exact=True).click()
    return download.value.path().read_bytes()


def fill(visit, label, value):
    box = visit.page.get_by_label(label, exact=True)
    box.fill(value)
    box.press("Tab")
    visit.at_rest()


def numbers(visit):
    """The table of zones, as it reads."""
    return visit.page.locator("table.zp-zones").last.inner_text()


def test_from_files_to_a_printed_plan_and_back(visit, chromium, address, called):
    page = visit.page
    visit.send(boundary("bottom"), survey("bottom"))
    visit.choose("Machine", MACHINE_FILE)
    page.locator("[data-testid=stFileUploader]", has_text="Machine file").locator(
        "input[type=file]"
    ).set_input_files(files_of(machine("bottom")))
    expect(page.locator("h1")).to_have_text("River bottom")
    expect(page.get_by_role("region", name="What was found")).to_contain_text("soil survey")
    expect(visit.zones).to_have_count(len(plan_demo(demo_field("bottom")).settings))
    visit.click_zone(5)  # at once: the first click counts
    expect(visit.title).to_contain_text("Zone 5: silt loam")
    before = numbers(visit)

    visit.turn_to("Rules")
    fill(visit, "Aim for, lb: loam, silt loam, silt, moist", "125")
    expect(page.locator(".st-key-rules-tried .zp-rules-moved")).to_contain_text("+")
    fill(visit, "Why", "Our silt loams crust.")
    fill(visit, "Name of your rules file", "Ours")
    fill(visit, "Your initials", "AB")
    page.get_by_role("button", name="Keep in my rules").click()
    expect(page.locator(".zp-rules-moved")).to_contain_text("The last change of rules moved")

    visit.turn_to("Field")
    expect(visit.title).to_contain_text("Zone 5: silt loam")
    expect(page.locator("table.zp-zones").last).not_to_have_text(before)
    page.get_by_text("Change this zone").click()
    fill(visit, "Margin, moist, lb", "140")
    fill(visit, "Why", "Dug here: the furrow was too shallow.")
    fill(visit, "Your initials", "CD")
    page.get_by_role("button", name="Make the change").click()
    expect(page.locator(".zp-changed")).to_contain_text("140")
    expect(page.locator("table.zp-zones").last).to_contain_text("140 lb by hand")
    mine = numbers(visit)

    # On paper, from the browser: the plan is there, the boxes are not.
    printed = PdfReader(io.BytesIO(page.pdf(format="Letter")))
    text = " ".join(sheet.extract_text() for sheet in printed.pages)
    assert "River bottom" in text
    assert "Dug here: the furrow was too shallow." in text
    assert "Ground covered by residue" not in text
    assert "Make the change" not in text

    visit.turn_to("Sheets and files")
    preview = page.get_by_role("img", name="Printed summary, page 1")
    expect(preview).to_be_visible()
    assert preview.evaluate("it => it.naturalWidth") > 800
    summary = PdfReader(io.BytesIO(taken(visit, "Printed summary")))
    summary_text = " ".join(sheet.extract_text() for sheet in summary.pages)
    assert "140" in summary_text
    plan = json.loads(taken(visit, "The plan, for programs"))
    chain = plan["zones"][4]["moistures"]["moist"]["reasons"]
    assert [link["kind"] for link in chain][-1] == "override"
    assert "judgement of AB" in " ".join(link["source"] for link in chain)
    work = taken(visit, "Save the plan")

    page.reload()
    expect(page.locator("h1")).to_have_text("River bottom")
    visit.turn_to("Field")
    expect(page.locator("table.zp-zones").last).to_contain_text("140 lb by hand")
    assert numbers(visit) == mine

    other = Visit(chromium, address)
    expect(other.page.locator("h1")).to_have_text("River bottom")
    assert "by hand" not in numbers(other)  # a demo field's own plan: nobody else's is seen
    other.choose("Which field", SAVED)
    other.page.locator("[data-testid=stFileUploader] input[type=file]").first.set_input_files(
        {"name": "ours.zip", "mimeType": "application/zip", "buffer": work}
    )
    expect(other.page.get_by_role("status")).to_contain_text("with the numbers it had")
    expect(other.page.locator("table.zp-zones").last).to_contain_text("140 lb by hand")
    assert numbers(other) == mine
    other.turn_to("Sheets and files")
    assert json.loads(taken(other, "The plan, for programs")) == plan
    assert visit.outside == other.outside == []
    assert elsewhere(called) == []


def test_from_a_pile_of_files_to_a_plan_with_one_click(chromium, address):
    begun = Visit(chromium, address, "")
    page = begun.page
    page.locator("[data-testid=stFileUploader] input[type=file]").first.set_input_files(
        files_of(machine("bottom"), survey("bottom"), boundary("bottom"))
    )
    expect(page.locator("figure.zp-outline")).to_contain_text("River bottom: 133.2 acres")
    plan_it = page.get_by_role("button", name="Plan this field")
    plan_it.focus()
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("River bottom")
    expect(begun.title).to_contain_text("Zone 1")
    begun.turn_to("Start")
    expect(page.locator("figure.zp-outline")).to_contain_text("River bottom")
    begun.turn_to("Field")
    page.reload()
    expect(page.locator("h1")).to_have_text("River bottom")
    expect(page.get_by_role("region", name="What was found")).to_contain_text("soil survey")
    assert begun.outside == []


@pytest.mark.parametrize("wide", [1280, 390])
def test_an_aim_is_tried_by_keyboard_and_every_state_of_it_passes_the_check(visit, wide):
    page, barriers = visit.page, []

    def check(state):
        barriers.extend(visit.barriers(state))

    visit.turn_to("Rules")
    page.set_viewport_size({"width": wide, "height": 900})
    aim = page.get_by_label("Aim for, lb: loam, silt loam, silt, moist", exact=True)
    aim.focus()
    page.keyboard.press("Tab")  # the reason of the cell comes after its number
    expect(page.locator("summary:focus")).to_have_text("Why")
    page.keyboard.press("Enter")
    opened = page.locator(".zp-rules-why[open] > div")
    expect(opened).to_contain_text("aim-medium-moist, from stock")
    grid = page.locator(".st-key-rules-grid-aim-0").bounding_box()
    box = opened.bounding_box()
    assert (box["x"], box["width"]) == (grid["x"], grid["width"])  # it has all the grid's room
    check("a reason")
    page.keyboard.press("Enter")
    aim.fill("-5")
    aim.press("Tab")
    beside = page.locator(".st-key-rules-grid-aim-0").get_by_role("alert")
    expect(beside).to_contain_text("Aim for 0 or more")
    check("a fault")
    aim.fill("60")
    aim.press("Enter")
    expect(beside).to_have_count(0)
    expect(page.locator(".st-key-rules-tried")).to_contain_text("105 lb → 60 lb")
    check("tried")
    for label, text in (("Why", "We dug."), ("Name of your rules file", "Ours")):
        fill(visit, label, text)
    fill(visit, "Your initials", "AB")
    page.get_by_role("button", name="Keep in my rules").press("Enter")
    expect(page.locator(".zp-rules-own")).to_contain_text("60 lb, in place of: 105 lb")
    check("kept")
    page.get_by_role("button", name="Back to 105 lb").press("Enter")
    expect(page.locator(".zp-rules-own")).to_have_count(0)
    assert barriers == []
    assert visit.outside == []


@pytest.mark.parametrize("wide", [1280, 820, 390])
def test_every_page_passes_an_accessibility_check(visit, wide):
    expect(visit.title).to_contain_text("Zone 1")
    visit.page.set_viewport_size({"width": wide, "height": 1100})
    barriers = []
    for title, _ in (START | PAGES).values():
        visit.turn_to(title)
        barriers += visit.barriers(title)
    assert barriers == []
