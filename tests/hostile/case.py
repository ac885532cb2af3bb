"""One hostile input: how it is made, the door it comes in by, and what must come of it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

Make = Callable[[Path], Path]  # writes into a folder, and gives what is to be opened
FINE = ""  # it is read, or planned, as it should be
CASES: dict[str, "Case"] = {}


@dataclass(frozen=True)
class Case:
    """What must come of it: FINE, or words that the refusal has."""

    door: str
    make: Make
    words: str


def case(door: str, words: str = "") -> Callable[[Make], Make]:
    """Add what a function makes, for one door."""

    def added(make: Make) -> Make:
        CASES[f"{door}: {make.__name__.replace('_', ' ')}"] = Case(door, make, words)
        return make

    return added


def written(
    door: str, file: str, contents: Iterable[tuple[str, str | bytes, str]], end: bytes = b""
) -> None:
    """Add files of one name: what each is, its content and the words of its refusal."""
    for what, content, words in contents:
        data = content if isinstance(content, bytes) else content.encode()
        CASES[f"{door}: {what}"] = Case(door, _writer(file, data + end), words)


def _writer(file: str, data: bytes) -> Make:
    def make(folder: Path) -> Path:
        path = folder / file
        path.write_bytes(data)
        return path

    return make
