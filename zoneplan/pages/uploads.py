"""How many files the app takes, and how much: from one session, and from all together."""

import re
from collections import Counter
from collections.abc import Mapping

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from streamlit.runtime import get_instance
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFileRec

MOST_FILES = 200  # of one session
MOST_MB = 500  # of one session
MOST_MB_TOGETHER = 2000  # of all sessions
TOGETHER = f"One page takes {MOST_FILES} files and {MOST_MB} MB at the most, all boxes together."
_MB = 10**6
_AROUND = 10_000  # bytes that a form puts round its file
_MOST_TOLD = 1000  # sessions that were refused something and did not hear of it yet
_UPLOAD = re.compile(r"/_stcore/upload_file/(?P<session>[^/]+)/[^/]+$")

Held = Mapping[str, Mapping[str, UploadedFileRec]]  # by session and file


class Uploads:
    """Refuses a file before it is sent, where it would be too much."""

    def __init__(self, app: ASGIApp) -> None:
        """Stand before an app."""
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
        storage: Held = get_instance().uploaded_file_mgr.file_storage  # type: ignore[attr-defined]
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
