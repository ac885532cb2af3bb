"""The app in Chromium with the network cut: run with pytest -m browser."""

import re

import pytest
from playwright.sync_api import expect

from tests.pages.uploads import (
    DEMOS,
    EAST,
    HOSTILE,
    TWO_SOILS,
    WEST,
    features,
    square,
    upload,
)
from tests.pages.visit import Visit, elsewhere
from zoneplan.demo import plan_demo
from zoneplan.export.bundle import MAKERS
from zoneplan.pages.sheets import FILES

pytestmark = pytest.mark.browser


def test_zones_are_drawn_clicked_and_taken_home_with_no_internet(visit, called, tmp_path):
    plan = plan_demo(DEMOS["bottom"])
    expect(visit.zones).to_have_count(len(plan.settings))
    expect(visit.title).to_contain_text("Zone 1:")
    for number in (5, 2, 5):
        visit.click_zone(number)
        expect(visit.title).to_contain_text(f"Zone {number}:")
    # The list and the map go together, and a click counts though the last was on the same zone.
    visit.choose("Zone", "4:")
    expect(visit.title).to_contain_text("Zone 4:")
    visit.zones.nth(4).hover(position={"x": 12, "y": 40})
    expect(visit.map.locator(".leaflet-tooltip")).to_contain_text("Zone 5")
    visit.zones.nth(4).click(position={"x": 12, "y": 40})
    expect(visit.title).to_contain_text("Zone 5:")

    visit.turn_to("Sheets and files")
    for name in ("summary.pdf", "plan.json"):
        with visit.page.expect_download() as taken:
            visit.page.get_by_role("button", name=FILES[name][1], exact=True).click()
        assert taken.value.suggested_filename == name
        taken.value.save_as(tmp_path / name)
        assert (tmp_path / name).read_bytes() == MAKERS[name](plan)
    visit.turn_to("Field")

    visit.page.get_by_role("button", name="wet", exact=True).or_(
        visit.page.get_by_role("radio", name="wet", exact=True)
    ).click()
    expect(visit.page.locator(".zp-zones caption").last).to_have_text("Every zone, wet")
    expect(visit.map.locator(".zone i", has_text="wait").first).to_be_visible()

    visit.choose("Which field", "Level (demo)")
    texture = plan_demo(DEMOS["level"]).settings[0].zone.facts.texture
    expect(visit.page.get_by_role("heading", name="Level eighty")).to_be_visible()
    visit.at_rest()
    visit.choose("Zone", "1:")
    expect(visit.title).to_have_text(f"Zone 1: {texture}")
    expect(visit.page.get_by_role("combobox", name="Zone")).to_have_value(f"1: {texture}")
    assert visit.outside == []
    assert elsewhere(called) == []


def test_a_click_counts_though_the_map_is_half_in_view(visit):
    """A map that takes the focus must not scroll the page under the pointer."""
    page = visit.page
    expect(visit.title).to_contain_text("Zone 1:")
    expect(visit.zones).to_have_count(7)
    visit.at_rest()
    page.locator("[data-testid=stMain]").evaluate("it => it.scrollTo(0, 300)")
    page.wait_for_timeout(300)
    assert page.locator("iframe").bounding_box()["y"] < 0
    disc = visit.map.locator(".zone", has=page.locator("b:text-is('6')")).bounding_box()
    page.mouse.move(disc["x"] + 11, disc["y"] + 11)
    page.mouse.down()
    page.wait_for_timeout(300)  # a hand takes its time
    page.mouse.up()
    expect(visit.title).to_contain_text("Zone 6:")


def test_files_of_ones_own_stay_ones_own_and_their_names_do_nothing(visit, chromium, address):
    hostile = upload(
        "soils.geojson",
        features((WEST, {"texture": "loam", "name": HOSTILE}), (EAST, {"texture": "clay"})),
    )
    visit.send(upload("empty.geojson", features()), hostile)
    expect(visit.page.get_by_role("alert")).to_contain_text("empty.geojson holds no area")
    visit.send(square(name=HOSTILE), hostile)
    expect(visit.page.locator("h1")).to_have_text(HOSTILE)
    expect(visit.page.locator(".zp-zone .units", has_text=HOSTILE)).to_be_visible()
    expect(visit.zones).to_have_count(2)
    expect(visit.page.get_by_role("region", name="What was found")).to_contain_text(HOSTILE)
    drawings = visit.page.locator(".zp-figure img")
    expect(drawings).to_have_count(2)
    assert drawings.evaluate_all("all => all.every(it => it.naturalWidth > 0 && it.alt)")
    visit.zones.first.hover()
    assert visit.outside == []

    other = Visit(chromium, address)
    expect(other.page.locator("h1")).to_have_text("River bottom")
    assert other.outside == []


def test_back_and_reload_lose_no_field_that_was_begun(visit):
    page = visit.page
    visit.choose("Which field", "files of my own")
    chooser = page.locator("[data-testid=stFileUploader] input[type=file]")
    name, data, kind = square()
    chooser.first.set_input_files({"name": name, "mimeType": kind, "buffer": data})
    expect(page).to_have_url(re.compile("work="))
    visit.at_rest()
    page.reload()
    expect(page.get_by_role("button", name=name)).to_be_visible()
    visit.at_rest()
    name, data, kind = TWO_SOILS
    chooser.nth(1).set_input_files({"name": name, "mimeType": kind, "buffer": data})
    expect(page.locator("h1")).to_have_text("square")
    visit.at_rest()
    visit.click_zone(2)
    expect(visit.title).to_contain_text("Zone 2:")
    visit.turn_to("Rules")
    expect(page).to_have_url(re.compile("/rules.work="))  # whatever the way there, or back
    page.go_back()
    expect(visit.title).to_contain_text("Zone 2:")
    expect(page).to_have_url(re.compile("work="))
    page.reload()
    expect(page.locator("h1")).to_have_text("square")
    expect(visit.title).to_contain_text("Zone 2:")
    page.goto("about:blank")
    page.go_back()
    expect(page.locator("h1")).to_have_text("square")
