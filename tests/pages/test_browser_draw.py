"""Drawing in Chromium with the network cut: run with pytest -m browser."""

import re

import pytest
from playwright.sync_api import expect

from tests.pages.uploads import TWO_SOILS, square
from tests.pages.visit import elsewhere

pytestmark = pytest.mark.browser


class Table:
    """The page to draw on, as one hand and one eye have it."""

    def __init__(self, visit, what=None):
        self.visit, self.page = visit, visit.page
        visit.turn_to("Draw")
        self.map = self.page.frame_locator("iframe")
        self.arrived()
        if what:
            self.turn(what)
        self.corners = self.page.get_by_role("textbox", name="Corners, typed")
        self.told = self.page.locator("p.zp-draw[role=status]")

    def turn(self, what):
        button = self.page.get_by_role("radio", name=what, exact=True)
        button.or_(self.page.get_by_role("button", name=what, exact=True)).first.click()
        self.arrived()

    def arrived(self):
        """Wait for the one map of this page."""
        expect(self.page.get_by_role("heading", name="Draw", exact=True)).to_be_visible()
        self.visit.one_map()
        expect(self.map.get_by_role("button", name="Draw an outline")).to_be_visible()

    def press(self, name):
        self.map.get_by_role("button", name=name, exact=True).click()

    def spot(self, across, up):
        """A place on the map by its share of width and height, from the south-west."""
        self.page.locator("iframe").scroll_into_view_if_needed()
        frame = self.page.locator("iframe").bounding_box()
        return frame["x"] + across * frame["width"], frame["y"] + (1 - up) * frame["height"]

    def draw(self, *spots):
        self.press("Draw an outline")
        self.click(*spots)
        self.press("Finish")

    def click(self, *spots):
        """Click as fast as a hand can."""
        for spot in spots:
            self.page.mouse.click(*self.spot(*spot))
            self.page.wait_for_timeout(100)

    def drag(self, corner, across, down):
        """Pull a corner by so many dots."""
        box = self.map.locator(".corner").nth(corner).bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        self.page.mouse.move(x, y)
        self.page.mouse.down()
        self.page.mouse.move(x + across, y + down, steps=5)
        self.page.mouse.up()

    def use(self):
        self.page.get_by_role("button", name="Use these outlines", exact=True).click()
        expect(self.told).to_contain_text("in use")
        self.visit.one_map()


def acres(visit):
    """Of the field, on its own page."""
    visit.turn_to("Field")
    area = visit.page.locator(".zp-head li", has_text="acres")
    expect(area).to_be_visible()
    return float(re.match(r"[\d.]+", area.inner_text()).group())


def test_a_boundary_is_drawn_used_moved_and_makes_a_plan_with_no_internet(visit, called):
    visit.choose("Which field", "files of my own")
    choosers = visit.page.locator("[data-testid=stFileUploader] input[type=file]")
    name, kind, data = TWO_SOILS[0], TWO_SOILS[2], TWO_SOILS[1]
    choosers.nth(1).set_input_files({"name": name, "mimeType": kind, "buffer": data})
    visit.at_rest()
    table = Table(visit)
    # Soil lies over the whole of what the map shows at first; a rectangle in the midst of it.
    table.draw((0.3, 0.3), (0.7, 0.3), (0.7, 0.7), (0.3, 0.7))
    expect(table.told).to_have_text("Drawn, and not used yet.")
    expect(table.corners).to_have_value(re.compile(r"^(4[\d.]+, -9[\d.]+\n?){4}$"))
    table.use()
    before = acres(visit)
    assert 1 < before < 40
    expect(visit.title).to_contain_text("Zone 1:")

    table = Table(visit)
    table.press("Move corners")
    typed = table.corners.input_value()
    table.drag(0, -60, 40)  # the south-west one, outwards
    expect(table.told).to_have_text("Drawn, and not used yet.")
    expect(table.corners).not_to_have_value(typed)  # though nobody pressed Done
    table.use()
    after = acres(visit)
    assert after > before
    visit.page.get_by_role("button", name="Undo").click()
    visit.at_rest()
    expect(visit.page.locator(".zp-head li", has_text="acres")).to_have_text(f"{before} acres")
    assert visit.outside == []
    assert elsewhere(called) == []


