"""What three persons do from their first step to their last, with every click counted.

An agronomist with files of one's own, by mouse and by keys alone at twice the size; a clerk with a
book of many growers; and a landowner with a phone, who answers. The network is cut for all.
"""

import io
import json
import re
import zipfile

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from tests.pages.test_browser_story import files_of
from tests.pages.test_choose_field import MANY
from tests.pages.uploads import SQUARE, TWO_SOILS, boundary, features, machine, survey, upload
from tests.pages.visit import Visit, elsewhere, served
from zoneplan.book.fields import State, fields
from zoneplan.book.history import history
from zoneplan.book.opening import open_book
from zoneplan.pages.book import BOOK

pytestmark = pytest.mark.browser

COUNT = """
window.clicks = 0;
addEventListener("click", (it) => { if (it.isTrusted) window.clicks += 1; }, true);
"""
UPLOAD = "[data-testid=stMain] [data-testid=stFileUploader]"
BACK = "Shift+Tab"
MOST_TABS = 60  # from one thing of the story to the next
AGRONOMIST = "A. Reed"
GROWER = given(
    "A. Sample", *(field_plan("Bogwater", f"Piece {n}", -87 - n / 50, 42) for n in (1, 2, 3))
)


class Person(Visit):
    """Somebody whose clicks are counted."""

    def __init__(self, chromium, address, page=""):
        super().__init__(chromium, address, page)
        self.page.evaluate(COUNT)

    @property
    def clicks(self):
        """On the page; what is clicked on a map is counted by who clicks there."""
        return self.page.evaluate("window.clicks")

    def press(self, name, role="button"):
        self.page.get_by_role(role, name=name).click()
        self.at_rest()

    def give(self, *sent):
        """Take files from the machine, as a hand does."""
        with self.page.expect_file_chooser() as chooser:
            self.page.locator(f"{UPLOAD} button").first.click()
        chooser.value.set_files(files_of(*sent))

    def taken(self, name):
        with self.page.expect_download() as download:
            self.page.get_by_role("button", name=name, exact=True).click()
        return download.value.path().read_bytes()


def test_an_agronomist_comes_from_files_to_a_printed_sheet_in_four_clicks(
    chromium, address, called
):
    one = Person(chromium, address)
    one.give(machine("bottom"), survey("bottom"), boundary("bottom"))
    expect(one.page.locator("figure.zp-outline")).to_contain_text("River bottom: 133.2 acres")
    one.press("Plan this field")
    expect(one.title).to_contain_text("Zone 1")
    assert one.clicks == 2
    one.press("Sheets and files", "link")
    summary = PdfReader(io.BytesIO(one.taken("Printed summary")))
    assert "River bottom" in summary.pages[0].extract_text()
    assert one.clicks == 4
    assert one.outside == []
    assert elsewhere(called) == []


def test_an_agronomist_takes_two_of_many_fields_by_the_map_and_plans_both(chromium, address):
    one = Person(chromium, address)
    one.give(MANY, TWO_SOILS, machine("creek"))
    for number in (2, 3):  # two more clicks, on the map
        one.click_zone(number)
        box = one.page.get_by_role("checkbox", name=re.compile(rf"^{number}\. "))
        expect(box).to_be_checked()
    one.press("Take 2 fields, one after the other")
    one.press("Plan this field")
    expect(one.page.locator("h1")).to_have_text("Far")
    assert one.clicks == 3
    one.press("Done")
    expect(one.page.locator("h1")).to_have_text("Creek")
    expect(one.page.locator(".zp-queue")).to_contain_text("Field 2 of 2: Creek; 1 done")
    assert one.clicks == 4
    one.press("Done")
    expect(one.page.get_by_role("status").first).to_have_text("All 2 fields are done.")
    one.page.reload()  # and nothing of it is lost
    expect(one.page.locator(".zp-queue")).to_contain_text("Creek ✓ done; 2 done")
    assert one.outside == []


# ---- by keys alone, at twice the size ------------------------------------------------------------


