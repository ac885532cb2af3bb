"""One polite caller: its pace, its patience, and what it does not follow or believe."""

import itertools
import os
import ssl
import threading
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest
import trustme

from tests.helpers.public_service import Fault, page, public_service
from zoneplan.errors import ServiceError
from zoneplan.field.service import manners
from zoneplan.field.service.manners import Address, Asking, Caller, CutOffError, host_of

SOUND = Fault(body=b'{"Table": []}', kind="application/json")
BUSY = Fault(503, b"busy", "text/plain")


class Time:
    """A clock that only sleep moves on."""

    def __init__(self):
        self.now_s, self.slept_s = 0.0, []

    def __call__(self):
        return self.now_s

    def sleep(self, wait_s):
        self.now_s += wait_s
        self.slept_s.append(wait_s)

    def waits(self):
        """The pauses, slices of one pause together; those between questions left out."""
        return sum(self.slept_s)


@pytest.fixture
def time():
    return Time()


@pytest.fixture
def server():
    with public_service(always=SOUND) as service:
        yield service


@pytest.fixture
def ask(server, time):
    def asked(path="/x", body=b"question", answer_s=5.0, **settings):
        caller = Caller(time, time.sleep, answer_s=answer_s)
        return caller.ask(Asking(server.address + path, body, **settings))

    return asked


def test_two_questions_are_half_a_second_apart(server, time):
    caller = Caller(time, time.sleep)
    for _ in range(3):
        caller.ask(Asking(server.address, b""))
    assert sum(time.slept_s) == pytest.approx(2 * 0.5)


def test_no_pause_where_the_time_has_passed_by_itself(server, time):
    caller = Caller(time, time.sleep)
    caller.ask(Asking(server.address, b""))
    time.now_s += 60
    caller.ask(Asking(server.address, b""))
    assert time.slept_s == []


