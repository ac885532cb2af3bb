"""One writer at a time: a lock file that goes with its holder, however that ends."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

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
