"""The file of a book: what it must be to be one, and how a new one comes to its place."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp

from zoneplan.errors import BookError, quoted
from zoneplan.plain_file import check_regular, exists, head_of, shown

MARK = int.from_bytes(b"ZPbk")  # the application that an SQLite file says it is of
_HEAD = b"SQLite format 3\0"
_SHARES = (
    "nfs",
    "cifs",
    "smb",
    "9p",
    "afs",
    "ncp",
    "sshfs",
    "davfs",
    "glusterfs",
    "ceph",
    "lustre",
)
_MOUNTS = Path("/proc/self/mounts")


def check_file(path: Path) -> None:
    """Refuse a file that is no book, or not all of one.

    Raises
    ------
    BookError
        With what it is, and what to do.
    """
    if not exists(path):
        raise BookError(
            f"There is no book {shown(path)}.\nCheck the name, and where you are; or make one.",
            code="book-none",
        )
    size = check_regular(path, BookError)
    head = head_of(path, 100)
    if not head.startswith(_HEAD) or int.from_bytes(head[68:72]) != MARK:
        raise BookError(
            f"{shown(path)} is no book: "
            + ("it is empty.\n" if not size else "another program made it.\n")
            + "Give the file that was made as one.",
            code="book-none",
        )
    _refuse_cut_off(path, size, head)
    refuse_share(path)


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """Lend a place beside another, and put what was made there in its place, over nothing.

    Raises
    ------
    BookError
        When something is there already, or nothing can be made there.
    """
    if exists(path):
        raise BookError(
            f"{shown(path)} is there already, and nothing is written over.\nName another place."
        )
    try:
        room = Path(mkdtemp(prefix=".zoneplan-", dir=path.parent))
    except OSError as error:
        raise BookError(
            f"{shown(path)} cannot be made: {error.strerror or error}.\n"
            "Name a folder that is there and that you may write into."
        ) from error
    try:
        made = room / "made"
        yield made
        if made.is_dir():
            made.rename(path)
        else:
            _put_in_place(made, path)
    except FileExistsError as error:
        raise BookError(f"{shown(path)} has just been made by another.") from error
    except OSError as error:
        raise BookError(
            f"{shown(path)} cannot be written: {error.strerror or error}.\n"
            "Make room there, or name another place."
        ) from error
    finally:
        rmtree(room, ignore_errors=True)


def _put_in_place(made: Path, path: Path) -> None:
    try:
        os.link(made, path)  # unlike a change of name, it puts nothing in another's place
    except FileExistsError:
        raise
    except OSError as error:  # some disks have no links
        if exists(path):
            raise FileExistsError(str(path)) from error
        made.rename(path)


def _refuse_cut_off(path: Path, size: int, head: bytes) -> None:
    """The head counts the pages; while a log lies beside, the file may yet be shorter."""
    page = int.from_bytes(head[16:18])
    pages, sure = int.from_bytes(head[28:32]), head[24:28] == head[92:96]
    log = path.with_name(f"{path.name}-wal")
    stated = pages * (65536 if page == 1 else page)
    if sure and size < stated and not (exists(log) and log.stat().st_size):
        raise BookError(
            f"{shown(path)} is cut off at {size:,} of {stated:,} bytes.\n"
            "What is missing cannot be told, so nothing of it is used.\n"
            "Copy it again from where it is whole, or restore a backup.",
            code="book-damaged",
        )


def refuse_share(path: Path) -> None:
    """Refuse a place on a network share.

    Raises
    ------
    BookError
        When the file lies on one, or would.
    """
    kind = _share(path)
    if kind:
        raise BookError(
            f"{shown(path)} lies on a network share ({quoted(kind)}).\n"
            "A book in a file is for one machine: over a network two could write at once, and "
            "spoil it.\nKeep it on a disk of this machine; for several machines, use a PostgreSQL "
            "database: postgresql://user@host/database."
        )


def _share(path: Path) -> str | None:
    """What kind of share a file lies on; None where it is a disk, or nobody can tell."""
    if str(path).startswith((r"\\", "//")):
        return "a path of another machine"
    home = path.resolve()
    deepest: tuple[int, str] = (0, "")
    with suppress(OSError):
        for line in _MOUNTS.read_text("utf-8", "replace").splitlines():
            _, place, kind, *_ = (*line.split(" "), "", "", "")
            place = place.replace("\\040", " ")
            if home.is_relative_to(place or "?"):
                deepest = max(deepest, (len(place), kind))
    kind = deepest[1].removeprefix("fuse.")
    return kind if kind.startswith(_SHARES) else None
