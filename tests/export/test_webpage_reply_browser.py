"""The landowner's answer, given in a browser: what is asked, and the file that it saves."""

import json
from dataclasses import replace

import pytest

from tests.export.plans import small_plan
from zoneplan.book.replies import read_reply
from zoneplan.export.webpage import webpage_html
from zoneplan.request import TitleBlock

pytestmark = [pytest.mark.browser, pytest.mark.slow]

HOSTILE = 'O\'Quirk "Red" </script><b>&amp; 🌽'
TO = TitleBlock(HOSTILE, "Bogwater Farm", "2027", 3, "Co-op <i>", digest="0a" * 32)
PLAN = replace(small_plan(), field=replace(small_plan().field, name="Duckpond piece"))


@pytest.fixture
def page(chromium, tmp_path):
    file = tmp_path / "field.html"
    file.write_bytes(webpage_html(PLAN, title=TO))
    context = chromium.new_context(accept_downloads=True, viewport={"width": 390, "height": 800})
    tab = context.new_page()
    faults = []
    tab.on("pageerror", lambda error: faults.append(str(error)))
    tab.on("console", lambda each: faults.append(each.text) if each.type == "error" else None)
    tab.on(
        "request",
        lambda asked: (
            None if asked.url.startswith(("file:", "blob:")) else faults.append(asked.url)
        ),
    )
    tab.goto(file.as_uri())
    yield tab
    context.close()
    assert faults == []


def saved(page):
    with page.expect_download() as download:
        page.get_by_role("button", name="Save my answer as a file").click()
    return download.value


def test_an_answer_becomes_a_file_that_we_read(page):
    page.get_by_label("I agree with it").check()
    page.get_by_label("Your name").fill("Wilhelmina")
    page.get_by_label("About the whole field").fill("Fine.\nGo on.")
    page.get_by_label("About one zone").select_option("2")
    page.get_by_label("Your note on that zone").fill("A tile line.")
    file = saved(page)
    assert file.suggested_filename == "reply 0a0a0a0a.json"
    reply = read_reply(file.path().read_bytes(), "reply")
    assert (reply.grower, reply.farm, reply.field) == (HOSTILE, "Bogwater Farm", "Duckpond piece")
    assert (reply.season, reply.revision, reply.plan) == ("2027", 3, "0a" * 32)
    assert (reply.answer, reply.by, reply.note) == ("agree", "Wilhelmina", "Fine.\nGo on.")
    assert reply.zones == ((2, "A tile line."),)
    assert "Send it to Co-op <i>." in page.locator(".saved").inner_text()


@pytest.mark.parametrize(
    ("given", "asks"),
    [
        ({}, "Choose one of the three answers first."),
        ({"answer": "Please call me first"}, "Write your name"),
        ({"answer": "I have a note on it", "name": "W"}, "Write your note first."),
        ({"answer": "I agree with it", "name": "W", "zone": "1"}, "Write your note on that zone"),
        ({"answer": "I agree with it", "name": "W", "on zone": "x"}, "Choose the zone"),
    ],
)
def test_what_is_missing_is_asked_for(page, given, asks):
    if "answer" in given:
        page.get_by_label(given["answer"]).check()
    page.get_by_label("Your name").fill(given.get("name", ""))
    page.get_by_label("About one zone").select_option(given.get("zone", ""))
    page.get_by_label("Your note on that zone").fill(given.get("on zone", ""))
    page.get_by_role("button", name="Save my answer as a file").click()
    assert asks in page.locator(".saved").inner_text()


def test_the_form_can_be_used_with_keys_alone_and_fits_a_phone(page):
    page.get_by_label("I agree with it").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.type("Wilhelmina")
    for _ in range(4):
        page.keyboard.press("Tab")
    with page.expect_download() as download:
        page.keyboard.press("Enter")
    assert json.loads(download.value.path().read_bytes())["by"] == "Wilhelmina"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
