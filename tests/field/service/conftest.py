"""A server that answers what is asked, and clients for whom no time passes."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from shapely.geometry import box

from tests.helpers.public_service import public_service
from tests.helpers.survey_tables import SurveyTables
from zoneplan.demo import demo_field, demo_fields
from zoneplan.field.outline import read_field
from zoneplan.field.service.cache import Cache
from zoneplan.field.service.elevation import HeightService
from zoneplan.field.service.manners import Caller
from zoneplan.field.service.soil import SoilService

NOON = datetime(2026, 11, 28, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def tables():
    return SurveyTables([demo.survey for demo in demo_fields()])


@pytest.fixture
def server(tables):
    with public_service(tables) as service:
        yield service


@pytest.fixture
def cache(tmp_path):
    return Cache(tmp_path / "cache")


@pytest.fixture
def waits():
    """Seconds that were waited, in order."""
    return []


@pytest.fixture
def client(server, cache, waits):
    """Make a client of a service: its waits are written down and take no time."""

    def made(service=SoilService, now=NOON, answer_s=5.0, **options):
        caller = Caller(sleep=waits.append, answer_s=answer_s)
        return service(caller, cache, base=server.address, now=lambda: now, **options)

    return made


@pytest.fixture
def soils(client):
    return client()


@pytest.fixture
def heights(client):
    return client(HeightService)


@pytest.fixture(scope="session")
def creek():
    return read_field(demo_field("creek").boundary)


@pytest.fixture(scope="session")
def plot(creek):
    """A few acres in the middle of the creek field, so that a tile of heights is small."""
    return replace(creek, shape=box(-100, -100, 100, 100), name="Plot")
