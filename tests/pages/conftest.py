"""What the tests in a browser share."""

import pytest


@pytest.fixture(scope="module")
def called(tmp_path_factory):
    """What the server called, line by line."""
    return tmp_path_factory.mktemp("called") / "book"


@pytest.fixture(scope="module")
def address(called):
    """Where the app is served."""
    from tests.pages.visit import served

    with served(called) as address:
        yield address


@pytest.fixture
def visit(chromium, address):
    """A person at a browser, on the app's first page."""
    from tests.pages.visit import Visit

    return Visit(chromium, address)
