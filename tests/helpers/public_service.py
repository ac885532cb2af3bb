"""A small HTTP server that speaks as the public services do, and plays their faults.

It answers what is asked: soils from the tables it is given, heights of an invented hill.
"""

import json
import re
import ssl
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from html import escape
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import numpy as np
from rasterio.io import MemoryFile
from rasterio.transform import from_bounds

from tests.helpers.survey_tables import RefusedError

SOIL = "/tabular/post.rest"
HEIGHTS = "/arcgis/rest/services/3DEPElevation/ImageServer/exportImage"
DOWNLOAD = re.compile(r"/DSD/Download/Cache/SSA/wss_SSA_([A-Z]{2}\d{3})_%5B([-0-9]+)%5D\.zip")
NO_DATA = -3.4028234663852886e38
XML = """<?xml version='1.0' encoding="UTF-8" standalone="no" ?>
<ServiceExceptionReport xmlns="http://www.opengis.net/ogc">
<ServiceException>
{}</ServiceException>
</ServiceExceptionReport>
"""
PAGE = "<!DOCTYPE html><html><head><title>Notice</title></head><body><h1>{}</h1></body></html>"
DESCRIBED = "ColumnOrdinal={},ColumnSize=4,DataTypeName=varchar"


@dataclass(frozen=True)
class Fault:
    """What is sent in place of an answer."""

    status: int = 200
    body: bytes = b""
    kind: str = "text/html; charset=utf-8"
    headers: tuple[tuple[str, str], ...] = ()
    length: int | None = None  # stated; None: the true one
    hang_s: float = 0.0
    huge_mb: int = 0
    share: float = 1.0  # of the true answer; below 1 it is cut there
    drop: bool = False  # the line, without a word


def xml(words, status=200):
    return Fault(status, XML.format(escape(words)).encode(), "text/xml; charset=utf-8")


def page(words, status=200):
    return Fault(status, PAGE.format(words).encode())


@dataclass(frozen=True)
class Seen:
    """One request as it came."""

    method: str
    path: str
    headers: dict
    body: bytes
    at_s: float

    @property
    def query(self):
        """The query of a soil request."""
        return _asked(self.headers, self.body)[0]


@dataclass
class Service:
    """The server's state: what it holds, what it plays next, what it saw."""

    tables: object = None
    downloads: dict = field(default_factory=dict)  # by (area, day): bytes of a zip
    faults: list = field(default_factory=list)  # the next answers; None is a true one
    always: object = None  # a fault that follows them for ever
    seen: list = field(default_factory=list)
    most_keys: int = 10_000  # of one question; more is "too much"
    height_m: object = None  # f(x, y) of cell centres; None: an invented hill
    most_cells: int = 8000
    address: str = ""
    at_once: int = 0
    most_at_once: int = 0
    metadata: bool = False
    delay_s: float = 0.0  # before each answer

    def queries(self, table):
        """The soil queries that read a table first."""
        return [request.query for request in self.seen if f"FROM {table} AS" in request.query]


@contextmanager
def public_service(tables=None, certificate=None, **state):
    """Serve on a free port of this machine; sealed where a certificate is given."""
    service = Service(tables, **state)
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(service))
    server.daemon_threads = True
    scheme = "http"
    if certificate is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        certificate.configure_cert(context)
        server.socket = context.wrap_socket(server.socket, server_side=True)
        scheme = "https"
    service.address = f"{scheme}://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()


def _handler(service):
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self):
            self._answer(self.rfile.read(int(self.headers["Content-Length"])))

        def do_GET(self):
            self._answer(b"")

        def log_message(self, *_):
            pass

        def _answer(self, body):
            service.at_once += 1
            service.most_at_once = max(service.most_at_once, service.at_once)
            try:
                headers = {name.lower(): value for name, value in self.headers.items()}
                seen = Seen(self.command, self.path, headers, body, time.monotonic())
                service.seen.append(seen)
                time.sleep(service.delay_s)
                fault = service.faults.pop(0) if service.faults else service.always
                if fault is None:
                    self._send(*_true_answer(service, seen))
                else:
                    self._play(fault, seen)
            finally:
                service.at_once -= 1

        def _play(self, fault, seen):
            if fault.hang_s:
                time.sleep(fault.hang_s)
                fault = Fault(drop=True)
            if fault.drop:
                self.close_connection = True
                return
            if fault.huge_mb:
                self._send(200, "application/json", b'{"Table": [', fault.huge_mb * 10**6)
                piece = b" " * 2**20
                try:
                    for _ in range(fault.huge_mb):
                        self.wfile.write(piece)
                except OSError:
                    pass
                self.close_connection = True
                return
            if fault.share < 1:
                status, kind, body = _true_answer(service, seen)
                cut = body[: int(len(body) * fault.share)]
                self._send(status, kind, cut, len(body) if fault.length == -1 else None)
                self.close_connection = True
                return
            self._send(fault.status, fault.kind, fault.body, fault.length, fault.headers)

        def _send(self, status, kind, body, length=None, headers=()):
            self.send_response(status)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body) if length is None else length))
            for name, value in headers:
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

    return Handler


