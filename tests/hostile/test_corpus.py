"""Every hostile input, at its door: refused in words or read rightly, and nothing else happens.

Run with: pytest -m hostile tests/hostile
"""

import re
import signal
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.hostile import bundles, geojson, packed, rasters, texts, vectors  # noqa: F401 they add
from tests.hostile.case import CASES, FINE
from tests.hostile.doors import BUNDLES, FIELD, RASTERS, TEXTS, VECTORS
from tests.hostile.listener import listening
from zoneplan.errors import ZoneplanError
from zoneplan.field import child, unpack
from zoneplan.field.layer import read_layer

pytestmark = pytest.mark.hostile

HANG_S = 100
LEAST_CASES = 150
DOORS = {
    **VECTORS,
    **TEXTS,
    **BUNDLES,
    "elevation": RASTERS["elevation"],
    "points": lambda path: read_layer(path, FIELD),
}


class Hang(BaseException):
    """It took too long; no `except Exception` holds it."""


@contextmanager
def _bounded() -> Iterator[None]:
    def ring(*_: object) -> None:
        raise Hang

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(HANG_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@pytest.fixture(scope="module")
def server() -> Iterator[object]:
    with listening() as listener:
        yield listener


def _lies(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_there_are_enough():
    assert len(CASES) >= LEAST_CASES
    assert {case.door for case in CASES.values()} >= {
        "boundary", "soil", "drawn", "tracks", "points", "elevation", "machine", "rules",
        "observation", "check", "saved plan",
    }  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_a_hostile_input(name, tmp_path, monkeypatch, record_property, server):
    case = CASES[name]
    inbox, temporary = tmp_path / "inbox", tmp_path / "temporary"
    inbox.mkdir()
    temporary.mkdir()
    path = case.make(inbox)
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    monkeypatch.setattr(child, "LEAST_S", 20.0)
    monkeypatch.chdir(tmp_path)
    before = _lies(tmp_path)
    refused = None
    try:
        with _bounded():
            result = DOORS[case.door](path)
            if case.door == "check" and result:
                refused = "\n".join(result)
    except ZoneplanError as error:
        refused = str(error)
    except Hang:
        record_property("hostile", "hang")
        raise
    except Exception:
        record_property("hostile", "traceback")
        raise
    unpack.let_go(remove=True)  # what was unpacked last stays until the process ends
    written = _lies(tmp_path)
    if server.heard:
        record_property("hostile", "foreign request")
    elif written != before:
        record_property("hostile", "file written outside")
    else:
        record_property("hostile", "planned rightly" if refused is None else "refused in words")
    assert server.heard == []
    assert written == before
    wanted = [words for words in case.words.split("|") if words] if case.words != FINE else []
    may_be_fine = case.words == FINE or case.words.startswith("|") or case.words.endswith("|")
    if refused is None:
        assert may_be_fine, "it was taken"
    else:
        assert wanted, refused
        assert re.search("|".join(wanted), refused), refused
        assert len(refused) < 10_000
        assert "Traceback" not in refused
