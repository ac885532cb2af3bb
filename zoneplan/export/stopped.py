"""What a write that was stopped left behind: found by the next one, told, and undone.

While a plan is put into a folder, what is in hand lies in a hidden folder beside it (or inside
it, where it is a disk of its own or nothing may be made beside it):

    lock            held by the one that writes
    new/            the plan that is coming, until it is moved in
    old/            the plan that is going, where it goes file by file
    journal.json    there from before the first change until after the last
"""

import json
import os
import shutil
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path

from zoneplan.errors import OutputError, listed
from zoneplan.export.manifest import MANIFEST

_TRIES = 100  # at a lock whose holder lets go of it in the same moment


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold a lock file, in a folder that is made for it and goes with it once it is empty.

    The system lets go of it when its holder ends, even by force. The file may then stay (as it
    always does where an open file cannot be taken away), and holds nobody up.

    Raises
    ------
    BlockingIOError
        When somebody else holds it.
    OSError
        When it cannot be made.
    """
    handle = _taken(path)
    try:
        yield
    finally:
        with suppress(OSError):
            path.unlink()  # while we hold it: whoever waits here sees that it is another's no more
        os.close(handle)
        with suppress(OSError):
            path.parent.rmdir()


def _taken(path: Path) -> int:
    for _ in range(_TRIES):
        path.parent.mkdir(exist_ok=True)
        if path.parent.is_symlink():
            raise NotADirectoryError(0, f"{path.parent} leads somewhere else")
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        except FileNotFoundError:  # its folder has just gone with another holder
            continue
        try:
            _hold(handle)
            if os.path.samestat(os.fstat(handle), path.stat()):
                return handle
        except FileNotFoundError:  # the file has
            pass
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)
    raise BlockingIOError(0, f"{path} comes and goes")


if sys.platform == "win32":
    import msvcrt

    def _hold(handle: int) -> None:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError as error:
            raise BlockingIOError(error.errno, "somebody else holds it") from error

else:
    import fcntl

    def _hold(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


NEW, OLD, JOURNAL, LOCK = "new", "old", "journal.json", "lock"
_WORKSHOP = ".zoneplan-writing"
SWAP, FILES = "swap", "files"  # ways to put a plan in place


@dataclass(frozen=True)
class Journal:
    """What is being done to a folder."""

    way: str  # SWAP: the whole folder in one step; FILES: file by file
    coming: Mapping[str, str]  # SHA-256 of each file by its name
    going: Sequence[str]  # files of the plan that was there
    made: Sequence[str] = ()  # folders in it that were not
    mark: str = ""  # SHA-256 of the manifest that says that the folder is unfinished
    folder: int = 0  # the number that the system has for the coming folder


def workshop(out: Path) -> Path:
    """Where that lies which a write to a folder has in hand."""
    inside, beside = _workshops(out)
    alone = out.is_dir() and (out.is_mount() or not os.access(out.parent, os.W_OK | os.X_OK))
    return inside if alone else beside


def traces(out: Path) -> bool:
    """Whether a write is under way, or was stopped."""
    return any(work.is_dir() for work in _workshops(out))


@contextmanager
def alone(out: Path) -> Iterator[Path]:
    """Be the only one that writes to a folder, with a place for what is in hand.

    Raises
    ------
    OutputError
        When somebody else is writing to it, or what a stopped write left cannot be undone.
    OSError
    """
    work = workshop(out)
    try:
        with locked(work / LOCK):
            try:
                yield work
            finally:
                if not (work / JOURNAL).exists():
                    clear(work)
    except BlockingIOError as error:
        raise OutputError(
            f"Another zoneplan is writing to {out} at this moment.\n"
            "Nothing was changed. Wait until it is done, or name another folder."
        ) from error


def put_back(out: Path) -> str:
    """Undo what a stopped write left of a folder, while no other writes to it.

    Returns
    -------
    str
        What was found and what became of it; empty where there was nothing.

    Raises
    ------
    OutputError
        When a file stands in the way that is not ours to take away.
    OSError
        When a file cannot be moved; it can be tried again.
    """
    return "\n".join(
        recover(out, work)
        for work in _workshops(out)
        if any(path.name != LOCK for path in _inside(work))
    )


def recover(out: Path, work: Path) -> str:
    """Finish or undo what a workshop's journal tells of, and clear it; say which."""
    journal = _read_journal(work / JOURNAL)
    if journal is None:
        clear(work)
        return (
            f"An earlier write to {out} was stopped before it changed anything there. What it "
            "had begun was cleared away."
        )
    if journal.way == SWAP:
        _rescue(work / NEW, out, {*journal.going, *journal.coming})
    if in_place(out, work, journal):
        clear(work)
        return (
            f"An earlier write to {out} was stopped when its plan was in place. The plan is "
            "whole; what was left over was cleared away."
        )
    if journal.way == FILES:
        _undo(out, work, journal)
    clear(work)
    there = "The plan that was there before is whole." if journal.going else "No plan was there."
    return f"An earlier write to {out} was stopped, and was undone. {there}"