def test_a_zone_is_drawn_by_mouse_and_another_is_begun_by_key(visit):
    visit.send(square(name="Home"), TWO_SOILS)
    expect(visit.zones).to_have_count(2)
    table = Table(visit, "Zone")
    table.page.get_by_role("textbox", name="Name of the zone").fill("Knoll")
    table.page.get_by_role("textbox", name="Name of the zone").press("Enter")
    visit.at_rest()
    table.draw((0.35, 0.35), (0.65, 0.35), (0.65, 0.8), (0.35, 0.8))
    expect(table.corners).to_have_value(re.compile(r"^Knoll:\n"))
    table.use()
    visit.turn_to("Field")
    expect(visit.zones).to_have_count(4)  # the knoll lies on both soils

    table = Table(visit, "Zone")
    table.map.get_by_role("button", name="Draw an outline").focus()
    table.page.keyboard.press("Space")
    table.click((0.05, 0.1), (0.3, 0.1), (0.3, 0.3))
    table.press("Finish")
    expect(table.told).to_have_text("Drawn, and not used yet.")
    table.use()
    visit.turn_to("Field")
    expect(visit.zones).to_have_count(5)
    assert visit.outside == []


def test_what_is_deleted_can_be_put_back_and_what_is_drawn_stays_over_other_pages(visit):
    visit.send(square(name="Home"), TWO_SOILS)
    expect(visit.zones).to_have_count(2)
    table = Table(visit, "Zone")
    shapes = table.map.locator("path.leaflet-interactive")
    table.draw((0.3, 0.4), (0.4, 0.4), (0.35, 0.6))
    table.draw((0.6, 0.4), (0.7, 0.4), (0.65, 0.6))
    expect(shapes).to_have_count(2)
    expect(table.corners).to_have_value(re.compile(r"\n\n"))
    table.press("Delete")
    table.page.mouse.click(*table.spot(0.35, 0.45))
    expect(shapes).to_have_count(1)
    expect(table.corners).not_to_have_value(re.compile(r"\n\n"))
    table.press("Put back")
    expect(table.corners).to_have_value(re.compile(r"\n\n"))
    acres(visit)
    table = Table(visit)
    expect(table.told).to_have_text("Drawn, and not used yet.")
    expect(table.map.locator("path.leaflet-interactive")).to_have_count(2)
    assert visit.outside == []


def test_a_crossed_edge_is_refused_by_the_map_and_by_the_page(visit):
    visit.send(square(name="Home"), TWO_SOILS)
    expect(visit.zones).to_have_count(2)
    table = Table(visit, "Zone")
    table.press("Draw an outline")
    table.click((0.3, 0.3), (0.6, 0.6), (0.6, 0.3), (0.3, 0.6))
    expect(table.map.locator(".leaflet-draw-tooltip")).to_contain_text("must not cross itself")
    table.press("Stop")
    table.corners.fill("42.001,-93.003\n42.002,-93.001\n42.001,-93.001\n42.002,-93.003")
    table.corners.blur()
    visit.one_map()
    table.page.get_by_role("button", name="Use these outlines").click()
    expect(table.page.get_by_role("alert")).to_contain_text("crosses itself near 42.00150")
    expect(table.map.locator("path.leaflet-interactive")).to_have_count(1)
    assert visit.outside == []


def test_a_background_that_cannot_be_reached_leaves_the_map_as_it_is(visit):
    expect(visit.zones.first).to_be_visible()
    count = visit.zones.count()
    visit.page.get_by_text("Web background").click()
    visit.one_map()
    expect(visit.map.locator(".leaflet-control-attribution")).to_contain_text("OpenStreetMap")
    expect(visit.zones).to_have_count(count)
    assert {address.split("/")[2] for address in visit.outside} == {"tile.openstreetmap.org"}
    expect(visit.page.get_by_role("alert")).to_have_count(0)
    expect(visit.map.locator("img.leaflet-tile-loaded")).to_have_count(0)
    visit.click_zone(5)
    expect(visit.title).to_contain_text("Zone 5:")
    table = Table(visit)
    expect(table.map.get_by_role("button", name="Draw an outline")).to_be_visible()
    expect(table.map.locator(".leaflet-control-attribution")).to_contain_text("OpenStreetMap")


def test_every_layer_is_shown_with_its_legend_and_a_click_on_it_chooses_the_zone(visit):
    expect(visit.zones.first).to_be_visible()
    visit.choose("Show", "soil: ZZ901")
    visit.at_rest()
    expect(visit.page.locator(".zp-layers figcaption")).to_contain_text("ZZ901")
    expect(visit.page.locator(".zp-layers li", has_text="silty clay")).to_contain_text("acres")
    expect(visit.zones).to_have_count(6)  # kinds of ground
    visit.click_zone(6)
    expect(visit.title).to_contain_text("Zone 6:")
    disc = visit.map.locator(".zone", has=visit.page.locator("b:text-is('4')"))
    disc.hover(force=True)
    tooltip = visit.map.locator(".leaflet-tooltip", has_text="loamy sand")
    expect(tooltip.first).to_contain_text("acres")
    visit.choose("Show", "zones")
    visit.at_rest()
    expect(visit.page.locator(".zp-layers")).to_have_count(0)
    assert visit.outside == []
