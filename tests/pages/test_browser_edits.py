"""Changes by hand on the map of the field, in Chromium with the network cut: pytest -m browser."""

import re

import pytest
from playwright.sync_api import expect

from tests.pages.uploads import SQUARE, TWO_SOILS, WEST, features, square, upload
from tests.pages.visit import elsewhere

pytestmark = pytest.mark.browser


class Hand:
    """One hand at the box of a zone and on the map beside it."""

    def __init__(self, visit, zone):
        self.visit, self.page, self.map = visit, visit.page, visit.map
        expect(visit.title).to_contain_text("Zone 1:")
        visit.at_rest()
        visit.click_zone(zone)
        expect(visit.title).to_contain_text(f"Zone {zone}:")
        visit.at_rest()
        self.page.get_by_text("Change this zone").click()
        self.visit.at_rest()
        self.moved = self.page.locator(".zp-changed")
        self.lines = self.page.locator(".st-key-changes p.zp-change")

    def say(self, why="we dug", initials="AB"):
        for name, words in (("Why", why), ("Your initials", initials)):
            box = self.page.get_by_role("textbox", name=name, exact=True)
            box.fill(words)
            box.press("Tab")
            self.visit.at_rest()

    def press(self, name):
        self.page.get_by_role("button", name=name, exact=True).click()
        self.visit.at_rest()

    def across(self, up=0.5):
        """Where a level line through a zone begins, bends and ends, outside its outline."""
        self.page.locator("iframe").scroll_into_view_if_needed()
        box = self.map.locator("path.chosen").first.bounding_box()
        y = box["y"] + up * box["height"]
        return [(box["x"] + share * box["width"], y) for share in (-0.03, 0.5, 1.03)]


def test_a_neighbour_is_clicked_to_join_with(visit, called):
    hand = Hand(visit, 5)
    hand.press("Join it with…")
    expect(hand.page.get_by_role("alert")).to_contain_text("Still to give: why, your initials.")
    expect(hand.map.locator("#asks")).to_be_hidden()
    hand.say("one soil")
    hand.press("Join it with…")
    expect(hand.map.locator("#asks")).to_contain_text("Click the zone to join with zone 5.")
    near = hand.map.locator(".zone.near b")
    expect(near).to_have_text(["1", "2", "4"])
    visit.click_zone(7)  # no neighbour: nothing
    visit.at_rest()
    expect(visit.title).to_contain_text("Zone 5:")
    visit.click_zone(4)
    expect(visit.zones).to_have_count(6)
    expect(hand.moved).to_contain_text("Zones 4 and 5 were joined: zone 4 now")
    expect(visit.title).to_contain_text("Zone 4:")
    expect(hand.map.locator("#asks")).to_be_hidden()
    expect(hand.lines).to_have_text(
        [re.compile(r"^1\. Joined with its neighbour: zone 4, by AB on [\d-]+: one soil$")]
    )
    hand.press("Take back 1")
    expect(visit.zones).to_have_count(7)
    assert visit.outside == []
    assert elsewhere(called) == []


def test_a_zone_is_split_along_a_line_that_is_drawn_and_its_number_survives_on_both_parts(visit):
    hand = Hand(visit, 6)
    hand.say("harder here")
    hand.page.get_by_role("spinbutton", name="Margin, moist, lb").fill("150")
    hand.page.keyboard.press("Tab")
    visit.at_rest()
    hand.press("Make the change")
    expect(hand.moved).to_contain_text("150 lb")
    hand.say("two fields once")
    hand.press("Split it by a line…")
    bar = hand.map.locator("#asks")
    expect(bar).to_contain_text("begin and end outside it")
    done = hand.map.get_by_role("button", name="Split here")
    expect(done).to_be_disabled()
    begin, middle, end = hand.across()
    for spot in (begin, middle):
        hand.page.mouse.click(*spot)
    expect(bar).to_contain_text("Corners: 2.")
    done.click()  # it ends inside
    expect(hand.page.get_by_role("alert")).to_contain_text("The line does not split zone 6")
    expect(bar).to_contain_text("Corners: 2.")  # and nothing of it is lost
    expect(visit.zones).to_have_count(7)
    hand.map.get_by_role("button", name="Last corner back").click()
    expect(bar).to_contain_text("Corners: 1.")
    _, middle, end = hand.across()
    for spot in (middle, end):
        hand.page.mouse.click(*spot)
    expect(bar).to_contain_text("Corners: 3.")
    done.click()
    expect(visit.zones).to_have_count(8)
    expect(hand.moved).to_contain_text("Zone 6 was split: zones ")
    rows = hand.page.locator("table", has_text="Every zone").locator("tr", has_text="150 lb")
    expect(rows.locator("th")).to_have_text(re.compile(r"^\d, \d$"))  # one treatment, two zones
    assert visit.outside == []


