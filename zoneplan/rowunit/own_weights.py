"""A person's own weights, put into a machine file in the place of those that were in it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit

WEIGHED = "as given by its owner"


@dataclass(frozen=True)
class OwnWeights:
    """What a person weighed, in the units of the trade, as a machine file has them."""

    name: str
    unit_weight_lb: float
    attachments_lb: float
    hopper_bu: float
    notches_lb: Sequence[float]  # in the order of the file's notches
    positions_lb: Sequence[float] | None = None  # springs
    chart: Sequence[tuple[float, float]] | None = None  # air: psi, lb
    reach_lb: tuple[float, float] | None = None  # a cylinder: least, negative for lift, and most


def with_weights(text: str, own: OwnWeights) -> str:
    """Put weights into a machine file; it is no longer generic, and says so nowhere.

    All that was not weighed stays: rows, speed, depth, and how fast the system answers. So do
    comments, but those beside a number that is another now.

    Parameters
    ----------
    text : str
        A sound machine file.
    own : OwnWeights
        As many notches as the file has, and what its system is told by.
    """
    file: Any = tomlkit.parse(_without_head(text) if _is_generic(text) else text)
    file.pop("generic", None)
    words: Mapping[str, str] = {
        "name": own.name,
        "unit_weight": f"{own.unit_weight_lb:g} lb",
        "attachments": f"{own.attachments_lb:g} lb",
        "hopper": f"{own.hopper_bu:g} bu",
    }
    for key, value in words.items():
        _put(file, key, tomlkit.string(value))
    names = [str(notch["name"]) for notch in file["notches"]]
    notches = tomlkit.array()
    for name, load_lb in zip(names, own.notches_lb, strict=True):
        notch = tomlkit.inline_table()
        notch.update({"name": name, "load": f"{load_lb:g} lb"})
        notches.append(notch)
    _put(file, "notches", notches)
    system = file["system"]
    if own.positions_lb is not None:
        _put(system, "positions", _row(f"{position_lb:g} lb" for position_lb in own.positions_lb))
    if own.chart is not None:
        points = (_row((f"{psi:g} psi", f"{load_lb:g} lb")) for psi, load_lb in own.chart)
        _put(system, "chart", _row(points))
    if own.reach_lb is not None:
        for key, load_lb in zip(("least", "most"), own.reach_lb, strict=True):
            _put(system, key, tomlkit.string(f"{load_lb:g} lb"))
    return tomlkit.dumps(file)


def _is_generic(text: str) -> bool:
    return bool(tomlkit.parse(text).get("generic"))


def _without_head(text: str) -> str:
    """Leave out the comments above the first key: they say that the numbers are invented."""
    lines = text.splitlines(keepends=True)
    first = next(at for at, line in enumerate(lines) if line.strip() and line.lstrip()[0] != "#")
    return "".join(lines[first:])


def _put(table: Any, key: str, value: Any) -> None:
    """Put a value in, with a comment that says whose it is in place of the one beside it."""
    table[key] = value
    table[key].trivia.comment_ws = "  "
    table[key].trivia.comment = f"# {WEIGHED}"


def _row(values: Iterable[Any]) -> Any:
    row = tomlkit.array()
    for value in values:
        row.append(value)
    return row
