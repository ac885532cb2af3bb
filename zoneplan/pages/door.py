"""The app's door to the network: whom it serves, what goes with every page, what files it takes.

What Streamlit leaves to nobody: its scripts bring their styles themselves, so styles inside the
page cannot be forbidden; the map to draw on runs scripts that it is sent, so they cannot be
either, there. No page may ask, run or show anything from elsewhere, but for the map's web
background, where a person turns that on.
"""

import base64
import hashlib
import logging
import os
import re
import sys
import webbrowser
from collections import Counter
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import streamlit as st
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware import Middleware
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.runtime import get_instance
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFileRec

from zoneplan.address import ALLOW_OTHERS, everywhere, is_this_machine, refusal
from zoneplan.errors import ZoneplanError
from zoneplan.harmless import guard_terminal, on_terminal
from zoneplan.pages.book import BOOK, given
from zoneplan.pages.fault import last_catch
from zoneplan.pages.map import TILES
from zoneplan.pages.person import SIGN_IN, read_sign_in

MOST_FILES = 200  # of one session
MOST_MB = 500  # of one session
MOST_MB_TOGETHER = 2000  # of all sessions
TOGETHER = f"One page takes {MOST_FILES} files and {MOST_MB} MB at the most, all boxes together."
_MB = 10**6
_AROUND = 10_000  # bytes that a form puts round its file
_MOST_TOLD = 1000  # sessions that were refused something and did not hear of it yet
_UPLOAD = re.compile(r"/_stcore/upload_file/(?P<session>[^/]+)/[^/]+$")
_Files = Mapping[str, Mapping[str, UploadedFileRec]]  # by session and file
_TURN_S = 0.001  # of a thread: a touch is answered though others plan
_MAP = "/component/"  # what is served there stands in a frame of our own page
_OWN_MAPS = tuple(f"{_MAP}zoneplan.pages.{name}." for name in ("map", "book.map"))
# Each runs the scripts that are served with it, and no others.
_SCRIPTS = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    "X-DNS-Prefetch-Control": "off",  # links in rules and reasons are looked up when pressed
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
_LOGIN = "/auth/login"
_FAILS = 400  # and above: of an answer's number
_NO_PROVIDER = (
    "The provider where people sign in does not answer.\n"
    "Nobody was signed in, and nothing was changed.\n"
    "Go back and try again in a while. Where it stays so, ask whoever runs this server."
)
_WITHOUT_SIGN_IN = (
    "A book was given, and other machines would be served without a sign-in.\n"
    "Whoever came could change every plan in it, and nobody would know who.\n"
    "Say where people sign in and who may what: --sign-in FILE; or leave "
    f"{ALLOW_OTHERS} out."
)


def door() -> dict[str, Any]:
    """Give what the app is served with; end at once where it would serve others unasked."""
    others = ALLOW_OTHERS in sys.argv[1:]
    address = st.get_option("server.address")
    if not others and not (address and is_this_machine(address)):
        raise SystemExit(refusal(address))
    _look_at_the_book(others=others)
    guard_terminal()
    sys.setswitchinterval(_TURN_S)
    # Names may steer the terminal that the server was started in: the last catch writes a report.
    logging.getLogger("streamlit.error_util").addFilter(_is_not_of_a_page)
    return {
        "middleware": [Middleware(_Door, others=others), Middleware(Uploads)],
        "lifespan": _lifespan,
        "on_script_error": last_catch,
    }


def _look_at_the_book(*, others: bool) -> None:
    """End at once where the book cannot be opened, or others could open it without signing in."""
    try:
        if file := os.environ.get(SIGN_IN):
            read_sign_in(Path(file))
        elif others and os.environ.get(BOOK):
            raise ZoneplanError(_WITHOUT_SIGN_IN)
        given()
    except ZoneplanError as error:
        raise SystemExit(on_terminal(str(error))) from None


class _Door:
    """Turns strangers' requests away, and sends headers with every answer."""

    def __init__(self, app: ASGIApp, *, others: bool) -> None:
        self.app, self.others = app, others

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        if reason := self._stranger(Headers(scope=scope)):
            await PlainTextResponse(reason, 403)(scope, receive, send)
            return

        failed = False

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(headers(scope["path"]))
            await send(message)

        async def send_in_words(message: Message) -> None:
            """Of a provider that does not answer the framework says "Authentication error"."""
            nonlocal failed
            if message["type"] == "http.response.start" and message["status"] >= _FAILS:
                failed = True
                await PlainTextResponse(_NO_PROVIDER, 502)(scope, receive, send_with_headers)
            elif not failed:
                await send_with_headers(message)

        signs_in = scope["path"].endswith(_LOGIN)
        await self.app(scope, receive, send_in_words if signs_in else send_with_headers)

    def _stranger(self, given: Headers) -> str:
        """Say why a request is none of ours: a stranger's page may have sent the browser here."""
        host, origin = given.get("host", ""), given.get("origin")
        if not self.others and not _is_ours(host):  # a name that was made to lead to this machine
            return "This app answers to this machine's own name only, such as localhost."
        if origin is not None and urlsplit(origin).netloc != host:
            return "This app answers to its own pages only."
        return ""


