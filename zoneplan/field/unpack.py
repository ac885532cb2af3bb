"""Unpack a zip as people send it: in sub-folders, in upper case, and not always kindly."""

import atexit
import lzma
import os
import struct
import threading
import unicodedata
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath
from shutil import copyfileobj, rmtree
from tempfile import mkdtemp
from zipfile import BadZipFile, ZipFile, ZipInfo

from zoneplan.errors import LayerError, listed, quoted
from zoneplan.field.file_type import kind_of, stamp
from zoneplan.plain_file import no_room

MOST_FILES = 5_000
MOST_BYTES = 2 * 1024**3  # what one shapefile may hold
MOST_RATIO = 100  # judged: of soil tables, all alike, a twentieth is left
LEAST_SUSPECT = 100 * 10**6  # bytes; what comes to less may be packed as tightly as it likes
_AT_ONCE = 2**18  # bytes: a tenth less work than with the usual 2**16
MOST_NAME = 255  # bytes that any disk takes for one name
# What the libraries raise for a zip that is damaged, locked or packed in a way they do not know.
DAMAGED = (
    BadZipFile,
    EOFError,
    LookupError,
    NotImplementedError,
    OverflowError,
    RuntimeError,
    ValueError,
    lzma.LZMAError,
    struct.error,
    zlib.error,
)


@contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """Lend what a zip holds as a folder, for as long as it is needed.

    A folder or any other file is lent as it is. Endings come out in lower case. What was used
    last stays unpacked for who comes next, until another zip is used or the process ends.

    Raises
    ------
    LayerError
        When the zip is damaged, locked or far too big, or names files outside itself, one
        file twice or one that no disk takes; when there is no room to unpack it; when `path`
        is not what its ending says.
    """
    if kind_of(path) != "zip":
        yield path
        return
    room = _lent(path)
    try:
        yield room.folder
    finally:
        _given_back(room)


@dataclass
class _Room:
    """What one zip was unpacked to."""

    zip_stamp: object  # of the zip as it was then
    folder: Path
    files: object  # that lie in it: who clears up temporary files may take some
    users: int = 1


def _lent(path: Path) -> _Room:
    """What a zip is unpacked to, or was already: as long as nobody writes to it."""
    now = path.absolute(), stamp(path)
    with _lock:
        if _last and _last.zip_stamp == now and _files(_last.folder) == _last.files:
            _last.users += 1
            return _last
    try:
        folder = Path(mkdtemp(prefix="zoneplan-"))
    except OSError as fault:
        raise no_room("Files cannot be put by while they are read", fault) from fault
    try:
        _unpack_to(path, folder)
        return _Room(now, folder, _files(folder))
    except BaseException:
        rmtree(folder, ignore_errors=True)
        raise


def _files(folder: Path) -> list[tuple[Path, int]]:
    return [(file, file.stat().st_size) for file in folder.rglob("*") if file.is_file()]


_last: _Room | None = None  # what was used last stays until something else is unpacked
_lock = threading.Lock()


def _given_back(room: _Room) -> None:
    """Keep it in the place of the one before; what nobody uses any more goes."""
    global _last  # noqa: PLW0603
    with _lock:
        room.users -= 1
        before = _last
        if room is not before and not room.users:
            _last = room
        if before and before is not _last and not before.users:
            rmtree(before.folder, ignore_errors=True)


def let_go(*, remove: bool) -> None:
    """At the end; or after a fork, when what lies unpacked is our parent's."""
    global _last, _lock
    if remove and _last:
        rmtree(_last.folder, ignore_errors=True)
    _last, _lock = None, threading.Lock()


atexit.register(let_go, remove=True)
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=partial(let_go, remove=False))


def _unpack_to(path: Path, folder: Path) -> None:
    try:
        with ZipFile(path) as archive:
            _unpack(archive, path.name, path.stat().st_size, folder)
    except (*DAMAGED, OSError) as fault:
        if isinstance(fault, OSError) and fault.errno is not None:
            raise no_room(f"{path.name} cannot be unpacked", fault) from fault
        raise LayerError(  # a packer whose data are damaged gives an OSError without a number
            f"{path.name} cannot be unpacked: {quoted(fault)}.\n"
            "It is damaged or locked by a password. Download it again, or unpack it "
            "yourself and give the folder."
        ) from fault