class Keys(Person):
    """Somebody with a keyboard, whose letters are twice as large."""

    def __init__(self, chromium, address, page=""):
        super().__init__(chromium, address, page)
        self.page.set_viewport_size({"width": 640, "height": 450})  # 1280 by 900 at 200 %

    def to(self, role, name, step="Tab"):
        """Step until it has the focus, and see that it is in view."""
        wanted = self.page.locator("[data-testid=stMain]").get_by_role(role, name=name).last
        expect(wanted).to_be_attached()
        for _ in range(MOST_TABS):
            self.page.keyboard.press(step)
            if wanted.evaluate("it => it === document.activeElement"):
                break
        else:
            raise AssertionError(f"{name} is not reached in {MOST_TABS} steps")
        # A box to tick is drawn beside the thing that has the focus.
        seen = wanted.locator("xpath=ancestor-or-self::*[@data-testid][1]")
        expect(seen).to_be_in_viewport()
        return wanted

    def enter(self, role, name, key="Enter", step="Tab"):
        self.to(role, name, step)
        self.page.keyboard.press(key)

    def fits(self):
        return self.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_the_whole_story_by_keys_at_twice_the_size(chromium, address):
    one = Keys(chromium, address)
    page = one.page
    with page.expect_file_chooser() as chooser:
        one.enter("button", "Upload")
    chooser.value.set_files(files_of(MANY, TWO_SOILS, machine("creek")))
    expect(page.get_by_role("checkbox", name="2. Far")).to_be_attached()
    one.at_rest()
    for name in ("2. Far", "3. Creek"):
        one.enter("checkbox", name, "Space")
        one.at_rest()
        expect(page.get_by_role("checkbox", name=name)).to_be_checked()
    one.enter("button", "Take 2 fields, one after the other", step=BACK)
    expect(page.locator("figure.zp-outline")).to_contain_text("Far")
    one.at_rest()
    assert one.fits()
    one.enter("button", "Plan this field")
    expect(page.locator("h1")).to_have_text("Far")
    expect(one.title).to_contain_text("Zone 1")
    one.at_rest()
    assert one.fits()

    one.to("combobox", "Zone, or click one on the map")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(one.title).to_contain_text("Zone 2")
    one.at_rest()
    one.enter("link", "Sheets and files")
    expect(page.get_by_role("heading", name="Save the plan")).to_be_visible()
    one.at_rest()
    assert one.fits()
    with page.expect_download() as download:
        one.enter("button", "Printed summary")
    assert "Far" in PdfReader(download.value.path()).pages[0].extract_text()
    one.enter("button", "Done", step=BACK)
    expect(page.locator(".zp-queue")).to_contain_text("Field 2 of 2: Creek; 1 done")
    assert one.outside == []


# ---- every state of the page to begin on, for everybody ------------------------------------------


@pytest.mark.parametrize("wide", [1280, 640, 390])
def test_every_state_of_the_start_and_the_queue_can_be_used_by_everybody(chromium, address, wide):
    one = Person(chromium, address)
    one.page.set_viewport_size({"width": wide, "height": 1000})
    barriers = one.barriers("begun")
    one.give(upload("notes.txt.zip", b"PK\x03\x04 cut off"))
    expect(one.page.get_by_role("alert")).to_be_visible()
    barriers += one.barriers("a file that nobody knows")
    one.give(MANY, TWO_SOILS)
    expect(one.page.get_by_role("checkbox", name="4. Hill")).to_be_visible()
    expect(one.zones).to_have_count(4)
    barriers += one.barriers("many fields")
    one.give(machine("creek"))
    one.at_rest()
    for number in (1, 4):
        one.page.get_by_role("checkbox", name=re.compile(rf"^{number}\. ")).focus()
        one.page.keyboard.press("Space")
        one.at_rest()
    one.press("Take 2 fields, one after the other")
    expect(one.page.get_by_role("button", name="Plan this field")).to_be_visible()
    barriers += one.barriers("one is shown")
    one.press("Plan this field")
    expect(one.title).to_contain_text("Zone 1")
    one.page.locator(".zp-queue summary").click()
    barriers += one.barriers("the queue")
    one.turn_to("Start")
    one.give(upload("other.geojson", features((SQUARE.buffer(-0.0003), {}))))
    expect(one.page.get_by_text("What is it?")).to_be_visible()
    barriers += one.barriers("more outlines")
    assert barriers == []
    assert one.outside == []


