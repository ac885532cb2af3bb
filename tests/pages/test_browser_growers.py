"""The page of the growers in Chromium: two thousand fields, by keys, with the network cut."""

import re

import numpy as np
import pytest
import shapely
from playwright.sync_api import expect

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from tests.pages.visit import WCAG, Visit, elsewhere, served
from zoneplan.book.demo_book import new_demo_book
from zoneplan.book.fields import boundaries_of, fields, listing
from zoneplan.book.inputs import season_of
from zoneplan.book.opening import open_book
from zoneplan.book.packed_plan import packed
from zoneplan.book.planning import plan_all
from zoneplan.book.plans import keep_plan
from zoneplan.export.maps import in_metres
from zoneplan.pages.book import BOOK
from zoneplan.request import Request

pytestmark = [pytest.mark.browser, pytest.mark.slow]

# The goals of the page: of what the server sends, so that a slow line in the country does.
FIRST_BYTES, STEP_BYTES = 200_000, 50_000


def many(grower, count=10):
    """A grower's fields, in a square of a county."""
    return given(
        f"Grower {grower:03}",
        *(
            field_plan(
                f"Farm {n // 5}",
                f"Field {n}",
                -90 + ((grower * count + n) % 50) / 60,
                41 + ((grower * count + n) // 50) / 80,
            )
            for n in range(count)
        ),
    )


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """200 growers, 2,000 fields, each planned: the plan is made once and kept for all."""
    file = tmp_path_factory.mktemp("book") / "season.book"
    growers = [many(number) for number in range(200)]
    plan = packed(growers[0].fields[0].plan, Request())
    with filled(file, *growers, plan=False) as one, one.write() as connection:
        season_id, _ = season_of(connection)
        for field in listing(connection):
            keep_plan(
                connection,
                field.ground,
                season_id,
                field.inputs_sha256,
                plan,
                request=Request(),
                who="agronomist",
            )
    return file


@pytest.fixture(scope="module")
def called(tmp_path_factory):
    return tmp_path_factory.mktemp("called") / "book"


@pytest.fixture(scope="module")
def address(called, book):
    with served(called, **{BOOK: str(book)}) as address:
        yield address


@pytest.fixture
def visit(chromium, address):
    received = []

    class Counting(Visit):
        def _guard_socket(self, websocket, address):
            super()._guard_socket(websocket, address)
            websocket.on("framereceived", lambda frame: received.append(len(frame)))

    one = Counting(chromium, address, "")
    one.received = received
    expect(one.page.locator("#book-place, .zp-head h2").first).to_be_visible()
    one.at_rest()
    return one


def title(visit):
    return visit.page.locator(".st-key-book-field .zp-head h2")


def place(visit):
    return visit.page.locator(".st-key-book-field .zp-head li").first


def test_two_thousand_fields_are_gone_through_by_keys_and_weigh_little(visit, called):
    assert sum(visit.received) < FIRST_BYTES
    expect(visit.page.locator(".zp-head h1")).to_have_text("season")
    expect(place(visit)).to_have_text("1 of 2,000")
    for number in (2, 3):
        visit.received.clear()
        visit.page.keyboard.press("Alt+ArrowDown")
        expect(place(visit)).to_have_text(f"{number} of 2,000")
        visit.at_rest()
        assert sum(visit.received) < STEP_BYTES
    visit.page.keyboard.press("Alt+ArrowUp")
    expect(place(visit)).to_have_text("2 of 2,000")
    assert visit.outside == []
    assert elsewhere(called) == []


def test_a_filter_leaves_the_others_white_and_stays_when_one_comes_back(visit):
    visit.page.get_by_label("Name contains").fill("grower 017 / farm 1")
    visit.page.keyboard.press("Enter")
    expect(place(visit)).to_have_text("1 of 5")
    expect(title(visit)).to_have_text(re.compile("Grower 017 / Farm 1 / "))
    visit.turn_to("Field")
    visit.turn_to("Growers")
    expect(place(visit)).to_have_text("1 of 5")


def test_a_row_is_chosen_by_a_click(visit):
    grid = visit.page.locator("[data-testid=stDataFrame] canvas").first
    box = grid.bounding_box()
    visit.page.mouse.click(box["x"] + 14, box["y"] + 35 * 4 + 12)
    expect(place(visit)).to_have_text("4 of 2,000")


def test_two_people_work_at_once_and_each_sees_what_the_other_said(visit, chromium, address, book):
    other = Visit(chromium, address, "")
    expect(place(other)).to_have_text("1 of 2,000")
    visit.page.get_by_label("Note").fill("Seen.")
    visit.page.get_by_role("button", name="Mark it").click()
    expect(visit.page.get_by_text("is reviewed now")).to_be_visible()
    other.page.get_by_role("button", name="Mark it").click()
    expect(other.page.get_by_text("has changed since you looked")).to_be_visible()
    with open_book(book) as opened:
        (noted,) = [one for one in fields(opened) if one.note]
    assert noted.note == "Seen."
    assert other.outside == visit.outside == []


def test_the_maps_two_pictures_lie_over_each_other(visit):
    pictures = visit.page.locator(".st-key-book-map .zp-fields > img")
    expect(pictures).to_have_count(2)
    visit.page.wait_for_timeout(300)
    below, above = (pictures.nth(number).bounding_box() for number in (0, 1))
    assert below == pytest.approx(above, abs=1.0)
    assert below["width"] > 300


# ---- the demo county: nobody waits, and everybody can use it ------------------------------------


@pytest.fixture(scope="module")
def county(tmp_path_factory):
    """A server with the planned demo county."""
    folder = tmp_path_factory.mktemp("county")
    with new_demo_book(folder / "demo.book") as one:
        plan_all(one, who="a", workers=0)
    with served(folder / "called", **{BOOK: str(folder / "demo.book")}) as address:
        yield folder / "demo.book", address


def test_nobody_waits_for_anothers_plan(chromium, county):
    """While fields are planned for one person, another goes through his list."""
    planner, reader = (Visit(chromium, county[1], "") for _ in range(2))
    expect(place(reader)).to_have_text("1 of 60")
    planner.at_rest()
    planner.page.get_by_text("Preview of a change").click()
    planner.page.get_by_text("planter", exact=True).click()
    expect(planner.page.get_by_role("combobox", name="Planter")).to_be_visible()
    planner.at_rest()
    planner.choose("For whom", "A. Sample")
    planner.choose("Planter", "hydraulic")
    planner.page.get_by_role("button", name="See what it would do").click()
    expect(planner.page.locator(".zp-busy")).to_be_visible()
    for number in (2, 3, 4):
        reader.page.keyboard.press("Alt+ArrowDown")
        expect(place(reader)).to_have_text(f"{number} of 60")
    assert planner.page.locator(".zp-busy").count() == 1  # it is planned still
    report = planner.page.get_by_text("would get other numbers")
    expect(report).to_contain_text("9 fields", timeout=300_000)
    assert planner.outside == reader.outside == []


@pytest.mark.parametrize("wide", [1280, 390])
def test_everybody_can_use_it(chromium, county, wide):
    """No fault by the WCAG's rules but in the framework's own grid and header."""
    visit = Visit(chromium, county[1], "")
    visit.page.set_viewport_size({"width": wide, "height": 900})
    expect(place(visit)).to_have_text("1 of 60")
    theirs = {
        "include": [["[data-testid=stMain]"]],
        "exclude": [["[data-testid=stDataFrame]"]],
    }
    assert visit.barriers("the list", [*WCAG, "wcag22aa"], context=theirs) == []


def test_a_click_on_the_map_chooses_the_field_that_lies_there(chromium, county):
    """Every tenth field is clicked where it lies, as the share of the picture that it should be."""
    file, address = county
    with open_book(file) as book:
        listed = fields(book)
        shapes = boundaries_of(book, [field.id for field in listed])
    laid = dict(zip(shapes, in_metres([*shapes.values()]), strict=True))
    px = shapely.total_bounds([*laid.values()])
    edge = 6.0 * max((px[2] - px[0]) / 640.0, (px[3] - px[1]) / 560.0)
    west, south, east, north = (float(side) for side in px + np.array([-edge, -edge, edge, edge]))
    visit = Visit(chromium, address, "")
    expect(place(visit)).to_have_text("1 of 60")
    visit.at_rest()
    frame = visit.page.locator(".st-key-book-map iframe")
    picture = visit.page.locator(".st-key-book-map .zp-fields > img").first
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    assert frame.bounding_box() == pytest.approx(box, abs=3.0)
    # The picture keeps its form: beside or below it may be room.
    scale = min(box["width"] / (east - west), box["height"] / (north - south))
    beside = (box["width"] - scale * (east - west)) / 2
    for field in listed[::10]:
        inside = laid[field.id].representative_point()
        across, down = scale * (inside.x - west), scale * (north - inside.y)
        frame.click(position={"x": beside + across, "y": down})
        expect(title(visit)).to_have_text(field.path)
    assert visit.outside == []