def test_a_line_is_drawn_by_keys_alone_and_escape_goes_back(visit):
    hand = Hand(visit, 6)
    hand.say("two fields once")
    hand.press("Split it by a line…")
    bar, field = hand.map.locator("#asks"), hand.map.locator("#map")
    field.focus()
    hand.page.keyboard.press("Enter")
    expect(bar).to_contain_text("Corners: 1.")
    hand.page.keyboard.press("ArrowRight")
    hand.page.wait_for_timeout(500)  # the map moves
    hand.page.keyboard.press("Enter")
    expect(bar).to_contain_text("Corners: 2.")
    hand.page.keyboard.press("Backspace")
    expect(bar).to_contain_text("Corners: 1.")
    hand.page.keyboard.press("Escape")
    expect(bar).to_be_hidden()
    expect(hand.page.get_by_role("button", name="Split it by a line…")).to_be_visible()
    visit.click_zone(4)
    expect(visit.title).to_contain_text("Zone 4:")


def test_a_number_far_outside_asks_first_and_the_page_says_what_it_moved(visit):
    hand = Hand(visit, 6)
    hand.say("we dug")
    hand.page.get_by_role("spinbutton", name="Margin, moist, lb").fill("300")
    hand.page.keyboard.press("Tab")
    visit.at_rest()
    hand.press("Make the change")
    expect(hand.page.get_by_role("alert")).to_contain_text("300 lb lies far outside the window")
    expect(hand.moved).to_have_count(0)
    hand.press("Use it anyway")
    expect(hand.moved).to_contain_text("300 lb")
    expect(hand.moved).to_contain_text("What no longer holds")
    expect(hand.page.get_by_role("spinbutton", name="Margin, moist, lb")).to_have_value("")
    expect(hand.lines.first).to_contain_text("far outside its window, asked and meant")


@pytest.mark.parametrize("wide", [1280, 390])
def test_every_state_passes_the_check_and_fits_the_screen(visit, wide):
    page, barriers = visit.page, []
    page.set_viewport_size({"width": wide, "height": 844})
    hand = Hand(visit, 6)

    def check(state):
        barriers.extend(visit.barriers(state))

    check("the box")
    hand.press("Make the change")
    check("a fault")
    hand.say("we dug")
    hand.press("Join it with…")
    check("join")
    bar = hand.map.locator("#asks").bounding_box()
    assert bar["width"] <= wide
    page.get_by_role("button", name="Go back", exact=True).click()
    visit.at_rest()
    hand.press("Split it by a line…")
    check("split")
    hand.press("North from south")
    expect(visit.zones).to_have_count(8)
    check("split in two")
    hand.say("we dug")
    page.get_by_role("spinbutton", name="Margin, moist, lb").fill("300")
    page.keyboard.press("Tab")
    visit.at_rest()
    hand.press("Make the change")
    check("far")
    hand.press("Use it anyway")
    check("put")
    hand.press("Take back 1")
    check("taken back")
    assert barriers == []


@pytest.mark.parametrize("wide", [1280, 390])
def test_what_is_asked_when_files_are_swapped_under_changes_passes_the_check(visit, wide):
    page, barriers = visit.page, []
    visit.send(square(), TWO_SOILS)
    expect(visit.zones).to_have_count(2)
    hand = Hand(visit, 2)
    page.get_by_role("spinbutton", name="Margin, moist, lb").fill("120")
    page.keyboard.press("Tab")
    hand.say("dug in the east")
    hand.press("Make the change")
    files = page.locator("[data-testid=stFileUploader]")

    def swap(before, label, name, shape, properties):
        page.get_by_role("button", name=before).click()
        visit.at_rest()
        name, data, kind = upload(name, features((shape, properties)))
        files.filter(has_text=label).locator("input[type=file]").set_input_files(
            {"name": name, "mimeType": kind, "buffer": data}
        )
        visit.at_rest()

    question = page.get_by_role("alert")
    swap("soils.geojson", "Soil layers", "finer.geojson", SQUARE, {"texture": "loam"})
    expect(question).to_contain_text("Another file came under what was changed by hand")
    expect(question).to_contain_text("dug in the east")
    page.set_viewport_size({"width": wide, "height": 844})
    barriers += visit.barriers("another soil")
    page.get_by_role("button", name="Back to the plan before").press("Enter")
    visit.at_rest()
    page.set_viewport_size({"width": 1280, "height": 900})
    swap("square.geojson", "Boundary", "west.geojson", WEST, {})
    expect(question).to_contain_text("Another outline came")
    expect(question).to_contain_text("No place for it any more")
    page.set_viewport_size({"width": wide, "height": 844})
    barriers += visit.barriers("another outline")
    page.get_by_role("button", name="Another field: begin without them").press("Enter")
    visit.at_rest()
    expect(question).to_have_count(0)
    assert barriers == []
    assert visit.outside == []