# ---- a clerk, and a landowner --------------------------------------------------------------------


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    file = tmp_path_factory.mktemp("book") / "season.book"
    filled(file, GROWER).close()
    return file


@pytest.fixture(scope="module")
def office(tmp_path_factory, book):
    with served(tmp_path_factory.mktemp("office") / "called", **{BOOK: str(book)}) as address:
        yield address


def test_a_clerk_goes_through_the_queue_hands_out_and_reads_the_landowners_answer(
    chromium, office, book, tmp_path
):
    clerk = Person(chromium, office)
    place = clerk.page.locator(".st-key-book-field .zp-head li").first
    for number in (1, 2, 3):
        expect(place).to_have_text(f"{number} of 3")
        clerk.at_rest()
        clerk.press("Mark it")  # reviewed
        if number < 3:
            clerk.page.keyboard.press("Alt+ArrowDown")
    expect(clerk.page.locator(".zp-head", has_text="3 reviewed")).to_be_visible()
    assert clerk.clicks == 3  # one a field; the next one comes by key
    clerk.page.get_by_text("Hand out", exact=True).click()
    clerk.at_rest()
    # Nobody is named who does not name himself.
    prepared_by = clerk.page.get_by_role("textbox", name="Prepared by")
    prepared_by.fill(AGRONOMIST)
    prepared_by.press("Enter")
    clerk.at_rest()
    clerk.press("Make his folder")
    with zipfile.ZipFile(io.BytesIO(clerk.taken(re.compile(r"A\. Sample, 2027\.zip$")))) as archive:
        pages = [name for name in archive.namelist() if name.endswith(".html")]
        assert len(pages) == 3
        (tmp_path / "field.html").write_bytes(archive.read(pages[0]))
    assert clerk.clicks == 6

    answer = landowners_answer(chromium, tmp_path / "field.html")

    clerk.page.get_by_text("Landowners' answers").click()
    clerk.at_rest()
    clerk.give(("reply.json", answer, "application/json"))
    clerk.at_rest()
    clerk.press("Read them in")
    expect(clerk.page.get_by_text("reply.json: ")).to_contain_text("Piece")
    assert clerk.clicks == 9
    with open_book(book) as opened:
        states = {field.name: field.state for field in fields(opened)}
        answers = [event for event in history(opened) if event.what.get("answer") == "agree"]
    assert sorted(states.values()) == [State.AGREED, State.REVIEWED, State.REVIEWED]
    assert [event.what["by"] for event in answers] == ["W. Landowner"]
    assert clerk.outside == []


def landowners_answer(chromium, file):
    """Open it on a phone, read the answer on the first screen, agree: what is sent back."""
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, accept_downloads=True, offline=True
    )
    page = context.new_page()
    page.add_init_script(COUNT)
    page.goto(file.as_uri())
    top = page.evaluate(
        "document.elementsFromPoint(5, 5) && Array.from(document.querySelectorAll('h1, h2, p, li'))"
        ".filter((it) => it.getBoundingClientRect().bottom <= innerHeight)"
        ".map((it) => it.innerText).join(' ')"
    )
    assert "Piece" in top  # before a finger moves: what is set, what goes wrong, whom to call
    for words in (
        "What is set, and what that does here",
        "Too light",
        "Too heavy",
        f"Call {AGRONOMIST}",
    ):
        assert words in top
    page.get_by_label("I agree with it").click()
    page.get_by_label("Your name").fill("W. Landowner")
    with page.expect_download() as download:
        page.get_by_role("button", name="Save my answer as a file").click()
    assert page.evaluate("window.clicks") == 2
    content = download.value.path().read_bytes()
    assert json.loads(content)
    context.close()
    return content
