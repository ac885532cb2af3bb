"""The app in Chromium with the network cut: run with pytest -m browser."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.pages.uploads import DEMOS, EAST, HOSTILE, WEST, features, square, upload
from zoneplan.demo import plan_demo
from zoneplan.export.bundle import MAKERS

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
RUN = [sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless=true"]
PATIENCE_S = 30
expect.set_options(timeout=1000 * PATIENCE_S)
# Put before the server's own modules: it writes down every address that is looked up or called.
WATCH = """
import os, sys
def watch(event, args):
    if event in ("socket.connect", "socket.getaddrinfo"):
        called = args[1] if event == "socket.connect" else args[:1]
        with open(os.environ["CALLED"], "a") as book:
            print(event, called, file=book)
sys.addaudithook(watch)
"""
LOCAL = ("'localhost'", "'127.0.0.1'", "'::1'", "b'localhost'")


@pytest.fixture(scope="module")
def called(tmp_path_factory):
    """What the server called, line by line."""
    return tmp_path_factory.mktemp("called") / "book"


@pytest.fixture(scope="module")
def address(called):
    """A server of our own on a free port, with the settings that are committed."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (called.parent / "sitecustomize.py").write_text(WATCH)
    called.touch()
    server = subprocess.Popen(
        [*RUN, f"--server.port={port}"],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(called.parent), "CALLED": str(called)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for(f"http://127.0.0.1:{port}/_stcore/health", server)
        yield f"http://127.0.0.1:{port}/"
    finally:
        server.terminate()
        server.wait(PATIENCE_S)


def _wait_for(url, server):
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and server.poll() is None:
        try:
            return urllib.request.urlopen(url, timeout=1)
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the app does not start")


class Visit:
    """One person at one browser, and everything the browser wanted from elsewhere."""

    def __init__(self, chromium, address):
        self.outside = []
        context = chromium.new_context(viewport={"width": 1280, "height": 900})
        context.route("**/*", lambda route: self._guard(route, address))
        self.page = context.new_page()
        self.page.set_default_timeout(1000 * PATIENCE_S)
        self.page.on("dialog", lambda dialog: self.outside.append(dialog.message))
        self.page.on("pageerror", lambda error: self.outside.append(str(error)))
        self.page.on("websocket", lambda socket: self._guard_socket(socket, address))
        self.page.goto(address)
        self.map = self.page.frame_locator("iframe")
        self.zones = self.map.locator("path.leaflet-interactive")
        self.title = self.page.locator(".zp-zone h2")

    def _guard(self, route, address):
        if route.request.url.startswith(address):
            route.continue_()
        else:
            self.outside.append(route.request.url)
            route.abort()

    def _guard_socket(self, websocket, address):
        if not websocket.url.startswith(address.replace("http", "ws", 1)):
            self.outside.append(websocket.url)

    def click_zone(self, number):
        """Click beside a zone's number, as a hand would."""
        disc = self.map.locator(".zone", has=self.page.locator(f"b:text-is('{number}')"))
        disc.click(force=True)

    def choose(self, label, option):
        """Take an option from a list."""
        self.page.get_by_role("combobox", name=label).click()
        self.page.get_by_role("option", name=option).click()

    def at_rest(self):
        """Wait until the page has run to its end: while it runs, its lists are made anew."""
        expect(self.page.locator("[data-testid=stStatusWidget]")).to_have_count(0, timeout=30_000)

    def send(self, *files):
        """Choose files of one's own: a boundary, then soil layers."""
        self.choose("Which field", "files of my own")
        choosers = self.page.locator("[data-testid=stFileUploader] input[type=file]")
        expect(choosers).to_have_count(6)  # the others are of files that need not be
        sent = [{"name": name, "mimeType": kind, "buffer": data} for name, data, kind in files]
        choosers.nth(0).set_input_files(sent[0])
        choosers.nth(1).set_input_files(sent[1:])


@pytest.fixture
def visit(chromium, address):
    return Visit(chromium, address)


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

    for label, name in (("Printed summary", "summary.pdf"), ("Plan as JSON", "plan.json")):
        with visit.page.expect_download() as taken:
            visit.page.get_by_role("button", name=label).click()
        assert taken.value.suggested_filename == name
        taken.value.save_as(tmp_path / name)
        assert (tmp_path / name).read_bytes() == MAKERS[name](plan)

    visit.page.get_by_role("button", name="wet", exact=True).or_(
        visit.page.get_by_role("radio", name="wet", exact=True)
    ).click()
    expect(visit.page.locator(".zp-zones caption")).to_have_text("Every zone, wet")
    expect(visit.map.locator(".zone i", has_text="wait").first).to_be_visible()

    visit.choose("Which field", "Level (demo)")
    texture = plan_demo(DEMOS["level"]).settings[0].zone.facts.texture
    expect(visit.page.get_by_role("heading", name="Level eighty")).to_be_visible()
    visit.at_rest()
    visit.choose("Zone", "1:")
    expect(visit.title).to_have_text(f"Zone 1: {texture}")
    expect(visit.page.get_by_role("combobox", name="Zone")).to_have_value(f"1: {texture}")
    assert visit.outside == []
    elsewhere = [
        line for line in called.read_text().splitlines() if not any(map(line.__contains__, LOCAL))
    ]
    assert elsewhere == []


def test_files_of_ones_own_stay_ones_own_and_their_names_do_nothing(visit, chromium, address):
    hostile = upload(
        "soils.geojson",
        features((WEST, {"texture": "loam", "name": HOSTILE}), (EAST, {"texture": "clay"})),
    )
    visit.send(upload("empty.geojson", features()), hostile)
    expect(visit.page.get_by_role("alert")).to_contain_text("empty.geojson holds no area")
    visit.send(square(name=HOSTILE), hostile)
    expect(visit.page.locator("h1")).to_have_text(HOSTILE)
    expect(visit.page.locator(".zp-zone .chain div", has_text=HOSTILE)).to_be_visible()
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
