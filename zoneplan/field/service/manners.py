"""One polite caller of public services: the only module of zoneplan that sends anything out.

One request at a time and half a second apart; what is slow, too big, elsewhere or of a
certificate that nobody vouches for is told for what it is.
"""

import http.client
import os
import ssl
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import urljoin, urlsplit

from zoneplan import release
from zoneplan.errors import ServiceError, quoted
from zoneplan.plain_file import MB
from zoneplan.progress import still

APART_S = 0.5  # between two requests
WAITS_S = (3.0, 8.0, 20.0)  # before the second try, the third and the fourth
MOST_TIMEOUTS = 2  # a service that did not answer in ANSWER_S twice is not pressed further
ANSWER_S = 60.0  # for the first byte, and for each further one
WHOLE_S = 300.0  # for all of an answer
MOST_WAIT_S = 120.0  # that a service may ask us to wait
MOST_MB = 40.0  # of an answer; the soil service's own limit is about 32 MB
MOST_REDIRECTS = 3
_PIECE = 65_536
_SLICE_S = 0.5  # of a wait, after which whoever watches may stop it
BUSY = frozenset({429, 500, 502, 503, 504})  # what may pass by itself
DOWN = frozenset(  # codes of errors after which the next question would fare no better
    {"service-unreached", "service-hangs", "service-untrusted", "service-elsewhere"}
    | {"service-busy", "service-maintenance", "service-down"}
)
LATER = "Try again in 15 minutes."
PROBE = (
    "Try the services (zoneplan soil, with its probe) and send what that prints to those who gave "
    "you zoneplan."
)


@dataclass(frozen=True)
class Asking:
    """One request."""

    url: str
    body: bytes | None = None  # sent by POST where there is one
    headers: Mapping[str, str] = field(default_factory=dict)
    most_mb: float = MOST_MB


@dataclass(frozen=True)
class Reply:
    """What came back, whatever its status says."""

    url: str
    status: int
    content_type: str
    body: bytes

    @property
    def host(self) -> str:
        """Who answered."""
        return host_of(self.url)


class CutOffError(ServiceError):
    """An answer that ended before its end."""


def host_of(url: str) -> str:
    """Name whom an address is of.

    >>> host_of("https://example.org:8443/Tabular/post.rest")
    'example.org:8443'
    """
    return urlsplit(url).netloc.rpartition("@")[2]


@dataclass(frozen=True)
class Address:
    """Where a service is: its own address, or that of a mirror which a person names."""

    variable: str  # of the environment
    own: str

    def base(self) -> str:
        """Give the base address, without a slash at its end.

        Raises
        ------
        ServiceError
            When what the environment names is no address of the web.
        """
        named = os.environ.get(self.variable)
        if not named:
            return self.own
        parts = urlsplit(named)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.query:
            raise ServiceError(
                f"{self.variable} is {quoted(named)}, which is no base address.\n"
                "Nothing was sent.\n"
                "Write it as https://example.org or http://127.0.0.1:8000, or take it out."
            )
        return named.rstrip("/")


SOIL_SERVICE = Address("ZONEPLAN_SOIL_SERVICE", "https://sdmdataaccess.sc.egov.usda.gov")
HEIGHT_SERVICE = Address("ZONEPLAN_HEIGHT_SERVICE", "https://elevation.nationalmap.gov")