def headers(path: str) -> dict[str, str]:
    """What goes with an answer, so that a browser takes nothing from elsewhere."""
    own = any(name in path for name in _OWN_MAPS)
    if _MAP in path:
        return _ALWAYS | {
            "Content-Security-Policy": _policy(
                script="'self'" if own else "'self' 'unsafe-inline' 'unsafe-eval' data:",
                style="'self'" if own else "'self' 'unsafe-inline' data:",
                image=f"'self' data: blob: {_origin(TILES)}",
                ancestors="'self'",
            ),
            "X-Frame-Options": "SAMEORIGIN",
            # The pictures' server wants to know who asks: no more than this machine's name.
            "Referrer-Policy": "strict-origin-when-cross-origin",
        }
    return _ALWAYS | {
        "Content-Security-Policy": _policy(
            script=f"'self' {' '.join(_inline_scripts())}",
            style="'self' 'unsafe-inline'",
            image="'self' data: blob:",
            ancestors="'none'",
        ),
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "same-origin",  # the address holds the key to the work
    }


def _policy(script: str, style: str, image: str, ancestors: str) -> str:
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src {script}",
            f"style-src {style}",
            f"img-src {image}",
            "font-src 'self' data:",
            "connect-src 'self'",
            "frame-src 'self' data:",  # the landowner's page, which allows less itself
            "worker-src 'self' blob:",
            "object-src 'none'",
            "base-uri 'self'",
            "form-action 'none'",
            f"frame-ancestors {ancestors}",
        )
    )


@cache
def _inline_scripts() -> list[str]:
    """The digests of the scripts that stand in a page itself: the frame's and the landowner's."""
    page = (Path(st.__file__).parent / "static" / "index.html").read_text("utf-8")
    landowners = files("zoneplan.export").joinpath("webpage.js").read_text("utf-8")
    return [
        f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"
        for script in (*_SCRIPTS.findall(page), landowners)
    ]


def _is_not_of_a_page(record: logging.LogRecord) -> bool:
    return record.msg != "Uncaught app execution"


def _is_ours(host: str) -> bool:
    name = urlsplit(f"//{host}").hostname
    return name is not None and is_this_machine(name)


def _origin(url: str) -> str:
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.netloc}"


@asynccontextmanager
async def _lifespan(_: Any) -> AsyncIterator[None]:
    """Open a browser once the app is there."""
    if not st.get_option("server.headless"):
        address = st.get_option("server.address")
        name = "localhost" if not address or everywhere(address) else address
        webbrowser.open(f"http://{name}:{st.get_option('server.port')}")
    yield


# ---- how many files, and how much ----------------------------------------------------------------


class Uploads:
    """Refuses a file before it is sent, where it would be too much."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.coming: Counter[str] = Counter()  # files that are on their way, by session
        self.coming_bytes: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        match = _UPLOAD.search(scope["path"]) if scope["type"] == "http" else None
        if (
            match is None
            or scope["method"] != "PUT"
            or not get_instance().is_active_session(match["session"])  # it is refused anyway
        ):
            await self.app(scope, receive, send)
            return
        session, length = match["session"], Headers(scope=scope).get("content-length", "")
        if not length.isdecimal():
            await PlainTextResponse("Say how long the file is.", 411)(scope, receive, send)
            return
        size = int(length)
        if refusal := self._too_much(session, size):
            _refused[session] = refusal
            await PlainTextResponse(refusal, 413)(scope, receive, send)
            return
        self.coming[session] += 1
        self.coming_bytes[session] += size
        try:
            await self.app(scope, receive, send)
        finally:
            self.coming[session] -= 1
            self.coming_bytes[session] -= size

    def _too_much(self, session: str, size: int) -> str:
        """Say what would be too much; nothing where it is not."""
        storage: _Files = get_instance().uploaded_file_mgr.file_storage  # type: ignore[attr-defined]
        own = storage.get(session, {})
        files = len(own) + self.coming[session]
        own_bytes = _bytes(own) + self.coming_bytes[session]
        all_bytes = sum(map(_bytes, [*storage.values()])) + self.coming_bytes.total()
        if files >= MOST_FILES:
            return f"{MOST_FILES} files are here already, the most that one page may send."
        if own_bytes + size > MOST_MB * _MB + _AROUND:
            return f"The files of this page would come to more than {MOST_MB} MB."
        if all_bytes + size > MOST_MB_TOGETHER * _MB + _AROUND:
            return f"All files here would come to more than {MOST_MB_TOGETHER:,} MB."
        return ""


def refused() -> str:
    """Say what this session was refused since it last asked; nothing where it was nothing."""
    running = get_script_run_ctx()
    while len(_refused) > _MOST_TOLD:
        _refused.pop(next(iter(_refused)), None)
    refusal = _refused.pop(running.session_id, "") if running else ""
    return refusal and f"{refusal}\nTake out those that are not needed, then send the rest again."


_refused: dict[str, str] = {}  # by session


def _bytes(files: Mapping[str, UploadedFileRec]) -> int:
    return sum(len(file.data) for file in [*files.values()])  # other sessions may send meanwhile
