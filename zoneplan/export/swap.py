"""Put a plan into a folder in place of the one that is there: all of it, or none.

Where the folder holds nothing but a plan, it changes places with the new one in a single step of
the system. Where it cannot, or something else lies in it, the manifest says first that the folder
is unfinished; then every file that is going goes, and only then those that are coming come, so
that files of two plans never lie side by side. Nothing that a manifest does not name is touched.
"""

import ctypes
import os
import sys
from collections.abc import Collection, Mapping
from contextlib import suppress
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from zoneplan.errors import OutputError, listed
from zoneplan.export.manifest import MANIFEST, Manifest, read_manifest, unfinished_bytes
from zoneplan.export.readback import first_line
from zoneplan.export.stopped import (
    FILES,
    JOURNAL,
    NEW,
    OLD,
    SWAP,
    Journal,
    files_in,
    flush_folder,
    flush_folders,
    in_place,
    move,
    recover,
    write_durably,
    write_journal,
)

_UNFINISHED = "unfinished.json"
_HERE, _EXCHANGE = -100, 2  # AT_FDCWD, RENAME_EXCHANGE


def plan_in(out: Path) -> Manifest | None:
    """Read the manifest of the plan in a folder; None where there is none.

    Raises
    ------
    OutputError
        When what has its name is no manifest of ours.
    """
    try:
        return read_manifest((out / MANIFEST).read_bytes())
    except FileNotFoundError:
        return None
    except ValueError as error:
        raise OutputError(
            f"{out / MANIFEST} cannot be read, so which files there are a plan's is not known: "
            f"{first_line(error)}.\n"
            "Nothing was changed. Move it to another place, or name another folder."
        ) from error


def refuse_strangers(out: Path, names: Collection[str]) -> None:
    """Refuse to write over files that no manifest there names: they are somebody else's.

    Raises
    ------
    OutputError
        Naming all of them.
    """
    going = plan_in(out)
    ours = {MANIFEST, *going.digests} if going else set()
    faults = [
        f"{name} is there, and not from zoneplan: no {MANIFEST} names it."
        for name in names
        if name not in ours and os.path.lexists(out / name)
    ]
    if faults:
        raise OutputError(
            listed(str(out), faults)
            + "\nNothing was changed. Move them to another place, or name another folder."
        )


def write_aside(files: Mapping[str, bytes], work: Path) -> dict[str, bytes]:
    """Write files where nobody looks for them, and give what the disk has of them."""
    new = work / NEW
    new.mkdir()
    for name, content in files.items():
        (new / name).parent.mkdir(parents=True, exist_ok=True)
        write_durably(new / name, content)
    flush_folders(new, [*files])
    flush_folder(work)
    return {name: (new / name).read_bytes() for name in files}


def put_in_place(files: Mapping[str, bytes], out: Path, work: Path) -> None:
    """Put files that were written aside into a folder; if that fails, all is as it was.

    Raises
    ------
    OutputError
        When a file stands in the way.
    OSError
    """
    refuse_strangers(out, files)
    plan = plan_in(out)
    going = [MANIFEST, *plan.digests] if plan else []
    mark = unfinished_bytes(files[MANIFEST], plan)
    journal = Journal(
        way=SWAP,
        coming={name: sha256(content).hexdigest() for name, content in files.items()},
        going=[name for name in going if os.path.lexists(out / name)],
        made=sorted({str(Path(name).parent) for name in files if not (out / name).parent.exists()}),
        mark=sha256(mark).hexdigest(),
        folder=(work / NEW).stat().st_ino,
    )
    try:
        if not _swapped(out, work, journal):
            journal = replace(journal, way=FILES)
            _file_by_file(out, work, journal, mark)
    except BaseException as error:
        done = in_place(out, work, journal)
        recover(out, work)
        if not (done and isinstance(error, OSError)):
            raise
    recover(out, work)


def _swapped(out: Path, work: Path, journal: Journal) -> bool:
    """Put the whole folder in place in one step, if that can be."""
    new = work / NEW
    if out.exists():
        if not _only(out, journal.going) or _worked_in(out) or not _made_alike(new, out):
            return False
        write_journal(work / JOURNAL, journal)
        if not exchanged(new, out):
            return False
    else:
        write_journal(work / JOURNAL, journal)
        try:
            new.rename(out)
        except OSError:  # somebody made it in this moment
            return False
    flush_folder(out.parent)
    return True


def _only(out: Path, names: Collection[str]) -> bool:
    """Whether nothing but these files is in a folder."""
    return set(files_in(out)) <= set(names)


def _worked_in(out: Path) -> bool:
    """Whether we were called from inside a folder: it must not go from under a person's feet."""
    try:
        return Path.cwd().is_relative_to(out)
    except OSError:
        return False


def _made_alike(new: Path, out: Path) -> bool:
    """Give the rights of one folder to another, and tell whether they are one person's."""
    now = out.stat()
    new.chmod(now.st_mode & 0o7777)
    made = new.stat()
    return (made.st_uid, made.st_gid) == (now.st_uid, now.st_gid)


def exchanged(one: Path, other: Path) -> bool:
    """Let two folders change places in one step, where the system knows how.

    Source
    ------
    Linux, renameat2(2), RENAME_EXCHANGE.
    """
    call = getattr(ctypes.CDLL(None), "renameat2", None) if sys.platform == "linux" else None
    return call is not None and not call(
        _HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE
    )


def _file_by_file(out: Path, work: Path, journal: Journal, mark: bytes) -> None:
    new, old = work / NEW, work / OLD
    old.mkdir()
    write_durably(work / _UNFINISHED, mark)
    if MANIFEST in journal.going:
        write_durably(old / MANIFEST, (out / MANIFEST).read_bytes())
    flush_folder(old)
    write_journal(work / JOURNAL, journal)
    out.mkdir(exist_ok=True)
    move(work / _UNFINISHED, out / MANIFEST)
    flush_folder(out)
    for names, start, end in ((journal.going, out, old), (journal.coming, new, out)):
        moved = [name for name in names if name != MANIFEST]
        for name in moved:
            move(start / name, end / name)
        flush_folders(start, moved)
        flush_folders(end, moved)
    move(new / MANIFEST, out / MANIFEST)
    flush_folder(out)
    for folder in sorted({(out / name).parent for name in journal.going} - {out}):
        with suppress(OSError):  # it stays where there is anything in it
            folder.rmdir()