class Caller:
    """Sends requests one after the other, each with patience that ends.

    Parameters
    ----------
    clock, sleep : callable, optional
        Seconds that pass, and a way to let them.
    send : callable, optional
        Sends a request of urllib within a time and gives its response; else proxies of the
        environment are honoured and certificates checked.
    """

    def __init__(
        self,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        send: Callable[[urllib.request.Request, float], Any] | None = None,
        answer_s: float = ANSWER_S,
    ) -> None:
        self._clock, self._sleep, self._send = clock, sleep, send or _send
        self._answer_s = answer_s
        self._one = threading.Lock()
        self._last_s: float | None = None

    def ask(self, asking: Asking, stands: Callable[[Reply], bool] = lambda _: False) -> Reply:
        """Send a request, again where it may help, and give the answer whatever it says.

        Parameters
        ----------
        asking : Asking
            What to ask.
        stands : callable, optional
            Whether an answer whose status says that the service is busy is its last word.

        Raises
        ------
        ServiceError
            When there is no connection, no answer in time, a redirect elsewhere, a
            certificate that cannot be trusted, or more than `most_mb`; CutOffError when the
            answer is cut off twice.
        """
        with self._one:
            return self._patiently(asking, stands)

    def _patiently(self, asking: Asking, stands: Callable[[Reply], bool]) -> Reply:
        host, timeouts, cuts = host_of(asking.url), 0, 0
        for wait_s in (*WAITS_S, None):
            asked_s: float | None = None
            try:
                reply, asked_s = self._once(asking)
                if reply.status not in BUSY or stands(reply) or wait_s is None:
                    return reply
            except TimeoutError as error:
                timeouts += 1
                if timeouts == MOST_TIMEOUTS or wait_s is None:
                    raise ServiceError(
                        f"{host} took the question and gave no answer in "
                        f"{self._answer_s:.0f} seconds, {timeouts} times.\n"
                        f"It may be busy or down. {LATER}",
                        code="service-hangs",
                    ) from error
            except CutOffError:
                cuts += 1
                if cuts == 2 or wait_s is None:
                    raise
            except OSError as error:
                if wait_s is None:
                    raise _unreached(host, error) from error
            if asked_s is not None and asked_s > MOST_WAIT_S:
                raise ServiceError(
                    f"{host} asks us to wait {asked_s:,.0f} seconds before the next question.\n"
                    "We ask no sooner than a service wants.\n"
                    f"Try again in {max(1, round(asked_s / 60)):,} minutes.",
                    code="service-busy",
                )
            self._wait(wait_s if asked_s is None else max(asked_s, APART_S))
        raise AssertionError("the last try returns or raises")

    def _once(self, asking: Asking) -> tuple[Reply, float | None]:
        """Send once; follow what leads elsewhere only on the same host."""
        url = asking.url
        for _ in range(MOST_REDIRECTS + 1):
            if self._last_s is not None:
                self._wait(APART_S - (self._clock() - self._last_s))
            try:
                reply, headers = self._exchange(url, asking)
            finally:
                self._last_s = self._clock()
            if reply.status not in (301, 302, 303, 307, 308):
                return reply, _retry_after_s(headers.get("Retry-After"))
            target = urljoin(url, headers.get("Location") or "")
            if urlsplit(target)[:2] != urlsplit(url)[:2]:
                raise ServiceError(
                    f"{host_of(url)} sends us elsewhere: to {quoted(target)}.\n"
                    "We don't follow, for nobody agreed to send the field's place there.\n"
                    "A network that wants a log-in first does this too: open any page in a "
                    "browser, then try again.",
                    code="service-elsewhere",
                )
            url = target
        raise ServiceError(
            f"{host_of(url)} sends us round in a circle.\nIt is not what it should be. {LATER}",
            code="service-elsewhere",
        )

    def _exchange(self, url: str, asking: Asking) -> tuple[Reply, Mapping[str, str]]:
        if urlsplit(url).scheme not in ("http", "https"):
            raise ServiceError(f"{quoted(url)} is no address of the web.\nNothing was sent.")
        headers = {"User-Agent": f"zoneplan/{release()}", **asking.headers}
        request = urllib.request.Request(url, asking.body, headers)  # noqa: S310 checked above
        start_s = self._clock()
        try:
            with closing(self._send(request, self._answer_s)) as response:
                body = self._body(response, asking, host_of(url), start_s)
                answer_headers = response.headers
                return Reply(
                    url, response.status, answer_headers.get("Content-Type") or "", body
                ), answer_headers
        except urllib.error.URLError as error:
            cause = error.reason
            if isinstance(cause, ssl.SSLError):
                raise _untrusted(host_of(url), cause) from error
            if isinstance(cause, TimeoutError):
                raise TimeoutError from error
            raise OSError(str(cause)) from error
        except ssl.SSLCertVerificationError as error:
            raise _untrusted(host_of(url), error) from error
        except http.client.IncompleteRead as error:
            raise _cut_off(host_of(url)) from error
        except http.client.HTTPException as error:
            raise OSError(f"its answer is no HTTP: {quoted(error)}") from error

    def _body(self, response: Any, asking: Asking, host: str, start_s: float) -> bytes:
        """Read an answer as far as was agreed, and no further."""
        stated = str(response.headers.get("Content-Length") or "")
        length = int(stated) if stated.isascii() and stated.isdecimal() else None
        pieces: list[bytes] = []
        size = 0
        most = asking.most_mb * MB
        while max(size, length or 0) <= most and (piece := response.read(_PIECE)):
            pieces.append(piece)
            size += len(piece)
            if self._clock() - start_s > WHOLE_S:
                raise ServiceError(
                    f"{host} sends so slowly that {WHOLE_S / 60:.0f} minutes were not enough.\n"
                    f"The line or the service is overloaded. {LATER}",
                    code="service-slow",
                )
        if max(size, length or 0) > most:
            raise ServiceError(
                f"{host} sends more than {asking.most_mb:g} MB.\n"
                "No answer to our question is so big, and nothing of it was taken.\n"
                "Ask for less ground; if it is one field, tell those who gave you zoneplan.",
                code="service-too-much",
            )
        if length is not None and size < length:
            raise _cut_off(host)
        return b"".join(pieces)

    def _wait(self, wait_s: float) -> None:
        while wait_s > 0:
            still()
            self._sleep(min(wait_s, _SLICE_S))
            wait_s -= _SLICE_S


