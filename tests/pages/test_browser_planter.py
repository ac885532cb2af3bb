"""From two files and a form to a plan of one's own planter, in Chromium with the network cut."""

import pytest
from playwright.sync_api import expect

from tests.pages.test_browser_story import files_of
from tests.pages.test_planter import BY_SYSTEM, OWNERS
from tests.pages.uploads import boundary, survey
from tests.pages.visit import Visit
from zoneplan.pages.planter import USE
from zoneplan.pages.planter_boxes import TO_GIVE
from zoneplan.pages.state import FILL_IN

pytestmark = pytest.mark.browser

MOST_CLICKS = 8
MOST_TABS = 20  # from one box to be filled in to the next
LABELS = {
    "name": "Name of the planter",
    "rows": "Rows",
    "row_spacing": "Row spacing, in",
    "unit_weight": "Row unit, hopper empty, lb",
    "attachments": "Attachments on it, lb",
    "hopper": "Seed in a full hopper, bu",
    **{f"notches.{row}.load": f"Load at notch {row + 1}, lb" for row in range(4)},
    **{f"system.positions.{row}": f"At position {row + 1}, lb" for row in range(5)},
}
ENTRIES = OWNERS | BY_SYSTEM["springs"]
COUNT = "window.clicks = 0; addEventListener('click', () => { window.clicks += 1 }, true);"


def at_planter(chromium, address):
    visit = Visit(chromium, address, "planter")
    expect(visit.page.locator("h1")).to_have_text("Your planter")
    visit.at_rest()
    return visit


def sum_of(page):
    return page.locator(".zp-sum tbody tr:last-child")


def test_two_files_a_form_and_a_plan(chromium, address):
    visit = Visit(chromium, address, "")
    page = visit.page
    page.evaluate(COUNT)
    page.locator("[data-testid=stFileUploader] input[type=file]").first.set_input_files(
        files_of(survey("level"), boundary("level"))
    )
    expect(page.locator("figure.zp-outline")).to_contain_text("Level eighty")
    visit.at_rest()
    page.get_by_role("link", name=FILL_IN).first.click()
    expect(page.locator("h1")).to_have_text("Your planter")
    visit.at_rest()
    page.get_by_label(LABELS["name"], exact=True).focus()
    for key, label in LABELS.items():  # by keyboard alone, from box to box in the order of LABELS
        entry = page.get_by_label(label, exact=True)
        for _ in range(MOST_TABS):  # past what helps, and the boxes that are full already
            if entry.evaluate("it => it === document.activeElement"):
                break
            page.keyboard.press("Tab")
        expect(entry).to_be_focused()
        page.keyboard.type(str(ENTRIES[key]))
    page.keyboard.press("Tab")
    visit.at_rest()
    # WORKED: 171.5 + 12 lb and 1.6 bu of 56 lb = 273.1 lb; a tenth of the seed: 192.5 lb
    expect(sum_of(page)).to_contain_text("273 lb")
    expect(sum_of(page)).to_contain_text("192 lb")
    expect(page.locator(".zp-beside")).to_have_count(0)
    page.get_by_role("button", name=USE).click()
    expect(page.locator(".zp-head")).to_contain_text("Level eighty")
    expect(page.locator(".zp-head")).to_contain_text("Ours")
    expect(visit.title).to_contain_text("Zone 1")
    clicks = page.evaluate("window.clicks")
    assert 2 <= clicks <= MOST_CLICKS  # and one that opens the choice of files
    visit.at_rest()
    page.reload()
    expect(page.locator(".zp-head")).to_contain_text("Ours")
    visit.choose("Which field", "Creek (demo)")
    visit.choose("Machine", "Ours")
    expect(page.locator(".zp-head")).to_contain_text("Ours")
    assert visit.outside == []


def test_the_sum_follows_while_a_hand_types_and_a_reload_loses_nothing(chromium, address):
    visit = at_planter(chromium, address)
    page = visit.page
    expect(sum_of(page)).to_contain_text("295 lb")  # WORKED: 180 + 25 + 1.6 bu of 56 lb
    page.get_by_label(LABELS["unit_weight"], exact=True).focus()
    page.keyboard.type("280")  # and the hand stays in the box
    expect(sum_of(page)).to_contain_text("395 lb")
    expect(page.get_by_role("img", name="row unit 305 lb")).to_be_visible()
    visit.at_rest()
    page.reload()
    expect(page.get_by_label(LABELS["unit_weight"], exact=True)).to_have_value("280")
    assert visit.outside == []


@pytest.mark.parametrize("wide", [1280, 390])
def test_the_form_passes_an_accessibility_check_with_and_without_faults(chromium, address, wide):
    visit = at_planter(chromium, address)
    page = visit.page
    page.set_viewport_size({"width": wide, "height": 1100})
    barriers = []
    for state in ("begun", "with faults"):
        if state == "with faults":
            page.get_by_label(LABELS["unit_weight"], exact=True).fill("9999")
            page.get_by_role("button", name=USE).click()
            expect(page.get_by_text(TO_GIVE).first).to_be_visible()
            expect(page.locator(".zp-beside", has_text="cannot be")).to_be_visible()
            expect(page.get_by_role("alert")).to_contain_text("still to be filled in or put right")
        barriers += visit.barriers(state)
    assert barriers == []
    unnamed = page.locator(
        "[data-testid=stMain] :is(input, button):not([type=hidden])"
    ).evaluate_all(
        "all => all.filter(it => it.offsetParent && !it.labels?.length && !it.ariaLabel"
        " && !it.textContent.trim() && !it.getAttribute('aria-labelledby')).map(it => it.outerHTML)"
    )
    assert unnamed == []
