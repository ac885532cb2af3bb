"""A fault of our own, in a browser: it is told as one and kept, and nothing of the work is lost."""

import pytest
from playwright.sync_api import expect

from tests.pages.visit import Visit, served

pytestmark = pytest.mark.browser

# The app, but that no zone can be changed, and that no ground is planned that was not tilled.
FAULTY = """
import streamlit as st

from zoneplan.pages import frame
from zoneplan.pages import zone_box
from zoneplan.pages.door import door

NAME = "<img src=http://evil.example/x onerror=alert(1)>"

def broken(*_):
    raise KeyError(NAME)

answered = frame.answered

def sometimes(job):
    if job.request.tillage == "no-till":
        raise ZeroDivisionError(NAME)
    return answered(job)

if __name__ == "__main__":
    zone_box._put = broken
    frame.answered = sometimes
    frame.frame()
    frame.answered = answered
else:
    app = st.App(__file__, **door())
"""


def test_a_fault_of_ours_is_told_and_kept_and_the_work_stays(chromium, tmp_path):
    script, reports = tmp_path / "faulty.py", tmp_path / "state" / "zoneplan" / "faults"
    script.write_text(FAULTY)
    called = tmp_path / "called" / "book"
    called.parent.mkdir()
    with served(called, script, XDG_STATE_HOME=str(tmp_path / "state")) as address:
        visit = Visit(chromium, address)
        page, fault = visit.page, visit.page.get_by_role("alert")
        visit.choose("Which field", "Level (demo)")
        expect(page.locator("h1")).to_have_text("Level eighty")
        visit.at_rest()
        visit.choose("Tillage", "no-till")  # a fault of a page
        expect(fault).to_contain_text("A fault of zoneplan, not yours: ZeroDivisionError.")
        assert len(list(reports.iterdir())) == 1
        page.get_by_role("button", name="Undo").click()
        expect(page.locator("h1")).to_have_text("Level eighty")
        expect(fault).to_have_count(0)

        visit.at_rest()
        page.get_by_text("Change this zone").click()
        page.get_by_role("button", name="Make the change").click()  # a fault of a button
        expect(fault).to_contain_text("A fault of zoneplan, not yours: KeyError.")
        files = sorted(reports.iterdir())
        assert len(files) == 2
        expect(fault).to_contain_text(files[-1].name)
        assert "in broken" in files[-1].read_text()
        page.screenshot(path=tmp_path / "fault.png")
        page.reload()
        expect(page.locator("h1")).to_have_text("Level eighty")
        expect(page.get_by_role("button", name="Undo")).to_be_enabled()
        assert page.get_by_text("Traceback").count() == 0
        assert visit.outside == []
