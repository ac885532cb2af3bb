"""Make the README's pictures of the app: python -m tests.pages.pictures [FOLDER]."""

import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import expect, sync_playwright

from tests.conftest import CHROMIUM, CHROMIUM_FLAGS
from tests.pages.visit import ROOT, Visit, served
from zoneplan.pages.book import BOOK

WIDE = 1400
FIELD = "Creek (demo)"


def field(chromium, address, out):
    visit = _at_the_field(chromium, address, 1180)
    visit.click_zone(1)
    expect(visit.title).to_contain_text("Zone 1")
    visit.page.mouse.move(5, 5)
    _picture(visit, out / "app.png")


def compare(chromium, address, out):
    visit = _at_the_field(chromium, address, 1580)
    visit.turn_to("Compare")
    visit.choose("Compare with", "This plan with a generic hydraulic planter")
    expect(visit.page.locator(".zp-map")).to_have_count(2)
    _picture(visit, out / "compare.png")


def growers(chromium, address, out):
    visit = _visit(chromium, address, "", 1180)
    expect(visit.page.get_by_label("Note")).to_be_visible()
    _picture(visit, out / "growers.png")


def _at_the_field(chromium, address, high):
    visit = _visit(chromium, address, "field", high)
    expect(visit.title).to_be_visible()
    visit.choose("Which field", FIELD)
    return visit


def _visit(chromium, address, page, high):
    visit = Visit(chromium, address, page)
    visit.page.set_viewport_size({"width": WIDE, "height": high})
    return visit


def _picture(visit, path):
    visit.at_rest()
    expect(visit.page.locator("[data-testid=stSkeleton]")).to_have_count(0)
    visit.page.wait_for_timeout(1500)  # maps and pictures
    visit.page.screenshot(path=path)
    assert visit.outside == []


def main(out):
    """Make them all."""
    with TemporaryDirectory() as folder, sync_playwright() as playwright:
        called = Path(folder) / "called"
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_FLAGS)
        with served(called) as address:
            field(chromium, address, out)
            compare(chromium, address, out)
        run = [sys.executable, "-m", "zoneplan", "demo", "--book", "--out", folder]
        subprocess.run(run, cwd=ROOT, check=True)
        with served(called, **{BOOK: str(Path(folder) / "demo.book")}) as address:
            growers(chromium, address, out)
        chromium.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else ROOT / "demo_fields")
