"""Ask a library about a file in a child process, and say in our words what goes wrong."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from zoneplan.errors import LayerError, quoted
from zoneplan.field.child import ChildError, run
from zoneplan.field.opening import Unopened
from zoneplan.plain_file import MB, check_regular, exists, head_of, is_folder, no_room, scratch

LEAST_S = 30.0  # to read any file; judged: a small one takes a hundredth
PER_MB_S = 0.2
_MOST_REASON = 200  # letters of what a library says
_LOGGED, _WITH_LOG = slice(18, 20), b"\x02\x02"  # versions in the head of an SQLite file
P = ParamSpec("P")
T = TypeVar("T")


def apart(
    kind: str,
    again: str,
    work: Callable[Concatenate[Path, P], T],
    path: Path,
    *args: P.args,
    **kwargs: P.kwargs,
) -> T:
    """Do work of `zoneplan.field.opening` on a file, apart from this process.

    Parameters
    ----------
    kind : str
        What the file should be, for messages: "a GeoTIFF".
    again : str
        What to do where it is not, as a sentence.

    Raises
    ------
    LayerError
        When the library cannot read the file, takes too long or breaks down; when it is no
        regular file, or a folder that holds one that is none.
    """
    limit_s = LEAST_S + PER_MB_S * _size(path) / MB
    try:
        with _undisturbed(path.absolute()) as whole:
            return run(limit_s, work, whole, *args, **kwargs)
    except ChildError as error:
        raise LayerError(
            f"{path.name} cannot be read as {kind}: {error}.\n"
            f"The file is damaged, or made to do harm; nothing was taken from it.\n{again}"
        ) from error
    except Unopened as error:
        raise LayerError(
            f"{path.name} cannot be read as {kind}{_reason(error, path)}\n"
            f"The file is damaged or holds something else. {again}"
        ) from error


def stamp(path: Path) -> object:
    """What changes with a file, or with any in a folder: what was read of it holds until then."""
    try:
        files = [path, *sorted(path.iterdir())] if path.is_dir() else [path]
        return tuple((file.name, (at := file.stat()).st_mtime_ns, at.st_size) for file in files)
    except (OSError, ValueError):  # of a name that no disk can have, too
        return None


@contextmanager
def _undisturbed(path: Path) -> Iterator[Path]:
    """Lend a copy of a database that a reader would write beside: one with a log of its writes."""
    if path.suffix.lower() != ".gpkg" or head_of(path, 20)[_LOGGED] != _WITH_LOG:
        yield path
        return
    with scratch() as folder:
        try:
            for part in (path, path.with_name(f"{path.name}-wal")):
                if exists(part):
                    check_regular(part)
                    shutil.copyfile(part, folder / part.name)
        except OSError as error:
            raise no_room(f"{path.name} cannot be copied to be read", error) from error
        yield folder / path.name


def _size(path: Path) -> int:
    """Bytes of a file, or of all in a folder; each must be a regular one."""
    if is_folder(path):
        return sum(check_regular(part) for part in path.iterdir())
    return check_regular(path)


def _reason(error: Unopened, path: Path) -> str:
    reason = str(error).split("; It might help")[0].replace(str(path.absolute()), path.name)
    reason = quoted(reason.partition("\n")[0].rstrip("."), _MOST_REASON)
    return f": {reason}." if reason else "."