def test_one_request_at_a_time(server):
    server.delay_s = 0.05  # so long that two would meet
    caller = Caller(sleep=lambda _: None)
    threads = [
        threading.Thread(target=caller.ask, args=(Asking(server.address, b""),)) for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(server.seen) == 8
    assert server.most_at_once == 1


def test_it_names_the_program_and_nothing_of_the_machine(ask, server):
    ask()
    (seen,) = server.seen
    assert seen.headers["user-agent"].startswith("zoneplan/")
    assert set(seen.headers) <= {
        "user-agent", "accept-encoding", "host", "connection", "content-length", "content-type",
    }  # fmt: skip


def test_what_is_busy_is_asked_again_after_waits_that_grow(ask, server, time):
    server.faults = [BUSY, BUSY, BUSY]
    assert ask().status == 200
    assert len(server.seen) == 4
    assert time.now_s == pytest.approx(3 + 8 + 20, abs=1)


def test_patience_ends(ask, server):
    server.always = BUSY
    assert ask().status == 503
    assert len(server.seen) == 4


def test_a_last_word_is_not_asked_for_again(server, time):
    server.always = BUSY
    reply = Caller(time, time.sleep).ask(Asking(server.address, b""), lambda _: True)
    assert reply.status == 503
    assert len(server.seen) == 1


@pytest.mark.parametrize("status", [400, 403, 404])
def test_what_will_not_change_is_not_asked_again(ask, server, status):
    server.always = Fault(status, b"no")
    assert ask().status == status
    assert len(server.seen) == 1


def test_a_service_says_how_long_to_wait(ask, server, time):
    server.faults = [Fault(429, b"slow down", headers=(("Retry-After", "45"),))]
    assert ask().status == 200
    assert time.now_s == pytest.approx(45, abs=1)


def test_or_until_when(ask, server, time):
    until = format_datetime(datetime.now(UTC) + timedelta(seconds=60), usegmt=True)
    server.faults = [Fault(503, b"later", headers=(("Retry-After", until),))]
    assert ask().status == 200
    assert time.now_s == pytest.approx(60, abs=5)


def test_a_wait_that_is_too_long_is_told(ask, server, time):
    server.always = Fault(429, b"no", headers=(("Retry-After", "3600"),))
    with pytest.raises(ServiceError, match="wait 3,600 seconds") as caught:
        ask()
    assert "in 60 minutes" in str(caught.value)
    assert (len(server.seen), time.now_s) == (1, 0)


@pytest.mark.parametrize("stated", ["soon", "-5", "1e9", "Mon, 99 Foo 2026"])
def test_a_wait_that_is_no_time_counts_as_none_told(ask, server, time, stated):
    server.faults = [Fault(429, b"no", headers=(("Retry-After", stated),))]
    assert ask().status == 200
    assert time.now_s == pytest.approx(3, abs=1)


def test_what_hangs_is_given_up_after_two_tries(ask, server):
    server.always = Fault(hang_s=2.0)
    with pytest.raises(ServiceError, match="gave no answer") as caught:
        ask(answer_s=0.1)
    assert caught.value.code == "service-hangs"
    assert len(server.seen) == 2


def test_what_hangs_once_is_asked_again(ask, server):
    server.faults = [Fault(hang_s=1.0)]
    assert ask(answer_s=0.2).status == 200


def test_nobody_there(time):
    with public_service() as gone:
        address = gone.address
    with pytest.raises(ServiceError, match="cannot be reached") as caught:
        Caller(time, time.sleep).ask(Asking(address, b""))
    assert caught.value.code == "service-unreached"
    assert "offline" in str(caught.value)
    assert time.now_s == pytest.approx(3 + 8 + 20, abs=2)


def test_a_line_that_drops_is_tried_again(ask, server):
    server.faults = [Fault(drop=True)]
    assert ask().status == 200
    assert len(server.seen) == 2


def test_an_answer_that_is_cut_off_is_asked_for_once_more(ask, server):
    cut = Fault(body=b'{"Table": [', kind="application/json", length=5000)
    server.faults = [cut]
    assert ask().status == 200
    server.always = cut
    server.seen.clear()
    with pytest.raises(CutOffError, match="cut off on its way"):
        ask()
    assert len(server.seen) == 2


def test_two_hundred_megabytes_are_not_read(ask, server):
    server.always = Fault(huge_mb=200)
    with pytest.raises(ServiceError, match="more than 40 MB") as caught:
        ask()
    assert caught.value.code == "service-too-much"
    assert len(server.seen) == 1


def test_nor_are_they_where_no_length_is_told(time):
    class Endless:
        status, headers = 200, {}
        pieces = itertools.repeat(b" " * 65_536)
        taken = 0

        def read(self, size):
            assert size <= 65_536
            self.taken += size
            return next(self.pieces)

        def close(self):
            pass

    endless = Endless()
    caller = Caller(time, time.sleep, send=lambda *_: endless)
    with pytest.raises(ServiceError, match="more than 1 MB"):
        caller.ask(Asking("https://example.org", most_mb=1))
    assert endless.taken <= 1_000_000 + 2 * 65_536


def test_what_comes_in_drops_is_given_up(time):
    class Drops:
        status, headers = 200, {}

        def read(self, _):
            time.now_s += 30
            return b" "

        def close(self):
            pass

    caller = Caller(time, time.sleep, send=lambda *_: Drops())
    with pytest.raises(ServiceError, match="so slowly") as caught:
        caller.ask(Asking("https://example.org"))
    assert caught.value.code == "service-slow"
    assert time.now_s <= 400


# ---- elsewhere ---------------------------------------------------------------------------------


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
@pytest.mark.parametrize(
    "target",
    ["http://example.org/", "//example.org/x", "https://{host}/", "file:///etc/passwd"],
)
def test_a_redirect_elsewhere_is_refused(ask, server, status, target):
    location = target.format(host=host_of(server.address))
    server.always = Fault(status, b"", headers=(("Location", location),))
    with pytest.raises(ServiceError, match="sends us elsewhere") as caught:
        ask()
    assert caught.value.code == "service-elsewhere"
    assert len(server.seen) == 1


def test_one_on_the_same_host_is_followed_with_the_question(ask, server):
    server.faults = [Fault(307, b"", headers=(("Location", "/tabular/y"),))]
    assert ask("/x").status == 200
    assert [(request.method, request.path, request.body) for request in server.seen] == [
        ("POST", "/x", b"question"),
        ("POST", "/tabular/y", b"question"),
    ]


def test_a_circle_of_redirects_ends(ask, server):
    server.always = Fault(302, b"", headers=(("Location", "/x"),))
    with pytest.raises(ServiceError, match="in a circle"):
        ask()
    assert len(server.seen) == manners.MOST_REDIRECTS + 1


@pytest.mark.parametrize("url", ["file:///etc/passwd", "ftp://example.org/x", "data:,x"])
def test_only_the_web_is_asked(time, url):
    with pytest.raises(ServiceError, match="no address of the web"):
        Caller(time, time.sleep).ask(Asking(url))


# ---- certificates and proxies ------------------------------------------------------------------


def test_a_certificate_that_nobody_vouches_for_is_refused_before_anything_is_sent(time):
    with public_service(certificate=trustme.CA().issue_cert("127.0.0.1")) as sealed:
        with pytest.raises(ServiceError, match="cannot be trusted") as caught:
            Caller(time, time.sleep).ask(Asking(sealed.address, b"a field"))
        assert sealed.seen == []
    assert caught.value.code == "service-untrusted"
    assert "SSL_CERT_FILE" in str(caught.value)
    assert time.slept_s == []  # it does not heal by waiting


def test_one_of_another_name_is_refused(time, tmp_path, monkeypatch):
    authority = trustme.CA()
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ca.pem"))
    with public_service(certificate=authority.issue_cert("example.org")) as sealed:
        with pytest.raises(ServiceError, match="cannot be trusted"):
            Caller(time, time.sleep).ask(Asking(sealed.address, b"a field"))
        assert sealed.seen == []


def test_one_that_the_user_vouches_for_is_taken(time, tmp_path, monkeypatch):
    authority = trustme.CA()
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ca.pem"))
    certificate = authority.issue_cert("127.0.0.1")
    with public_service(certificate=certificate, always=SOUND) as sealed:
        assert Caller(time, time.sleep).ask(Asking(sealed.address, b"a field")).status == 200
    assert ssl.create_default_context().check_hostname


def test_a_proxy_of_the_environment_is_honoured(server, time, monkeypatch):
    for name in [each for each in os.environ if each.lower().endswith("_proxy")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("http_proxy", server.address)
    reply = Caller(time, time.sleep).ask(Asking("http://soil.invalid/Tabular/post.rest", b"q"))
    assert reply.status == 200
    assert [request.path for request in server.seen] == ["http://soil.invalid/Tabular/post.rest"]


# ---- addresses ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "address", ["soil", "file:///x", "http://", "ftp://example.org", "https://example.org/?q=1"]
)
def test_a_base_that_is_no_address_is_told(address, monkeypatch):
    monkeypatch.setenv("ZONEPLAN_SOIL_SERVICE", address)
    with pytest.raises(ServiceError, match="ZONEPLAN_SOIL_SERVICE is"):
        Address("ZONEPLAN_SOIL_SERVICE", "https://own.example").base()


def test_a_mirror_takes_the_place_of_the_service(monkeypatch):
    address = Address("ZONEPLAN_SOIL_SERVICE", "https://own.example")
    monkeypatch.delenv("ZONEPLAN_SOIL_SERVICE", raising=False)
    assert address.base() == "https://own.example"
    monkeypatch.setenv("ZONEPLAN_SOIL_SERVICE", "http://127.0.0.1:8000/")
    assert address.base() == "http://127.0.0.1:8000"


def test_a_page_is_handed_on_as_it_came(ask, server):
    server.always = page("hello", 404)
    reply = ask()
    assert (reply.status, reply.content_type) == (404, "text/html; charset=utf-8")
    assert b"hello" in reply.body
