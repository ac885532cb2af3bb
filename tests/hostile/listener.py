"""A server on this machine that must hear nothing."""

from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread


class Listener:
    """What was asked, request by request."""

    def __init__(self) -> None:
        self.heard: list[str] = []
        self.address = ""


@contextmanager
def listening() -> Iterator[Listener]:
    listener = Listener()

    class Handler(BaseHTTPRequestHandler):
        def _hear(self) -> None:
            listener.heard.append(f"{self.command} {self.path}")
            self.send_response(404)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    for method in ("GET", "HEAD", "POST", "CONNECT", "OPTIONS"):
        setattr(Handler, f"do_{method}", Handler._hear)
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    listener.address = f"http://127.0.0.1:{server.server_address[1]}"
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield listener
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
