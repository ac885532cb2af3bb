"""The app's door to the network: whom it serves, and what goes with every page.

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
from collections.abc import AsyncIterator
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

from zoneplan.address import ALLOW_OTHERS, everywhere, is_this_machine, refusal
from zoneplan.errors import ZoneplanError
from zoneplan.fault_report import write_report
from zoneplan.harmless import escape, guard_terminal, on_terminal
from zoneplan.pages.book import BOOK, given
from zoneplan.pages.map import TILES
from zoneplan.pages.person import SIGN_IN, read_sign_in
from zoneplan.pages.uploads import Uploads

_LOG = logging.getLogger(__name__)
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
_WITHOUT_SIGN_IN = (
    "A book was given, and other machines would be served without a sign-in.\n"
    "Whoever came could change every plan in it, and nobody would know who.\n"
    "Say where people sign in and who may what: --sign-in FILE; or leave "
    f"{ALLOW_OTHERS} out."
)


def last_catch(error: Exception) -> bool:
    """Show that zoneplan is at fault, and keep a report; the work stays as it is.

    Streamlit calls it in place of its own box with the way through the program.
    """
    path = write_report(error, "the app")
    _LOG.error("A fault of zoneplan: %s. Report: %s", type(error).__name__, path or "none")
    st.html(our_fault(error, str(path) if path else None))
    st.toast("A fault of zoneplan: see above.", icon=":material/error:")  # the page may be far down
    return True


def our_fault(error: Exception, path: str | None) -> str:
    """Say it in the page's words."""
    report = (
        f"A report is kept on the machine that runs zoneplan, in {path}: send it to those who gave "
        "you zoneplan, and say what you pressed last."
        if path
        else "No folder takes a report: write down what you pressed last."
    )
    return (
        '<div class="zp-fault" role="alert">'
        f"<p>A fault of zoneplan, not yours: {escape(type(error).__name__)}.</p>"
        '<p class="rest">Nothing of your work is lost. Reload the page, and “Undo” at the side '
        f"takes the last step back.\n{escape(report)}</p></div>"
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

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(headers(scope["path"]))
            await send(message)

        await self.app(scope, receive, send_with_headers)

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
