"""Signing in to a shared book: with a real provider, in a browser; and what is refused before."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
import warnings
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.book.filled import filled
from tests.book.handed import field_plan, given
from tests.pages.visit import PATIENCE_S
from zoneplan.address import ALLOW_OTHERS
from zoneplan.book.fields import State, find_field
from zoneplan.book.history import history
from zoneplan.book.opening import open_book
from zoneplan.errors import ZoneplanError
from zoneplan.pages import door
from zoneplan.pages.book import BOOK
from zoneplan.pages.person import SIGN_IN, Person, Role, person, read_sign_in

ROOT = Path(__file__).parents[2]
SECRET = "0123456789abcdef0123456789abcdef"
FILE = """
[auth]
redirect_uri = "http://localhost:{port}/oauth2callback"
cookie_secret = "{secret}"
client_id = "zoneplan"
client_secret = "a secret"
server_metadata_url = "http://localhost:{provider}/.well-known/openid-configuration"

[roles]
"bea@example.org" = "reviews"
"rob@example.org" = "reads"
"""
ANN = given("Wilhelmina Oddsock", field_plan("Home", "North", -87, 42))


def written(tmp_path, text=FILE, port=8501, provider=9, secret=SECRET):
    file = tmp_path / "sign-in.toml"
    file.write_text(text.format(port=port, provider=provider, secret=secret))
    return file


# ---- what is refused before anybody comes -------------------------------------------------------


def test_roles_are_read_by_address_in_any_letters(tmp_path):
    file = written(tmp_path, FILE.replace("bea@", " Bea@"))
    assert read_sign_in(file) == {"bea@example.org": Role.REVIEWS, "rob@example.org": Role.READS}


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ('"reads"', '"admin"', "is not a role. Use edits, reviews or reads"),
        ("/oauth2callback", "/callback", "does not end as it must"),
        ("http://localhost:{port}", "http://maps.example", "is not https"),
        ("http://localhost:{provider}", "http://login.example", "is no address of a provider"),
        ("{secret}", "short", "too short"),
        ("client_secret", "client_sekret", "has no client_secret"),
        ("[roles]", "[rules]", "no roles"),
        ("[auth]", "[auth", "is not TOML"),
    ],
)
def test_a_file_with_faults_is_told(before, after, says, tmp_path):
    with pytest.raises(ZoneplanError, match=says):
        read_sign_in(written(tmp_path, FILE.replace(before, after)))


def test_a_book_is_not_served_to_others_without_sign_in(tmp_path, monkeypatch):
    filled(tmp_path / "season.book", ANN).close()
    monkeypatch.setenv(BOOK, str(tmp_path / "season.book"))
    monkeypatch.delenv(SIGN_IN, raising=False)
    monkeypatch.setattr(sys, "argv", ["app.py", ALLOW_OTHERS])
    with pytest.raises(SystemExit, match="without a sign-in"):
        door.door()
    monkeypatch.setenv(SIGN_IN, str(written(tmp_path)))
    assert door.door()


def test_the_app_does_not_start_with_what_is_no_book(tmp_path, monkeypatch):
    (tmp_path / "taxes.book").write_text("mine")
    monkeypatch.setenv(BOOK, str(tmp_path / "taxes.book"))
    monkeypatch.setattr(sys, "argv", ["app.py"])
    monkeypatch.setattr("streamlit.get_option", lambda _: "localhost")
    with pytest.raises(SystemExit, match="is no book"):
        door.door()


@pytest.mark.parametrize(
    ("vouched", "role"),
    [({"email_verified": True}, Role.REVIEWS), ({"email_verified": False}, None), ({}, None)],
)
def test_an_address_counts_where_the_provider_says_that_it_is_his(
    vouched, role, tmp_path, monkeypatch
):
    """A provider that says nothing of it may let anybody type any address."""
    monkeypatch.setenv(SIGN_IN, str(written(tmp_path)))
    monkeypatch.setattr(
        "streamlit.user", {"is_logged_in": True, "email": "bea@example.org", **vouched}
    )
    somebody = person()
    assert (somebody and somebody.role) == role


@pytest.mark.parametrize("role", Role)
def test_each_role_may_what_those_below_may(role):
    below = [*Role][[*Role].index(role) :]
    assert {allowed for allowed in Role if Person("x", role).may(allowed)} == {*below}


# ---- a real provider ----------------------------------------------------------------------------


@contextmanager
def shared(book, sign_in, port):
    """The app as a co-op would run it."""
    command = [sys.executable, "-m", "zoneplan", "app", "--no-browser", f"--port={port}"]
    server = subprocess.Popen(
        [*command, "--book", str(book), "--sign-in", str(sign_in)],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        until = time.monotonic() + 2 * PATIENCE_S
        while time.monotonic() < until and server.poll() is None:
            try:
                urllib.request.urlopen(f"http://localhost:{port}/_stcore/health", timeout=1)
                break
            except OSError:
                time.sleep(0.2)
        yield f"http://localhost:{port}/"
    finally:
        server.terminate()
        server.wait(PATIENCE_S)


@pytest.fixture(scope="module")
def coop(tmp_path_factory):
    """A book, its app, and a provider that knows five people."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from oidc_provider_mock import User, run_server_in_thread

    folder = tmp_path_factory.mktemp("coop")
    filled(folder / "season.book", ANN).close()
    people = [
        User(sub=name, claims={"email": f"{name}@example.org", "email_verified": sure})
        for name, sure in (("bea", True), ("rob", True), ("eve", True), ("bea-not", False))
    ]
    people[-1].claims["email"] = "bea@example.org"  # who says so, and nobody vouches for it
    people.append(User(sub="bea-unsaid", claims={"email": "bea@example.org"}))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with run_server_in_thread(user_claims=people) as provider:
        file = written(folder, port=port, provider=provider.server_port)
        with shared(folder / "season.book", file, port) as address:
            yield address, folder / "season.book"