def _true_answer(service, seen):
    path = urlsplit(seen.path).path
    if seen.method == "POST" and path.lower() == SOIL:
        return _soil(service, *_asked(seen.headers, seen.body))
    if path == HEIGHTS:
        return _heights(service, parse_qs(urlsplit(seen.path).query))
    if download := DOWNLOAD.fullmatch(path):
        content = service.downloads.get((download[1], download[2]))
        return (400, "text/html", b"wrong date") if content is None else (
            200, "application/zip", content,
        )  # fmt: skip
    return 404, "text/html", PAGE.format("not here").encode()


# ---- soils -------------------------------------------------------------------------------------


def _asked(headers, body):
    """The query and the format, from either form of a body."""
    if "json" in headers.get("content-type", ""):
        by_name = {name.lower(): value for name, value in json.loads(body).items()}
        return by_name.get("query", ""), by_name.get("format", "")
    by_name = {name.lower(): value[0] for name, value in parse_qs(body.decode()).items()}
    return by_name.get("query", ""), by_name.get("format", "")


def _soil(service, query, named):
    named = named.upper()
    if named not in ("JSON", "JSON+COLUMNNAME", "JSON+COLUMNNAME+METADATA"):
        fault = xml(f"Unknown format {named}.", 400)
        return fault.status, fault.kind, fault.body
    try:
        if len(re.findall(r"'\d+'", query)) > service.most_keys:
            raise RefusedError(
                "Internal server error: the length of the string exceeds the value set on the "
                "maxJsonLength property."
            )
        columns, rows = service.tables.run(query)
    except RefusedError as error:
        status = 500 if "Internal" in str(error) else 400
        fault = xml(str(error), status)
        return fault.status, fault.kind, fault.body
    heads = [columns] if "COLUMNNAME" in named else []
    if "METADATA" in named or service.metadata:
        heads.append([DESCRIBED.format(number) for number in range(len(columns))])
    result = {"Table": heads + rows} if rows else {}
    return 200, "application/json; charset=utf-8", json.dumps(result).encode()


# ---- heights -----------------------------------------------------------------------------------


def hill_m(x, y):
    """Invented hills of 4 and 3 m on a slope of 2 in 1,000 that rises to the north."""
    return 300 + 4 * np.sin(x / 150) + 3 * np.cos(y / 210) + 0.002 * (y % 50_000)


def _heights(service, asked):
    first = {name: values[0] for name, values in asked.items()}
    width, height = (int(word) for word in first.get("size", "400,400").split(","))
    west, south, east, north = (float(word) for word in first["bbox"].split(","))
    if first.get("format") != "tiff" or first.get("f") != "image":
        return 200, "image/png", b"\x89PNG\r\n\x1a\n a picture of hills, not their heights"
    if max(width, height) > service.most_cells:
        by_name = {
            "code": 400,
            "message": "Invalid or missing input parameters.",
            "details": ["The requested image exceeds the size limit."],
        }
        return 200, "image/tiff", json.dumps({"error": by_name}).encode()
    transform = from_bounds(west, south, east, north, width, height)
    columns, rows = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    x, y = transform * (columns, rows)
    cells = (service.height_m or hill_m)(x, y).astype("float32")
    cells = np.where(np.isnan(cells), np.float32(NO_DATA), cells)
    with MemoryFile() as file:
        with file.open(
            driver="GTiff",
            width=width,
            height=height,
            count=1,
            dtype="float32",
            crs=f"EPSG:{first['imageSR']}",
            transform=transform,
            nodata=NO_DATA,
        ) as target:
            target.write(cells, 1)
        return 200, "image/tiff", file.read()
