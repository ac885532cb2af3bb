"""Zips that cheat, and names and files that are no files."""

import io
import os
import struct
import warnings
import zipfile
from pathlib import Path

from tests.hostile.case import CASES, FINE, Case, case
from tests.hostile.geojson import collection, feature

GOOD = collection(feature(name="North")).encode()
NO_ZIP = "cannot be unpacked|no honest zip|No honest zip"
Members = list[tuple[str | zipfile.ZipInfo, bytes]]


def pack(path: Path, members: Members, how: int = zipfile.ZIP_DEFLATED) -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with zipfile.ZipFile(path, "w", how) as archive:
            for name, content in members:
                archive.writestr(name, content)
    return path


def _zips() -> dict[str, tuple[Members, str]]:
    link = zipfile.ZipInfo("field.geojson")
    link.create_system, link.external_attr = 3, 0o120777 << 16
    return {
        "a zip as it should be": ([("field.geojson", GOOD)], FINE),
        "a zip of nothing": ([], "holds no map layer|content is empty"),
        "a file named dot": ([(".", GOOD)], "outside itself|no map layer|unpacked"),
        "a file named dot dot": ([("..", GOOD)], "outside itself|no map layer"),
        "a file above": ([("../../field.geojson", GOOD)], "outside itself"),
        "a file from the root": ([("/tmp/field.geojson", GOOD)], "outside itself"),
        "a file on a drive": ([("C:\\field.geojson", GOOD)], "outside itself"),
        "a file above, by backslashes": ([("a\\..\\..\\field.geojson", GOOD)], "outside itself"),
        "a stream beside a file": ([("a/field.geojson:x.geojson", GOOD)], "outside itself"),
        "a name of 300 letters": ([("n" * 300 + ".geojson", GOOD)], "more than a disk takes"),
        "a way of 5,000 folders": ([("a/" * 5000 + "f.geojson", GOOD)], NO_ZIP),
        "names that differ in capitals": (
            [("a/Field.geojson", GOOD), ("A/field.GEOJSON", GOOD)],
            "in it 2 times",
        ),
        "names that differ in how é is written": (
            [("\u00e9.geojson", GOOD), ("e\u0301.geojson", GOOD)],
            "in it 2 times",
        ),
        "a name twice": ([("a.geojson", GOOD), ("a.geojson", GOOD)], "in it 2 times"),
        "a file where a folder is": ([("a", b"x"), ("a/f.geojson", GOOD)], NO_ZIP),
        "a link in a file's place": ([(link, b"/etc/passwd")], "content is something else"),
        "30,000 files": ([(f"{n}.txt", b"") for n in range(30_000)], "30,000 files"),
        "an ending of the system": ([("con.geojson", GOOD), ("nul", b"")], FINE),
        "a name that steers": ([("\x1b[2J.geojson", GOOD)], FINE),
        "rubbish beside": ([("__MACOSX/._x", b"x"), (".DS_Store", b"x"), ("f.geojson", GOOD)], FINE),
    }  # fmt: skip


for _what, (_members, _words) in _zips().items():

    def _make(folder: Path, members: Members = _members) -> Path:
        return pack(folder / "field.zip", members)

    for _door in ("boundary", "soil"):
        _said = _words if _door == "boundary" or _words else "no column of texture"
        CASES[f"{_door}: {_what}"] = Case(_door, _make, _said)


def _altered(how: int, at: float, door_words: str = NO_ZIP) -> None:
    name = {zipfile.ZIP_LZMA: "LZMA", zipfile.ZIP_BZIP2: "bzip2", zipfile.ZIP_DEFLATED: "deflate"}

    def make(folder: Path) -> Path:
        path = pack(folder / "field.zip", [("field.geojson", GOOD * 50)], how)
        data = bytearray(path.read_bytes())
        spot = int(43 + at * (len(data) - 200))
        data[spot : spot + 12] = b"\xff" * 12
        path.write_bytes(data)
        return path

    CASES[f"boundary: {name[how]} damaged at {at:.0%}"] = Case("boundary", make, door_words)


for _how in (zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2, zipfile.ZIP_DEFLATED):
    for _at in (0.0, 0.1, 0.6):
        _altered(_how, _at)


@case("boundary", "times what it has packed|GB together")
def a_zip_of_2_MB_that_takes_2_GB(folder: Path) -> Path:
    path = folder / "field.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for n in range(19):
            with archive.open(f"{n}.geojson", "w") as file:
                for _ in range(100):
                    file.write(bytes(10**6))
    assert path.stat().st_size < 3e6
    return path


@case("boundary", NO_ZIP)
def a_zip_that_states_less_than_it_holds(folder: Path) -> Path:
    path = pack(folder / "field.zip", [("field.geojson", GOOD + bytes(10**6))])
    data = path.read_bytes().replace(struct.pack("<L", len(GOOD) + 10**6), struct.pack("<L", 900))
    path.write_bytes(data)
    return path


