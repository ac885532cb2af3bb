"""What a table of points says of the soil: conductivity, and texture as fractions."""

import re
from collections.abc import Mapping, Sequence, Set

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from zoneplan.errors import LayerError, listed, named, quoted
from zoneplan.field.columns import KNOWN, MOST_AMOUNT, find_column, names_of, only_one, unclear
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import MOST_OFF_PCT

_WORTH_SAYING_PCT = 0.1  # nearer to the whole than this, it is rounding
_SURE_PCT = 1.0  # columns are added only where the whole comes out this well
_UNITS = {1.0: "fraction", 100.0: "percent", 1000.0: "g/kg"}  # by what a whole soil makes
CONDUCTIVITY = {"ec", "eca", "ecsh", "ecdp", "conductivity", "conductivi"}  # ten letters
_WORDS = {
    "conductivity": CONDUCTIVITY,
    "sand": {"sand"},
    "silt": {"silt"},
    "clay": {"clay"},
    "organic": {"humus"},
}
_EMPTY = "Leave empty what is not known, and export it again."
_NOTHING = ("", "na", "nan", "null", "none")
_Values = NDArray[np.float64]


def read_values(
    frame: pd.DataFrame, columns: Mapping[str, str], source: str
) -> tuple[dict[str, _Values], list[Notice]]:
    """Read what was measured, and say how it was understood.

    Parameters
    ----------
    frame : DataFrame
        A row for each point, indexed by its number in the file.
    columns : mapping
        Columns the user names for conductivity, sand, silt, clay and organic.
    source : str
        The file, for messages.

    Returns
    -------
    tuple
        `conductivity`, or `sand_frac`, `silt_frac` and `clay_frac`, or all of them, and
        `organic_pct` where there is any; NaN where a cell is empty. Then the notes.

    Raises
    ------
    LayerError
        When it has neither, and when columns are not clear or hold what they cannot.
    """
    candidates = {
        part: _columns(frame, part, words, columns.get(part), source)
        for part, words in _WORDS.items()
    }
    values: dict[str, _Values] = {}
    notes: list[Notice] = []
    if conductivity := only_one(candidates["conductivity"], "conductivity", source):
        values["conductivity"] = numbers(frame, conductivity, source)
        notes.append(notice("conductivity-column", column=conductivity))
    texture = {part: candidates[part] for part in ("sand", "silt", "clay")}
    if all(texture.values()):
        values |= _fractions(frame, texture, source, notes)
    elif not conductivity:
        raise _says_nothing(frame, source)
    elif any(texture.values()):
        parts = tuple(part for part, names in texture.items() if names)
        notes.append(notice("texture-parts-left-out", parts=parts))
    if organic := only_one(candidates["organic"], "organic", source):
        values["organic_pct"] = _amounts(frame, organic, source, 100.0)
    return values, notes


def column_with(
    frame: pd.DataFrame, words: Set[str], part: str, asked: str | None, source: str
) -> str | None:
    """Find the one column whose name has one of these words, or that the user names.

    Raises
    ------
    LayerError
        When the column asked for is not there, or several could be meant.
    """
    return only_one(_columns(frame, part, words, asked, source), part, source)


def words_in(name: str) -> set[str]:
    """Split a column's name into its words.

    >>> sorted(words_in("X-coordinate_utm32"))
    ['coordinate', 'utm', 'x']
    """
    return set(re.findall("[a-z]+", name.lower()))


def numbers(frame: pd.DataFrame, column: str, source: str) -> _Values:
    """Read a column as numbers, NaN where a cell is empty.

    Raises
    ------
    LayerError
        When there is text among them.
    """
    cells = frame[column]
    plain = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=float)
    if (np.abs(plain) <= MOST_AMOUNT).all():  # as most are: then nobody needs to look closer
        return plain
    texts = cells.astype(str).str.strip()
    empty = cells.isna() | texts.str.lower().isin(_NOTHING)
    values = pd.to_numeric(texts.mask(empty), errors="coerce").to_numpy(dtype=float)
    wrong = texts[~empty & ~(np.abs(values) <= MOST_AMOUNT)]
    refuse(
        [f'row {row}: {column} is "{quoted(cell)}".' for row, cell in wrong.items()],
        f"In {column} we want numbers.\n{_EMPTY}",
        source,
    )
    return values


def refuse(faults: Sequence[str], why: str, source: str) -> None:
    """Tell the first faults of a file, and how many more there are, if there are any.

    Raises
    ------
    LayerError
        With `why` we stopped and what to do.
    """
    if not faults:
        return
    raise LayerError(f"{listed(source, faults)}\n{why}")


def _columns(
    frame: pd.DataFrame, part: str, words: Set[str], asked: str | None, source: str
) -> list[str]:
    if asked is not None or part in KNOWN:
        column = find_column(frame, part, asked, source)
        if column is not None:
            return [column]
    return [name for name in names_of(frame) if words & words_in(name)]


def _fractions(
    frame: pd.DataFrame, texture: Mapping[str, list[str]], source: str, notes: list[Notice]
) -> dict[str, _Values]:
    """Scale sand, silt and clay of each row to 1 together, whatever their unit."""
    parts = {
        part: np.sum([_amounts(frame, name, source) for name in names], axis=0)
        for part, names in texture.items()
    }
    total = np.sum(list(parts.values()), axis=0)
    typical = float(np.nanmedian(total)) if np.isfinite(total).any() else 100.0
    whole = min(_UNITS, key=lambda one: abs(typical / one - 1))
    off_pct = 100 * np.abs(total / whole - 1)
    for part, names in texture.items():
        if len(names) > 1 and 100 * abs(typical / whole - 1) > _SURE_PCT:
            raise unclear(names, part, source)
        if len(names) > 1:
            notes.append(
                notice("texture-part-summed", part=part, columns=tuple(names), total=whole)
            )
    rows = [
        f"row {row}: {', '.join(f'{part} {amount[at]:g}' for part, amount in parts.items())} "
        f"add up to {total[at]:g}."
        for at, row in enumerate(frame.index)
        if off_pct[at] > MOST_OFF_PCT
    ]
    refuse(
        rows,
        f"The parts of one soil make {whole:g} ({_UNITS[whole]}); these are not its parts, or "
        f"not its units.\n{_EMPTY}",
        source,
    )
    notes.append(notice("texture-unit", parts=tuple(texture), unit=_UNITS[whole]))
    scaled = int(np.count_nonzero(off_pct > _WORTH_SAYING_PCT))
    if scaled:
        notes.append(
            notice("rows-scaled", scaled=scaled, rows=len(frame), off_pct=float(np.nanmax(off_pct)))
        )
    return {f"{part}_frac": amount / total for part, amount in parts.items()}


def _amounts(frame: pd.DataFrame, column: str, source: str, most: float = np.inf) -> _Values:
    values = numbers(frame, column, source)
    wrong = (values < 0) | (values > most)
    refuse(
        [
            f"row {row}: {column} is {values[at]:g}."
            for at, row in enumerate(frame.index)
            if wrong[at]
        ],
        f"That cannot be; a code for no data would be weighed in.\n{_EMPTY}",
        source,
    )
    return values


def _says_nothing(frame: pd.DataFrame, source: str) -> LayerError:
    return LayerError(
        f"{source} has no column of conductivity, and not all of sand, silt and clay.\n"
        f"Its columns are: {named(names_of(frame)) or 'none'}. Nothing else tells soils "
        "apart here.\n"
        "Name the column of conductivity, or those of sand, silt and clay.",
        code="columns-missing",
        parameter=tuple(f"columns.{part}" for part in ("conductivity", "sand", "silt", "clay")),
    )