@pytest.fixture
def arrive(chromium, coop):
    """Somebody comes, and signs in as one of the provider's people."""
    contexts = []

    def arrive(who=None):
        context = chromium.new_context(viewport={"width": 1400, "height": 1000})
        context.route("**/cdn.jsdelivr.net/**", lambda route: route.abort())
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(2000 * PATIENCE_S)
        page.goto(coop[0])
        if who:
            page.get_by_role("button", name="Sign in").click()
            page.get_by_role("button", name=who, exact=True).click()
        return page

    yield arrive
    for context in contexts:
        context.close()


@pytest.mark.slow
@pytest.mark.browser
def test_who_has_not_signed_in_sees_nothing_of_the_book(arrive):
    page = arrive()
    page.get_by_role("button", name="Sign in").wait_for()
    assert "Oddsock" not in page.content()
    assert page.get_by_role("link", name="Growers").count() == 0


@pytest.mark.slow
@pytest.mark.browser
@pytest.mark.parametrize(
    ("who", "says"),
    [
        ("eve", "who has no role here"),
        ("bea-not", "does not vouch for"),
        ("bea-unsaid", "does not vouch for"),
    ],
)
def test_who_has_no_role_or_whose_address_nobody_vouches_for_sees_nothing(arrive, who, says):
    page = arrive(who)
    page.get_by_text(says).wait_for()
    page.get_by_role("button", name="Sign out").wait_for()
    assert "Oddsock" not in page.content()


@pytest.mark.slow
@pytest.mark.browser
def test_a_review_is_written_under_the_address_that_signed_in(arrive, coop):
    page = arrive("bea")
    page.get_by_text("bea@example.org, reviews").wait_for()
    page.get_by_label("Note").fill("Looked at on the map.")
    page.get_by_role("button", name="Mark it").click()
    page.get_by_text("is reviewed now").wait_for()
    with open_book(coop[1]) as book:
        field = find_field(book, "North")
        assert (field.state, field.who) == (State.REVIEWED, "bea@example.org")
        assert history(book, field.id)[-1].what["note"] == "Looked at on the map."
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("button", name="End session").wait_for()  # at the provider
    page.goto(coop[0])
    page.get_by_role("button", name="Sign in").wait_for()
    assert "Oddsock" not in page.content()


@pytest.mark.slow
@pytest.mark.browser
def test_who_may_only_read_changes_nothing(arrive, coop):
    page = arrive("rob")
    page.get_by_text("rob@example.org, reads").wait_for()
    with open_book(coop[1]) as book:
        before = find_field(book, "North").version
    page.get_by_role("button", name="Mark it").click()
    page.get_by_text("Your role here does not allow that").wait_for()
    with open_book(coop[1]) as book:
        assert find_field(book, "North").version == before