@case("boundary", "overlap|cannot be unpacked")
def a_zip_whose_files_overlap(folder: Path) -> Path:
    path = pack(folder / "field.zip", [("a.geojson", os.urandom(50_000))])
    data = path.read_bytes()
    end = data.rindex(b"PK\x05\x06")
    start = struct.unpack("<L", data[end + 16 : end + 20])[0]
    entry = data[start:end]
    many = b"".join(entry.replace(b"a.geojson", f"{n:09}".encode()) for n in range(30))
    tail = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 30, 30, len(many), start, 0)
    path.write_bytes(data[:start] + many + tail)
    return path


@case("boundary", NO_ZIP)
def a_locked_zip(folder: Path) -> Path:
    path = pack(folder / "field.zip", [("field.geojson", GOOD)])
    data = bytearray(path.read_bytes())
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(data)
    return path


@case("boundary", NO_ZIP)
def a_zip_packed_in_a_way_nobody_knows(folder: Path) -> Path:
    path = pack(folder / "field.zip", [("field.geojson", GOOD)])
    data = bytearray(path.read_bytes())
    data[8] = data[data.index(b"PK\x01\x02") + 10] = 77
    path.write_bytes(data)
    return path


@case("boundary", "a file outside itself|no map layer")
def a_zip_with_a_file_without_a_name(folder: Path) -> Path:
    path = pack(folder / "field.zip", [("x", GOOD)])
    data = path.read_bytes()
    end = data.index(b"PK\x01\x02")
    entry = data[end : end + 28] + b"\x00\x00" + data[end + 30 : end + 46]  # and no x
    tail = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 1, 1, len(entry), end, 0)
    path.write_bytes(data[:end] + entry + tail)
    return path


@case("boundary", NO_ZIP)
def a_zip_cut_off(folder: Path) -> Path:
    path = pack(folder / "field.zip", [("field.geojson", GOOD)])
    path.write_bytes(path.read_bytes()[:-40])
    return path


@case("boundary", NO_ZIP)
def a_zip_with_one_wrong_letter(folder: Path) -> Path:
    path = pack(folder / "field.zip", [("field.geojson", GOOD)], zipfile.ZIP_STORED)
    path.write_bytes(path.read_bytes().replace(b"North", b"South"))
    return path


@case("soil", "holds no map layer|no survey|holds no")
def zips_in_zips_40_deep(folder: Path) -> Path:
    content = GOOD
    for n in range(40):
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as archive:
            archive.writestr(f"{n}.zip" if n else "x.geojson", content)
        content = packed.getvalue()
    path = folder / "soil.zip"
    path.write_bytes(content)
    return path


# ---- what is no file ---------------------------------------------------------------------------

_ENDINGS = {
    "boundary": (".geojson", ".kml", ".gpkg", ".zip", ".shp"),
    "soil": (".geojson", ".json", ".tif", ".csv", ".zip", ".gpkg"),
    "points": (".csv",),
    "elevation": (".tif",),
    "drawn": (".geojson",),
    "tracks": (".gpkg",),
    "machine": (".toml",),
    "rules": (".toml",),
    "observation": (".toml",),
}
_IRREGULAR = "cannot be read: |cannot be read as a raster|There is no file|no machine file|ending we do not read"


def _pipe(folder: Path, ending: str) -> Path:
    path = folder / f"file{ending}"
    os.mkfifo(path)
    return path


def _link_to_a_pipe(folder: Path, ending: str) -> Path:
    path = folder / f"file{ending}"
    path.symlink_to(_pipe(folder, ".pipe"))
    return path


def _device(folder: Path, ending: str) -> Path:
    path = folder / f"file{ending}"
    path.symlink_to("/dev/zero")
    return path


def _folder(folder: Path, ending: str) -> Path:
    path = folder / f"file{ending}"
    path.mkdir()
    return path


def _itself(folder: Path, ending: str) -> Path:
    path = folder / f"file{ending}"
    path.symlink_to(path)
    return path


def _long(folder: Path, ending: str) -> Path:
    return folder / f"{'n' * 300}{ending}"


def _nul(folder: Path, ending: str) -> Path:
    return folder / f"a\x00b{ending}"


for _door, _them in _ENDINGS.items():
    for _ending in _them:
        for _way in (_pipe, _link_to_a_pipe, _device, _folder, _itself, _long, _nul):
            _named = _way.__name__.strip("_").replace("_", " ")
            _words = _IRREGULAR
            if _way is _folder:
                _words += "|holds no|faults|misses|not a"

            def _made(folder: Path, way=_way, ending: str = _ending) -> Path:  # type: ignore[no-untyped-def]
                return way(folder, ending)

            CASES[f"{_door}: {_named} named {_ending}"] = Case(_door, _made, _words)