def unkind(members: Sequence[ZipInfo], packed_bytes: int) -> list[str]:
    """Tell what no honest zip does, by its members without clutter; nothing of it is unpacked."""
    counts = Counter(map(_on_any_disk, members))
    faults = [
        f"it names a file outside itself: {quoted(member.filename)}."
        for member in members
        if leads_out(member)
    ] + [
        f"{quoted(name)} is in it {count} times, though a disk may tell no capitals apart."
        for name, count in counts.items()
        if count > 1
    ]
    faults += [
        f"{quoted(member.filename)} is a name of {len(member.filename)} letters, "
        "more than a disk takes."
        for member in members
        if any(len(part.encode()) > MOST_NAME for part in PurePosixPath(member.filename).parts)
    ]
    size = sum(member.file_size for member in members)
    if sum(member.compress_size for member in members) > packed_bytes:
        faults.append("its files are larger, packed, than the whole: they overlap.")
    if size > LEAST_SUSPECT and size > MOST_RATIO * packed_bytes:
        faults.append(
            f"it takes {size / 1e6:,.0f} MB unpacked, {size / max(packed_bytes, 1):,.0f} times "
            "what it has packed."
        )
    return faults


def leads_out(member: ZipInfo) -> bool:
    """Whether this names a file outside the zip, or none."""
    inside = PurePosixPath(member.filename.replace("\\", "/"))
    parts = inside.parts
    return not parts or inside.is_absolute() or ".." in parts or any(":" in part for part in parts)


def is_clutter(member: ZipInfo) -> bool:
    """Whether this is a folder, or what a desktop adds to zips unasked."""
    parts = PurePosixPath(member.filename.replace("\\", "/")).parts
    return (
        member.filename.endswith("/")
        or "__MACOSX" in parts
        or (bool(parts) and parts[-1].startswith("."))
    )


def _unpack(archive: ZipFile, name: str, packed_bytes: int, folder: Path) -> None:
    members = [member for member in archive.infolist() if not is_clutter(member)]
    size = sum(member.file_size for member in members)
    if len(members) > MOST_FILES or size > MOST_BYTES:
        raise LayerError(
            f"{name} holds {len(members):,} files of {size / 1e9:,.1f} GB together.\n"
            f"We unpack {MOST_FILES:,} files and {MOST_BYTES / 1e9:,.1f} GB at the most.\n"
            "Send a zip with the one layer or survey area that covers the field."
        )
    if faults := unkind(members, packed_bytes):
        raise LayerError(
            listed(name, faults) + "\nNo honest zip does that, so nothing of it was unpacked.\n"
            "Ask whoever made it for another."
        )
    places = [PurePosixPath(member.filename.replace("\\", "/")) for member in members]
    loose = _loose_databases(places)
    for member, inside in zip(members, places, strict=True):
        target = folder / inside.with_suffix(inside.suffix.lower())
        if inside.parent in loose:
            target = target.parent / f"{name.split('.', maxsplit=1)[0]}.gdb" / target.name
        target.parent.mkdir(parents=True, exist_ok=True)
        with archive.open(member) as packed, target.open("xb") as file:
            copyfileobj(packed, file, _AT_ONCE)  # never more than the size that it states


def _loose_databases(files: Sequence[PurePosixPath]) -> set[PurePosixPath]:
    """Folders that hold a file geodatabase, without the ending that says so."""
    homes = {file.parent for file in files if file.suffix.lower() == ".gdbtable"}
    return {home for home in homes if home.suffix.lower() != ".gdb"}


def _on_any_disk(member: ZipInfo) -> str:
    """Its name as a disk may have it that tells no capitals, or ways to write é, apart."""
    name = member.filename.replace("\\", "/")
    return unicodedata.normalize("NFC", name).casefold()
