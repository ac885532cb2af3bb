"""Read a file that anybody may have sent: a regular one, and no bigger than was agreed.

A pipe or a device in a file's place would be read for ever, or answer for another program.
"""

import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import Any

from zoneplan.errors import LayerError, quoted

Fault = Callable[[str], Exception]
MB = 10**6
MOST_FILES = 20_000  # of a folder; a state's surveys, unpacked side by side, have 10,000
MOST_TEXT_MB = 500  # of a table or a survey's answer; a state's largest survey area has 200
MOST_TOML_MB = 1.0
# Of a key with thousands of dots the library would think for hours.
_DOTTED = re.compile(r"""(?:\.[ \t]*(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*){33}""")
_NEVER_WAIT = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


def check_regular(path: Path, fault: Fault = LayerError) -> int:
    """Refuse what is no regular file, and no link to one; give its size. [bytes]

    Raises
    ------
    fault
        Of the kind asked for.
    """
    try:
        status = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:
        raise fault(
            f"There is no file {shown(path)}.\nCheck the name, and where you are."
        ) from error
    except OSError as error:
        raise _unread(path, error, fault) from error
    _refuse_irregular(path, status.st_mode, fault)
    return status.st_size


def is_folder(path: Path) -> bool:
    """Whether a path is a folder; what no disk can have is none."""
    return _answered(path.is_dir)


def is_file(path: Path) -> bool:
    """Whether a path is a regular file, or a link to one; what no disk can have is none."""
    return _answered(path.is_file)


def exists(path: Path) -> bool:
    """Whether there is anything of this name; of a name that no disk can have there is not."""
    return _answered(path.exists)


def _answered(question: Callable[[], bool]) -> bool:
    try:
        return question()
    except (OSError, ValueError):
        return False


def files_in(folder: Path) -> list[Path]:
    """List the regular files and geodatabases in a folder and the folders in it, in order.

    Raises
    ------
    LayerError
        When there are more than MOST_FILES, or a folder cannot be looked into.
    """
    paths: list[Path] = []
    try:
        for home, folders, names in os.walk(folder, onerror=_raise):
            databases = [folder for folder in folders if folder.lower().endswith(".gdb")]
            folders[:] = [folder for folder in folders if folder not in databases]
            here = [Path(home, name) for name in (*databases, *names)]
            paths += [path for path in here if path.name in databases or is_file(path)]
            if len(paths) > MOST_FILES:
                raise LayerError(
                    f"{shown(folder)} holds more than {MOST_FILES:,} files.\n"
                    "It is no folder of one field or survey area.\n"
                    "Give the folder that holds the layer, and little else."
                )
    except OSError as error:
        raise _unread(folder, error, LayerError) from error
    return sorted(paths)


def _raise(error: OSError) -> None:
    raise error


def read_plain(path: Path, most_mb: float = MOST_TEXT_MB, fault: Fault = LayerError) -> bytes:
    """Read all of a regular file.

    Raises
    ------
    fault
        Of the kind asked for: when there is none, it cannot be read, is a folder, a pipe or
        a device, or bigger than `most_mb`.
    """
    size = check_regular(path, fault)
    if size <= most_mb * MB:
        content = _first_bytes(path, int(most_mb * MB) + 1, fault)
        size = max(size, len(content))
    if size > most_mb * MB:
        raise fault(
            f"{shown(path)} is {size / MB:,.1f} MB; we read {most_mb:g} MB of such a file at "
            "the most.\nIt holds something else, or far more than one field.\n"
            "Give the part that is about the field."
        )
    return content


def toml_file(path: Path, error: type[Exception]) -> dict[str, Any]:
    """Read the values of a TOML file; all that can be wrong is raised as `error`."""
    return toml(path.name, read_plain(path, MOST_TOML_MB, error), error)


def toml(name: str, content: bytes, error: type[Exception]) -> dict[str, Any]:
    """Read the values of TOML in UTF-8; all that can be wrong is raised as `error`."""
    if len(content) > MOST_TOML_MB * 1e6:
        raise error(
            f"{name} is {len(content) / 1e6:,.1f} MB; such a file has {MOST_TOML_MB:g} at most.\n"
            "Nobody writes as much. Look for the file that was meant."
        )
    try:
        text = content.decode("utf-8-sig")
        if _DOTTED.search(text):
            raise ValueError("a key has more dots than any of ours")
        return tomllib.loads(text)
    except UnicodeDecodeError as fault:
        raise error(
            f"{name} is not UTF-8 text: {fault.reason} at byte {fault.start}.\n"
            "Its words could be misread. Save it again as plain text, encoding UTF-8."
        ) from fault
    except (ValueError, RecursionError) as fault:  # TOMLDecodeError is a ValueError
        raise error(
            f"{name} is not TOML: {quoted(fault)}.\n"
            "We won't guess what was meant. Correct that line and try again."
        ) from fault


def head_of(path: Path, size: int) -> bytes:
    """Read the first bytes of a regular file.

    Raises
    ------
    LayerError
        When it is none, or cannot be read.
    """
    check_regular(path)
    return _first_bytes(path, size, LayerError)


def _first_bytes(path: Path, most: int, fault: Fault) -> bytes:
    try:
        with os.fdopen(os.open(path, os.O_RDONLY | _NEVER_WAIT), "rb") as file:
            # It may have become another since it was looked at.
            _refuse_irregular(path, os.fstat(file.fileno()).st_mode, fault)
            return file.read(most)
    except OSError as error:
        raise _unread(path, error, fault) from error


@contextmanager
def scratch(fault: Fault = LayerError) -> Iterator[Path]:
    """Lend a folder for temporary files, for as long as it is needed.

    Raises
    ------
    fault
        When there is no room for one.
    """
    try:
        room = TemporaryDirectory(prefix="zoneplan-")
    except OSError as error:
        raise no_room("Files cannot be put by while they are read", error, fault) from error
    with room as folder:
        yield Path(folder)


def no_room(what: str, error: OSError, fault: Fault = LayerError) -> Exception:
    """Say that what was to be put by for a while could not be, and why."""
    return fault(
        f"{what}: {quoted(error.strerror or error)}.\n"
        f"The folder for temporary files, {shown(Path(gettempdir()))}, has no room, or takes no "
        "files.\nMake room there, or name another folder in TMPDIR."
    )


def shown(path: Path) -> str:
    """A path as a message has it: no longer than a line or two, and nothing that acts.

    >>> shown(Path("our\\x1b[2Jfield.zip"))
    'our\\\\x1b[2Jfield.zip'
    """
    text = str(path)
    return (
        quoted(text, len(text) * 10) if len(text) <= 200 else f"{quoted(text)}{quoted(text[-80:])}"
    )


def _refuse_irregular(path: Path, mode: int, fault: Fault) -> None:
    if stat.S_ISREG(mode):
        return
    kinds = {
        stat.S_IFDIR: "a folder",
        stat.S_IFIFO: "a pipe",
        stat.S_IFSOCK: "a socket",
        stat.S_IFCHR: "a device",
        stat.S_IFBLK: "a device",
    }
    raise fault(
        f"{shown(path)} cannot be read: it is {kinds.get(stat.S_IFMT(mode), 'something else')}, "
        "not a file.\n"
        "Only a regular file has an end, and stays what it is while it is read.\n"
        "Give the file itself, or save what comes from there to a file first."
    )


def _unread(path: Path, error: OSError, fault: Fault) -> Exception:
    return fault(
        f"{shown(path)} cannot be read: {error.strerror or error}.\n"
        "Check the name, and that you may read it."
    )
