"""Whom the app serves, what goes with every answer, and how much it takes."""

import asyncio
import http.client
import sys
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
import streamlit as st

from tests.pages.visit import served
from zoneplan.address import ALLOW_OTHERS, WHAT_IT_MEANS
from zoneplan.pages import door

MAP = "component/streamlit_folium.st_folium/index.html"


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """Host and port of the app as it is served."""
    with served(tmp_path_factory.mktemp("called") / "book") as address:
        parts = urlsplit(address)
        yield parts.hostname, parts.port


def asked(server, path, **headers):
    connection = http.client.HTTPConnection(*server, timeout=10)
    connection.request(
        "GET", f"/{path}", headers={k.replace("_", "-"): v for k, v in headers.items()}
    )
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer


@pytest.mark.parametrize(
    "path", ["", "sheets", "_stcore/health", "media/none", "static/none.js", "nowhere/at/all"]
)
def test_every_answer_says_that_nothing_may_come_from_elsewhere(server, path):
    answer = asked(server, path)
    assert answer.getheader("X-Frame-Options") == "DENY"
    assert answer.getheader("X-Content-Type-Options") == "nosniff"
    assert answer.getheader("Referrer-Policy") == "same-origin"
    policy = answer.getheader("Content-Security-Policy")
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    assert "script-src 'self' 'sha256-" in policy
    assert "http" not in policy


def test_the_map_may_be_framed_by_our_page_and_ask_for_pictures_of_the_ground_alone(server):
    answer = asked(server, MAP)
    assert answer.getheader("X-Frame-Options") == "SAMEORIGIN"
    policy = answer.getheader("Content-Security-Policy")
    assert "frame-ancestors 'self'" in policy
    assert policy.count("http") == 1
    assert "img-src 'self' data: blob: https://tile.openstreetmap.org;" in policy


def test_a_name_that_was_led_here_and_pages_of_others_are_turned_away(server):
    host, port = server
    assert asked(server, "").status == 200
    assert asked(server, "", Host=f"localhost:{port}").status == 200
    assert asked(server, "", Host=f"evil.example:{port}").status == 403
    assert asked(server, "", Host="").status == 403
    assert asked(server, "", Origin=f"http://{host}:{port}").status == 200
    assert asked(server, "", Origin="https://evil.example").status == 403
    stream = {
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec_WebSocket_Version": "13",
        "Sec_WebSocket_Key": "AAAAAAAAAAAAAAAAAAAAAA==",
    }
    assert asked(server, "_stcore/stream", **stream, Origin=f"http://{host}:{port}").status == 101
    for origin in ("https://evil.example", f"http://localhost:{port + 1}", "null"):
        assert asked(server, "_stcore/stream", **stream, Origin=origin).status == 403


@pytest.fixture
def asked_for(monkeypatch):
    """Start to serve at an address, as it were."""

    def start(address, *arguments):
        monkeypatch.setattr(st, "get_option", lambda _: address)
        monkeypatch.setattr(sys, "argv", ["app.py", *arguments])
        return door.door()

    return start


def test_others_are_served_only_where_a_person_says_so(asked_for):
    for address in ("localhost", "127.0.0.1", "::1", "127.9.9.9"):
        assert asked_for(address)
    for address in (None, "", "0.0.0.0", "::", "192.168.1.5", "field-pc", "localhost.evil.example"):
        with pytest.raises(SystemExit) as stop:
            asked_for(address)
        assert WHAT_IT_MEANS in str(stop.value)
        assert ALLOW_OTHERS in str(stop.value)
        assert asked_for(address, ALLOW_OTHERS)


class Files:
    """What stands behind the bound on uploads: takes a file, and may be slow with it."""

    def __init__(self, monkeypatch):
        self.held, self.taken, self.wait = {}, 0, None
        runtime = SimpleNamespace(
            uploaded_file_mgr=SimpleNamespace(file_storage=self.held),
            is_active_session=lambda session: session != "nobody",
        )
        monkeypatch.setattr(door, "get_instance", lambda: runtime)
        self.door = door.Uploads(self._take)

    async def _take(self, scope, _receive, send):
        if self.wait:
            await self.wait.wait()
        self.taken += 1
        session, file = scope["path"].split("/")[-2:]
        size = int(dict(scope["headers"])[b"content-length"])
        self.held.setdefault(session, {})[file] = SimpleNamespace(data=range(size))
        await send({"type": "http.response.start", "status": 204, "headers": []})

    async def put(self, session, size, name="file"):
        messages = []

        async def send(message):
            messages.append(message)

        length = [] if size is None else [(b"content-length", str(size).encode())]
        path = f"/_stcore/upload_file/{session}/{name}"
        scope = {"type": "http", "method": "PUT", "path": path, "headers": length}
        await self.door(scope, None, send)
        return messages[0]["status"]


@pytest.fixture
def files(monkeypatch):
    monkeypatch.setattr(door, "MOST_FILES", 3)
    monkeypatch.setattr(door, "MOST_MB", 10)
    monkeypatch.setattr(door, "MOST_MB_TOGETHER", 25)
    return Files(monkeypatch)


MB = 10**6


def test_one_session_sends_so_many_files_and_so_much_and_no_more(files, monkeypatch):
    put = lambda *args: asyncio.run(files.put(*args))  # noqa: E731
    assert put("a", 6 * MB, "1") == 204
    assert put("a", 5 * MB, "2") == 413
    assert put("a", 4 * MB, "2") == 204
    assert put("a", 1, "3") == 204
    assert put("a", 1, "4") == 413
    assert put("b", None) == 411
    assert put("b", 1) == 204
    assert files.taken == 4
    monkeypatch.setattr(door, "get_script_run_ctx", lambda: SimpleNamespace(session_id="a"))
    assert "3 files are here already, the most that one page may send." in door.refused()
    assert door.refused() == ""  # once is enough


def test_all_together_send_so_much_and_no_more(files):
    put = lambda *args: asyncio.run(files.put(*args))  # noqa: E731
    assert [put(session, 9 * MB) for session in "abcd"] == [204, 204, 413, 413]
    assert put("c", 6 * MB) == 204
    del files.held["a"]  # as Streamlit does where a session ends
    assert put("d", 9 * MB) == 204


def test_what_is_on_its_way_counts(files):
    async def at_once():
        files.wait = asyncio.Event()
        sent = [asyncio.create_task(files.put("a", 4 * MB, str(number))) for number in range(5)]
        await asyncio.sleep(0)
        files.wait.set()
        return await asyncio.gather(*sent)

    assert sorted(asyncio.run(at_once())) == [204, 204, 413, 413, 413]


@pytest.mark.parametrize(("path", "status"), [("/auth/login", 502), ("/nowhere", 400)])
def test_a_provider_that_does_not_answer_is_told_in_words(path, status):
    async def app(_scope, _receive, send):
        await send({"type": "http.response.start", "status": 400, "headers": []})
        await send({"type": "http.response.body", "body": b"Authentication error"})

    sent = []

    async def send(message):
        sent.append(message)

    scope = {"type": "http", "path": path, "headers": [(b"host", b"localhost:8600")]}
    asyncio.run(door._Door(app, others=False)(scope, None, send))
    start, body = sent
    assert start["status"] == status
    assert dict(start["headers"])[b"x-frame-options"] == b"DENY"
    assert (b"does not answer" in body["body"]) == (status == 502)
