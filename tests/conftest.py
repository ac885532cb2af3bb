"""What several folders of tests share."""

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("busy machine", deadline=None)
settings.load_profile("busy machine")

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def chromium():
    """A browser; a test that wants one is skipped without, or fails where there must be one."""
    if not Path(CHROMIUM).exists():
        if os.environ.get("ZONEPLAN_NEEDS_BROWSER") == "1":
            pytest.fail("There is no Chromium, and ZONEPLAN_NEEDS_BROWSER says there must be.")
        pytest.skip("There is no Chromium.")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_FLAGS)
        yield browser
        browser.close()
