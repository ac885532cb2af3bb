"""What services answered, kept on this machine by what was asked and when, and who asks.

An entry is one file: a line of JSON that says what it is, and the content. One that was
altered or cut off is no entry.
"""

import json
import os
import re
import secrets
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import KW_ONLY, dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from zoneplan.errors import ServiceError
from zoneplan.field.service.manners import POLITE, Caller
from zoneplan.plain_file import MB, is_file

VARIABLE = "ZONEPLAN_CACHE"
MOST_MB = 1000  # of all entries; those that were used longest ago go first
_FORM = "zoneplan-cache/1"
_ENDING = ".answer"
_DIGEST = re.compile(r"[0-9a-f]{64}")
_MOST_HEAD = 4096  # bytes of the first line


@dataclass(frozen=True)
class Entry:
    """One answer that is kept."""

    what: str  # "soil tables of 2 map units"
    asked: datetime
    content: bytes


class Cache:
    """A folder of answers. Where it cannot be written nothing is kept, and nothing fails.

    It is made when the first answer is kept.
    """

    def __init__(self, folder: Path, most_mb: float = MOST_MB) -> None:
        self.folder = folder
        self._most = most_mb * MB
        self._size: float | None = None  # bytes of all entries, or a little more; None: unknown

    def get(self, key: str) -> Entry | None:
        """Give what is kept of a question; None where nothing sound is."""
        path = self._path(key)
        entry = _read(path)
        if entry is not None:
            with suppress(OSError):
                os.utime(path)  # it was used
        return entry

    def put(self, key: str, what: str, content: bytes, asked: datetime) -> None:
        """Keep an answer, and let those go that were used longest ago where it gets too much."""
        if len(content) > self._most:
            return
        head = {
            "form": _FORM,
            "what": what,
            "asked": asked.astimezone(UTC).isoformat(timespec="seconds"),
            "sha256": sha256(content).hexdigest(),
        }
        path = self._path(key)
        beside = path.with_name(f"{path.stem}-{secrets.token_hex(4)}.part")
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            beside.write_bytes(json.dumps(head).encode() + b"\n" + content)
            beside.replace(path)
        except OSError:
            with suppress(OSError):
                beside.unlink(missing_ok=True)
            return
        if self._size is not None:
            self._size += len(content) + _MOST_HEAD
        if self._size is None or self._size > self._most:
            self._shrink()

    def entries(self) -> list[tuple[Entry, int]]:
        """Every sound entry with its size in bytes, the newest first."""
        sound = [(entry, path.stat().st_size) for path in self._files() if (entry := _read(path))]
        return sorted(sound, key=lambda pair: pair[0].asked, reverse=True)

    def empty(self) -> tuple[int, int]:
        """Take all entries away; give how many there were, and their bytes.

        Raises
        ------
        ServiceError
            When one cannot be taken away.
        """
        files = [(path, path.stat().st_size) for path in self._files()]
        for path, _ in files:
            try:
                path.unlink(missing_ok=True)
            except OSError as error:
                raise ServiceError(
                    f"{path} cannot be taken away: {error.strerror or error}.\n"
                    "The cache is not empty.\nSee that you may write there, and try again."
                ) from error
        return len(files), sum(size for _, size in files)

    def _shrink(self) -> None:
        with suppress(OSError):
            files = sorted(
                ((path.stat(), path) for path in self._files()), key=lambda entry: entry[0].st_mtime
            )
            self._size = sum(status.st_size for status, _ in files)
            for status, path in files[:-1]:
                if self._size <= self._most:
                    return
                path.unlink(missing_ok=True)
                self._size -= status.st_size

    def _path(self, key: str) -> Path:
        return self.folder / f"{sha256(key.encode()).hexdigest()}{_ENDING}"

    def _files(self) -> Iterator[Path]:
        """Only what is ours: the folder may be anybody's."""
        with suppress(OSError):
            yield from (
                path
                for path in sorted(self.folder.glob(f"*{_ENDING}"))
                if _DIGEST.fullmatch(path.stem) and is_file(path)
            )


def cache_folder() -> Path:
    """Where this person's answers are kept: ZONEPLAN_CACHE, or where the system keeps such."""
    if named := os.environ.get(VARIABLE):
        return Path(named)
    if os.name == "nt":
        home = Path(os.environ.get("LOCALAPPDATA") or Path("~").expanduser())
    elif sys.platform == "darwin":
        home = Path("~/Library/Caches").expanduser()
    else:
        home = Path(os.environ.get("XDG_CACHE_HOME") or Path("~/.cache").expanduser())
    return home / "zoneplan"


@dataclass
class Client:
    """Asks a service, or the cache of what it answered; a base must be an address."""

    caller: Caller = POLITE  # who sends
    cache: Cache = field(default_factory=lambda: Cache(cache_folder()))
    _: KW_ONLY
    base: str = ""  # address; else what the environment names, else the service's own
    refresh: bool = False  # ask again for what is in the cache
    offline: bool = False  # ask for nothing: what is not in the cache is an error
    now: Callable[[], datetime] = lambda: datetime.now(UTC)  # the time, with its zone


def _read(path: Path) -> Entry | None:
    if not is_file(path):
        return None
    try:
        with path.open("rb") as file:
            head = json.loads(file.readline(_MOST_HEAD))
            content = file.read()
        if head["form"] == _FORM and head["sha256"] == sha256(content).hexdigest():
            return Entry(str(head["what"]), datetime.fromisoformat(head["asked"]), content)
    except (OSError, ValueError, KeyError, TypeError):
        pass
    return None