class _AsItComes(urllib.request.HTTPErrorProcessor):
    """Hands every status on: this module decides what it means."""

    def http_response(self, request: Any, response: Any) -> Any:  # noqa: ARG002 as it is called
        return response

    https_response = http_response


def _send(request: urllib.request.Request, answer_s: float) -> Any:
    opener = urllib.request.OpenerDirector()
    for handler in (
        urllib.request.ProxyHandler(),
        urllib.request.HTTPHandler(),
        urllib.request.HTTPSHandler(context=ssl.create_default_context()),
        urllib.request.UnknownHandler(),
        _AsItComes(),
    ):
        opener.add_handler(handler)
    return opener.open(request, timeout=answer_s)


def _retry_after_s(stated: str | None) -> float | None:
    """Seconds that a service asks us to wait; it may name them or a date."""
    if not stated:
        return None
    if stated.strip().isdecimal():
        return float(stated)
    try:
        until = parsedate_to_datetime(stated)
        return max(0.0, (until - datetime.now(UTC)).total_seconds())
    except (ValueError, TypeError):
        return None


def _cut_off(host: str) -> CutOffError:
    return CutOffError(
        f"The answer of {host} was cut off on its way.\n"
        "Half an answer would put wrong soils into zones, so nothing of it was taken.\n"
        "Try again; if it stays so, the line or a proxy between cuts long answers.",
        code="service-cut-off",
    )


def _untrusted(host: str, error: ssl.SSLError) -> ServiceError:
    why = getattr(error, "verify_message", "") or error.reason or error
    return ServiceError(
        f"{host} cannot be trusted to be who it says: {quoted(why)}.\n"
        "Somebody may be between, so nothing was sent.\n"
        "Where a firewall of your own opens what is sealed, give its certificate in SSL_CERT_FILE; "
        "else check this machine's clock, or try another line.",
        code="service-untrusted",
    )


def _unreached(host: str, error: OSError) -> ServiceError:
    return ServiceError(
        f"{host} cannot be reached: {quoted(error)}.\n"
        "There may be no connection, or a proxy in the way (HTTPS_PROXY names one).\n"
        "Try again once this machine is online; what was asked before is there offline, too.",
        code="service-unreached",
    )


POLITE = Caller()