def in_place(out: Path, work: Path, journal: Journal) -> bool:
    """Whether the plan that was coming is there, all of it."""
    if journal.way == SWAP:
        return out.is_dir() and out.stat().st_ino == journal.folder
    return not (work / NEW / MANIFEST).exists()  # which is moved last


def _undo(out: Path, work: Path, journal: Journal) -> None:
    """Move the coming files out and those that were going back in.

    It may itself be stopped at any place, and begun again.
    """
    new, old = work / NEW, work / OLD
    moved = [
        name
        for name in journal.coming
        if name != MANIFEST and not (new / name).exists() and (out / name).exists()
    ]
    gone = [name for name in journal.going if name != MANIFEST and (old / name).exists()]
    strange = [name for name in moved if _digest(out / name) != journal.coming[name]]
    strange += [name for name in gone if name not in moved and (out / name).exists()]
    if strange:
        faults = [f"{name} was put there or changed since." for name in strange]
        raise OutputError(
            f"A write to {out} was stopped on its way, and the plan that was there cannot be put "
            f"back:\n{listed(str(out), faults)}\nMove them to another place and try again; the "
            f"files of the earlier plan are safe in {old}."
        )
    for name in moved:
        move(out / name, new / name)
    for name in gone:
        move(old / name, out / name)
    flush_folders(out, [*moved, *gone])
    if (old / MANIFEST).exists():
        move(old / MANIFEST, out / MANIFEST)
    elif MANIFEST not in journal.going and _digest(out / MANIFEST) == journal.mark:
        (out / MANIFEST).unlink()
    for name in journal.made:
        with suppress(OSError):  # it stays where somebody put something into it
            (out / name).rmdir()
    flush_folders(out, [MANIFEST])


def _rescue(old: Path, out: Path, ours: set[str]) -> None:
    """Move what somebody put into the old folder, while the new one took its place, to that."""
    for name in files_in(old):
        if name not in ours:
            target = out / name
            while target.exists():
                target = target.with_name(f"{target.name}.kept")
            target.parent.mkdir(parents=True, exist_ok=True)
            move(old / name, target)


def clear(work: Path) -> None:
    """Take away what is in a workshop; its journal first, for without one it means nothing."""
    with suppress(OSError):
        (work / JOURNAL).unlink(missing_ok=True)
        flush_folder(work)
        for path in _inside(work):
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            elif path.name != LOCK:
                path.unlink()


def write_journal(path: Path, journal: Journal) -> None:
    """Write a journal, all of it or none."""
    aside = path.with_name("journal.new")
    write_durably(aside, json.dumps(asdict(journal)).encode())
    move(aside, path)
    flush_folder(path.parent)


def _read_journal(path: Path) -> Journal | None:
    try:
        return Journal(**json.loads(path.read_bytes()))
    except FileNotFoundError:
        return None
    except (ValueError, TypeError) as error:
        raise OutputError(
            f"{path} cannot be read, which tells what a stopped write was doing: {error}.\n"
            f"Nothing was changed. Look into {path.parent}: what is in its folders old and new "
            "is one plan each. Keep what you want, and take the folder away."
        ) from error


# ---- files and folders that outlast a power cut --------------------------------------------------


def write_durably(path: Path, content: bytes) -> None:
    """Write a file, and wait until the disk has it."""
    path.write_bytes(content)
    with path.open("rb+") as written:
        os.fsync(written.fileno())


def flush_folder(folder: Path) -> None:
    """Wait until the disk has what is in a folder, by name."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except PermissionError:  # where folders cannot be opened, as on Windows
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def flush_folders(out: Path, names: Sequence[str]) -> None:
    """Do so for every folder that has one of these files."""
    for folder in sorted({(out / name).parent for name in names}):
        if folder.is_dir():
            flush_folder(folder)


def move(path: Path, target: Path) -> None:
    """Move a file on one disk, over what is there."""
    target.parent.mkdir(exist_ok=True)
    path.replace(target)


def files_in(folder: Path) -> list[str]:
    """Name everything in a folder that is no folder, and every folder with nothing in it."""
    return sorted(
        path.relative_to(folder).as_posix()
        for path in _below(folder)
        if path.is_symlink() or not path.is_dir() or not any(path.iterdir())
    )


def _below(folder: Path) -> Iterator[Path]:
    for path in _inside(folder):
        yield path
        if path.is_dir() and not path.is_symlink():
            yield from _below(path)


def _inside(folder: Path) -> list[Path]:
    return sorted(folder.iterdir()) if folder.is_dir() else []


def _digest(path: Path) -> str | None:
    return sha256(path.read_bytes()).hexdigest() if path.is_file() else None


def _workshops(out: Path) -> tuple[Path, Path]:
    inside = out / _WORKSHOP
    return inside, (out.with_name(f"{_WORKSHOP}-{out.name}") if out.name else inside)
