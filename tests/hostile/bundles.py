"""Folders of a plan and saved plans that mean harm, or were mangled on their way."""

import io
import json
import os
import shutil
import sqlite3
import tempfile
import warnings
import zipfile
from collections.abc import Callable
from contextlib import closing
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from tests.helpers.jobs import demo_job, run_of
from tests.hostile.case import CASES, FINE, Case
from zoneplan.export.bundle import write_plan
from zoneplan.store.archive import saved

ASKED = demo_job("creek", "springs", residue_frac=0.3)


@lru_cache(maxsize=1)
def _answer():  # type: ignore[no-untyped-def]
    return run_of(ASKED)


@lru_cache(maxsize=1)
def _whole() -> Path:
    home = Path(tempfile.mkdtemp(prefix="hostile-"))
    write_plan(_answer().plan, home / "plan")
    return home / "plan"


@lru_cache(maxsize=1)
def _saved() -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(saved(ASKED, _answer().plan))) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _folder(what: str, words: str, *, forged: bool = False) -> Callable[..., None]:
    """A plan's folder in which something was changed; `forged` puts the manifest right again."""

    def added(change: Callable[[Path], None]) -> None:
        def make(folder: Path) -> Path:
            path = folder / "plan"
            shutil.copytree(_whole(), path)
            change(path)
            if forged:
                _sign(path)
            return path

        CASES[f"check: {what}"] = Case("check", make, words)

    return added


def _sign(folder: Path) -> None:
    manifest = json.loads((folder / "manifest.json").read_bytes())
    for entry in manifest["files"]:
        content = (folder / entry["name"]).read_bytes()
        entry |= {"bytes": len(content), "sha256": sha256(content).hexdigest()}
    (folder / "manifest.json").write_text(json.dumps(manifest))


@_folder("as it was written", FINE)
def _(_: Path) -> None:
    pass


for _what, _text in {
    "a number": "5",
    "nothing": "",
    "brackets": "[" * 50_000,
    "a table of nothing": "{}",
    "not UTF-8": "\udcff",
    "2 MB": " " * 2_000_000,
}.items():

    @_folder(f"a manifest that is {_what}", "cannot be read, so nothing can be checked")
    def _(folder: Path, text: str = _text) -> None:
        (folder / "manifest.json").write_bytes(text.encode("utf-8", "surrogateescape"))


@_folder("a manifest that is a pipe", "it is a pipe")
def _(folder: Path) -> None:
    (folder / "manifest.json").unlink()
    os.mkfifo(folder / "manifest.json")


@_folder("a manifest that names files outside", "cannot be read, so nothing can be checked")
def _(folder: Path) -> None:
    path = folder / "manifest.json"
    path.write_text(path.read_text().replace("zones.csv", "../../etc/passwd"))


for _name in ("plan.json", "zones.geojson", "zones.gpkg", "zones.zip", "summary.pdf", "field.html"):

    @_folder(f"{_name} that is a pipe", "it is a pipe")
    def _(folder: Path, name: str = _name) -> None:
        (folder / name).unlink()
        os.mkfifo(folder / name)

    @_folder(
        f"{_name} that is noise",
        "altered|cannot be read|no zones were compared|differ",
        forged=True,
    )
    def _(folder: Path, name: str = _name) -> None:
        (folder / name).write_bytes(os.urandom(3000))

    @_folder(
        f"{_name} that is brackets",
        "no zones were compared|cannot be read|heading|title",
        forged=True,
    )
    def _(folder: Path, name: str = _name) -> None:
        (folder / name).write_bytes(b'{"a":' * 50_000)


@_folder("zones.gpkg with a query without end", "is a query that runs", forged=True)
def _(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "zones.gpkg")) as database, database:
        database.execute("DROP TABLE settings")
        database.execute(
            "CREATE VIEW settings AS WITH RECURSIVE n(fid) AS (SELECT 1 UNION ALL "
            "SELECT fid + 1 FROM n) SELECT fid FROM n"
        )


