"""The client of the soil service, against a server that answers what is asked."""

from datetime import UTC, datetime

import pytest

from tests.helpers.public_service import public_service
from tests.helpers.survey_tables import SurveyTables
from zoneplan.demo import demo_field, demo_fields
from zoneplan.field.outline import read_field
from zoneplan.field.service.cache import Cache
from zoneplan.field.service.manners import Caller
from zoneplan.field.service.soil import SoilService
from zoneplan.field.survey.read import read_survey


@pytest.fixture(scope="module")
def tables():
    return SurveyTables([demo.survey for demo in demo_fields()])


@pytest.fixture
def server(tables):
    with public_service(tables) as service:
        yield service


@pytest.fixture
def ask(server, tmp_path):
    """Make a client: with its own cache, no time passing between questions."""

    def made(**options):
        now = options.pop("now", datetime(2026, 11, 28, 12, tzinfo=UTC))
        caller = Caller(sleep=lambda _: None, answer_s=options.pop("answer_s", 5.0))
        cache = Cache(tmp_path / "cache")
        return SoilService(caller, cache, base=server.address, now=lambda: now, **options)

    return made


def creek():
    return read_field(demo_field("creek").boundary)


def test_an_answer_is_read_as_a_survey_that_names_its_edition(ask, tmp_path):
    answer = ask().survey(creek())
    path = tmp_path / answer.name
    path.write_bytes(answer.content)
    survey = read_survey(path)
    (vintage,) = (it for it in survey.notes if it.code == "survey-vintage")
    assert survey.name == "ZZ901"
    assert dict(vintage.values) == {
        "area": "ZZ901",
        "area_name": "Neverwas County (invented)",
        "version": "31",
        "refreshed": "2025-09-04",
        "asked": "2026-11-28",
        "asked_of": ask().host,
    }
