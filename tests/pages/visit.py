"""The app on a server of its own, and a person who visits it with the network cut."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import TimeoutError, expect

ROOT = Path(__file__).parents[2]
RUN = [sys.executable, "-m", "streamlit", "run", "--server.headless=true"]
PATIENCE_S = 30
WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa")
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


@contextmanager
def served(called, script="app.py", **environment):
    """A server on a free port, with the settings that are committed; `called` is its book."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (called.parent / "sitecustomize.py").write_text(WATCH)
    called.touch()
    server = subprocess.Popen(
        [*RUN, f"--server.port={port}", str(script)],
        cwd=ROOT,
        env=os.environ
        | {"PYTHONPATH": f"{called.parent}:{ROOT}", "CALLED": str(called)}
        | environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for(f"http://127.0.0.1:{port}/_stcore/health", server)
        yield f"http://127.0.0.1:{port}/"
    finally:
        server.terminate()
        server.wait(PATIENCE_S)


def elsewhere(called):
    """What the server called that is not this machine."""
    lines = called.read_text().splitlines()
    return [line for line in lines if not any(map(line.__contains__, LOCAL))]


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

    def __init__(self, chromium, address, page="field"):
        self.outside = []
        context = chromium.new_context(viewport={"width": 1280, "height": 900})
        context.route("**/*", lambda route: self._guard(route, address))
        self.page = context.new_page()
        self.page.set_default_timeout(1000 * PATIENCE_S)
        self.page.on("dialog", lambda dialog: self.outside.append(dialog.message))
        self.page.on("pageerror", lambda error: self.outside.append(str(error)))
        self.page.on("console", self._hear)
        self.page.on("websocket", lambda socket: self._guard_socket(socket, address))
        self.page.goto(address + page)
        self.map = self.page.frame_locator("iframe")
        self.zones = self.map.locator("path.leaflet-interactive")
        self.title = self.page.locator(".zp-zone h2")

    def _guard(self, route, address):
        if route.request.url.startswith(address):
            route.continue_()
        else:
            self.outside.append(route.request.url)
            route.abort()

    def _hear(self, message):
        """What a page wanted and its own policy forbids is wanted all the same."""
        if "Content Security Policy" in message.text:
            self.outside.append(message.text)

    def _guard_socket(self, websocket, address):
        if not websocket.url.startswith(address.replace("http", "ws", 1)):
            self.outside.append(websocket.url)

    def click_zone(self, number):
        """Click beside a zone's number, as a hand would."""
        disc = self.map.locator(".zone", has=self.page.locator(f"b:text-is('{number}')"))
        disc.click(force=True)

    def choose(self, label, option):
        """Take an option from a list."""
        box, wanted = (
            self.page.get_by_role(role, name=name)
            for role, name in (("combobox", label), ("option", option))
        )
        box.click()
        try:
            wanted.wait_for(timeout=5000)
        except TimeoutError:  # the page was drawn anew below the hand, and the list closed
            box.click()
        wanted.click()
        self.at_rest()

    def at_rest(self):
        """Wait until the page has run to its end: while it runs, its lists are made anew."""
        self.page.wait_for_timeout(400)  # until it has begun to run: the map waits for 250 ms
        app = self.page.locator("[data-testid=stApp]")
        expect(app).to_have_attribute("data-test-script-state", "notRunning")

    def one_map(self):
        """Wait until the page is at rest with one map, and the one of before is gone."""
        self.at_rest()
        expect(self.page.locator("iframe")).to_have_count(1)

    def send(self, *files):
        """Choose files of one's own: a boundary, then soil layers."""
        self.choose("Which field", "files of my own")
        choosers = self.page.locator("[data-testid=stFileUploader] input[type=file]")
        expect(choosers).to_have_count(7)  # the others are of files that need not be
        sent = [{"name": name, "mimeType": kind, "buffer": data} for name, data, kind in files]
        choosers.nth(0).set_input_files(sent[0])
        self.at_rest()  # or the run that the first brings takes the second's box away
        choosers.nth(1).set_input_files(sent[1:])

    def barriers(self, state, rules=WCAG, **within):
        """What stands in somebody's way now, by the rules of axe; and what is cut off."""
        self.at_rest()
        self.page.wait_for_timeout(500)  # pictures and maps
        options = {"runOnly": [*rules]}
        violations = Axe().run(self.page, options=options, **within).response["violations"]
        barriers = [
            (state, one["id"], node["html"][:160]) for one in violations for node in one["nodes"]
        ]
        if not self.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"):
            barriers.append((state, "wider than the screen", ""))
        return barriers

    def turn_to(self, title):
        """Turn to another page of the app."""
        self.page.get_by_role("link", name=title, exact=True).click()
        self.at_rest()