@_folder("zones.zip that is a bomb", "zones.zip: it cannot be read", forged=True)
def _(folder: Path) -> None:
    with zipfile.ZipFile(folder / "zones.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for kind in ("shp", "shx", "dbf"):
            archive.writestr(f"zones.{kind}", bytes(50_000_000))


@_folder("zones.geojson that is a pipeline", "no zones were compared", forged=True)
def _(folder: Path) -> None:
    collection = {
        "type": "gdal_streamed_alg",
        "command_line": "gdal vector convert /etc/passwd x.gpkg",
    }
    (folder / "zones.geojson").write_text(json.dumps(collection))


@_folder("a task set with a billion laughs", "TASKDATA", forged=True)
def _(folder: Path) -> None:
    laughs = "<!DOCTYPE a [<!ENTITY a0 'ha'>" + "".join(
        f"<!ENTITY a{n} '{f'&a{n - 1};' * 10}'>" for n in range(1, 10)
    )
    (folder / "TASKDATA" / "TASKDATA.XML").write_text(f"{laughs}]><a>&a9;</a>")


@_folder("a task set that takes a file in", "TASKDATA", forged=True)
def _(folder: Path) -> None:
    text = '<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/passwd">]><a>&e;</a>'
    (folder / "TASKDATA" / "TASKDATA.XML").write_text(text)


@_folder("a table whose numbers are words", "zones.csv", forged=True)
def _(folder: Path) -> None:
    path = folder / "zones.csv"
    head, *_ = path.read_text().splitlines()
    path.write_text(f"{head}\n" + ",".join(["x"] * len(head.split(","))) + "\n")


# ---- saved plans -------------------------------------------------------------------------------


def _zip(what: str, words: str, changed: Callable[[dict[str, bytes]], object]) -> None:
    def make(folder: Path) -> Path:
        files = dict(_saved())
        changed(files)
        path = folder / "saved.zip"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
                for name, content in files.items():
                    archive.writestr(name, content)
        return path

    CASES[f"saved plan: {what}"] = Case("saved plan", make, words)


def _work(what: str, words: str, change: Callable[[dict], object]) -> None:  # type: ignore[type-arg]
    def changed(files: dict[str, bytes]) -> None:
        work = json.loads(files["work.json"])
        change(work)
        files["work.json"] = json.dumps(work).encode()

    _zip(what, words, changed)


_zip("as it was saved", FINE, lambda _: None)
for _name in ("work.json", "plan.json"):
    for _what, _text in {
        "brackets": b"[" * 50_000,
        "a number": b"5",
        "nothing": b"",
        "not UTF-8": b"\xff\xfe\xfd",
        "a number of 6,000 digits": b'{"schema": ' + b"9" * 6000 + b"}",
        "a number without end": b'{"schema": 1e400}',
        "21 MB of it": b" " * 21_000_001,
    }.items():
        _zip(
            f"{_name} that is {_what}",
            "is damaged|holds no parts|more than any|no saved plan|fault",
            lambda files, name=_name, text=_text: files.update({name: text}),
        )
    _zip(f"{_name} that is missing", "is missing|no saved plan|not what it was made from",
         lambda files, name=_name: files.pop(name))  # fmt: skip
_zip("a file above", "outside itself", lambda files: files.update({"../x": b""}))
_zip(
    "a name of 300 letters", "more than a disk takes", lambda files: files.update({"n" * 300: b""})
)
_zip("capitals", "in it 2 times", lambda files: files.update({"WORK.json": b"{}"}))
_zip(
    "300 MB of zeros",
    "times what it has packed",
    lambda files: files.update({"files/z": bytes(300_000_000)}),
)
_work(
    "a form of the future", "knows forms up to", lambda work: work.update(schema="zoneplan-work/99")
)
_work("a request that is a list", "request|fault", lambda work: work.update(request=[1]))
_work("sources that are a number", "sources|fault", lambda work: work.update(sources=5))
_work(
    "a boundary that is a way",
    "boundary",
    lambda work: work["sources"].update(boundary="../../etc"),
)
_work(
    "a demo that is none",
    "boundary",
    lambda work: work["sources"].update(boundary={"demo": "../creek"}),
)
_work("a speed of 1e300", "speed", lambda work: work["request"].update(speed_mps=1e300))
_work("a residue of 10**400", "residue", lambda work: work["request"].update(residue_frac=10**400))
for _asked in (
    [1],
    {"ground": "../../etc"},
    {"ground": 5},
    {"ground": ["creek"], "machine": {}},
    {"ground": "creek", "machine": "springs", "speed_mph": 1e300},
    {"ground": "creek", "machine": "springs", "residue_pct": 10**400},
    {"ground": "creek", "machine": "springs", "least_acres": -(10**400)},
):
    _work(
        f"of the first form, {str(_asked)[:60]}",
        "fault",
        lambda work, asked=_asked: work.update(schema="zoneplan-work/1", asked=asked),
    )
_work(
    "100,000 edits", "edits", lambda work: work["request"].update(edits=[{"does": "x"}] * 100_000)
)
_work(
    "a file that is elsewhere",
    "machine|file",
    lambda work: work["sources"].update(machine={"name": "m", "file": "files/../../etc/passwd"}),
)
_work(
    "a boundary that is no shape",
    "drawn",
    lambda work: work["request"].update(
        drawn=[{"what": "boundary", "name": "x", "shape": "{" * 50_000}]
    ),
)
_work(
    "a shape of 1e308",
    "drawn|",
    lambda work: work["request"].update(
        drawn=[
            {
                "what": "zone",
                "name": "x",
                "shape": '{"type":"Polygon","coordinates":[[[1e308,1e308],[0,1e308],[0,0],[1e308,1e308]]]}',
            }
        ]
    ),
)


def _damaged(at: float) -> None:
    def make(folder: Path) -> Path:
        path = folder / "saved.zip"
        content = bytearray(saved(ASKED, _answer().plan))
        spot = int(at * (len(content) - 30))
        content[spot : spot + 9] = b"\xff" * 9
        path.write_bytes(content)
        return path

    CASES[f"saved plan: damaged at {at:.0%}"] = Case(
        "saved plan", make, "|cannot be unpacked|fault|damaged|no saved plan|outside|in it"
    )


for _step in range(10):
    _damaged(_step / 10)
