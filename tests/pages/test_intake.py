"""The buttons for public data: what they say, what they send, and that nothing else does."""

import pytest

from tests.helpers.public_service import Fault, page, public_service
from tests.helpers.survey_tables import SurveyTables
from tests.pages.test_app import OWN_FIELD, opened
from tests.pages.uploads import DEMOS, boundary
from zoneplan.pages.intake import HEIGHTS_BUTTON, SURVEY_BUTTON


@pytest.fixture
def server(tmp_path, monkeypatch):
    with public_service(SurveyTables([DEMOS["creek"].survey])) as service:
        monkeypatch.setenv("ZONEPLAN_SOIL_SERVICE", service.address)
        monkeypatch.setenv("ZONEPLAN_HEIGHT_SERVICE", service.address)
        monkeypatch.setenv("ZONEPLAN_CACHE", str(tmp_path))
        monkeypatch.setattr("zoneplan.field.service.manners.APART_S", 0.0)
        yield service


def with_outline():
    app = opened(OWN_FIELD)
    app.file_uploader(key="boundary").set_value(boundary("creek"))
    return app.run()


def shown(app):
    return " ".join(element.value for element in [*app.caption, *app.html])


def test_the_button_says_what_leaves_the_machine_and_sends_nothing_until_it_is_pressed(server):
    app = with_outline()
    host = server.address.removeprefix("http://")
    assert app.button(key="get-survey").label == SURVEY_BUTTON
    assert app.button(key="get-heights").label == HEIGHTS_BUTTON
    assert f"leaves this machine: the outline (or its box), grown by 30 m, goes to {host}" in shown(
        app
    )
    assert server.seen == []


@pytest.mark.slow
def test_pressing_it_lays_the_survey_with_the_soils_and_the_field_is_planned(server):
    app = with_outline()
    app.button(key="get-survey").click().run()
    assert not app.exception
    assert next(file.name for file in app.session_state["desk"].files["soils"]).startswith(
        "soil survey ZZ901 "
    )
    assert app.session_state["desk"].now is not None
    assert {question.method for question in server.seen} == {"POST"}
    app.button(key="get-heights").click().run()
    assert [file.name[:14] for file in app.session_state["desk"].files["elevation"]] == [
        "public heights"
    ]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (page("Site is under daily maintenance from 12:30 AM CST to 12:45 AM CST"), "maintenance"),
        (Fault(body=b"{}", kind="application/json"), "knows no soil"),
    ],
)
def test_a_fault_is_told_and_nothing_is_lost(server, fault, words):
    app = with_outline()
    server.always = fault
    app.button(key="get-survey").click().run()
    assert words in shown(app)
    assert app.session_state["desk"].files.get("soils", ()) == ()


def test_without_an_outline_there_is_no_button(server):
    app = opened(OWN_FIELD)
    assert "get-survey" not in [button.key for button in app.button]
    assert server.seen == []
