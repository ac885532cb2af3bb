"""Find the columns of a soil layer by name, and read them without filling anything in."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from zoneplan.errors import LayerError, listed, named, quoted
from zoneplan.soil.texture import MOST_OFF_PCT

KNOWN = {
    "texture": ("texture", "texture_class", "texcl", "textclass", "tex_class", "soil_texture"),
    "sand": ("sand", "sand_pct", "sand_frac", "sandtotal_r", "pct_sand", "sandpct"),
    "silt": ("silt", "silt_pct", "silt_frac", "silttotal_r", "pct_silt", "siltpct"),
    "clay": ("clay", "clay_pct", "clay_frac", "claytotal_r", "pct_clay", "claypct"),
    "organic": ("om", "om_pct", "om_r", "organic", "organic_pct", "organic_matter", "som"),
    "name": ("name", "soil", "soil_name", "musym", "label"),
}

TABLES = (".csv", ".tsv", ".txt")  # endings of tables of text
MOST_AMOUNT = 1e9  # past this, nothing that is measured in soil; a code for no data, or a slip
WORTH_SAYING_PCT = 0.1  # nearer to the whole than this, it is rounding
PARTS = ("sand", "silt", "clay")
WHOLE = {"fraction": 1.0, "percent": 100.0, "g/kg": 1000.0}  # what they make together
_NOTHING = ("", "na", "nan", "null", "none")
_EMPTY = "Leave empty what is not known, and export it again."
Values = NDArray[np.float64]


def find_column(ground: pd.DataFrame, part: str, asked: str | None, source: str) -> str | None:
    """Find the column that holds a part of the soil, whatever the case of its name.

    The part is a key of KNOWN; `asked` is the column that a person names. It is None where nobody
    asked and no column has a known name.

    Raises
    ------
    LayerError
        When the column asked for is not there, or several could be meant.
    """
    names = names_of(ground)
    if asked in names:
        return asked
    wanted = KNOWN[part] if asked is None else (asked.lower(),)
    candidates = [name for name in names if name.lower() in wanted]
    if asked is not None and not candidates:
        raise LayerError(
            f'{source} has no column "{asked}" for {part}.\n'
            f"Its columns are: {named(names) or 'none'}.\n"
            "Name one of these.",
            code="column-missing",
            parameter=f"columns.{part}",
        )
    return only_one(candidates, part, source)


def only_one(candidates: Sequence[str], part: str, source: str) -> str | None:
    """Take the one column that could be a part of the soil; None where there is none.

    Raises
    ------
    LayerError
        When there are several.
    """
    if len(candidates) > 1:
        raise unclear(candidates, part, source)
    return candidates[0] if candidates else None


def unclear(candidates: Sequence[str], part: str, source: str) -> LayerError:
    """Make the error that several columns could be one part of the soil."""
    return LayerError(
        f"{source} has {len(candidates)} columns that could be {part}: {named(candidates)}.\n"
        "We won't guess which one is meant.\nName it.",
        code="column-unclear",
        parameter=f"columns.{part}",
        example=candidates[0],
    )


def names_of(ground: pd.DataFrame) -> list[str]:
    """Name the columns other than the shapes."""
    return [str(name) for name in ground.columns if name != "geometry"]


def written(cell: object) -> str:
    """Write a cell as a person would: nothing for unknown, 12 and not 12.0.

    >>> written(12.0), written(None), written(" north 40 ")
    ('12', '', 'north 40')
    """
    if isinstance(cell, str):
        return cell.strip()
    if cell is None or cell is pd.NA or cell is pd.NaT or cell != cell:  # noqa: PLR0124 (NaN)
        return ""
    return f"{cell:.15g}" if isinstance(cell, float) else str(cell).strip()


def texts(ground: pd.DataFrame, column: str | None) -> list[str | None]:
    """Read a column as text; `None` where there is nothing, or no such column."""
    if column is None:
        return [None] * len(ground)
    return [written(cell) or None for cell in ground[column]]


def numbers(frame: pd.DataFrame, column: str, source: str, each: str = "row") -> Values:
    """Read a column as numbers, NaN where a cell is empty.

    The frame is indexed by the numbers that messages tell; `each` is what one row is there.

    Raises
    ------
    LayerError
        When there is text among them.
    """
    cells = frame[column]
    plain = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=float)
    if (np.abs(plain) <= MOST_AMOUNT).all():  # as most are: then nobody needs to look closer
        return plain
    words = cells.astype(str).str.strip()
    empty = cells.isna() | words.str.lower().isin(_NOTHING)
    values = pd.to_numeric(words.mask(empty), errors="coerce").to_numpy(dtype=float)
    wrong = words[~empty & ~(np.abs(values) <= MOST_AMOUNT)]
    refuse(
        [f'{each} {row}: {column} is "{quoted(cell)}".' for row, cell in wrong.items()],
        f"In {column} we want numbers.\n{_EMPTY}",
        source,
    )
    return values


def amounts(
    frame: pd.DataFrame, column: str, source: str, each: str = "row", most: float = np.inf
) -> Values:
    """Read a column as numbers from 0 to the most that there can be; see `numbers`.

    Raises
    ------
    LayerError
        When there is text among them, or what cannot be.
    """
    values = numbers(frame, column, source, each)
    wrong = (values < 0) | (values > most)
    refuse(
        [
            f"{each} {row}: {column} is {value:g}."
            for row, value in zip(frame.index[wrong], values[wrong], strict=True)
        ],
        f"That cannot be; a code for no data would be weighed in.\n{_EMPTY}",
        source,
    )
    return values


def unit_of(total: Values) -> tuple[str, float]:
    """In which unit the parts of a soil are, and by how much of the whole they usually miss it.

    >>> unit_of(np.array([50.0, 150.0, np.nan]))
    ('percent', 0.0)
    """
    typical = float(np.nanmedian(total)) if np.isfinite(total).any() else 100.0
    off = {unit: abs(typical / whole - 1) for unit, whole in WHOLE.items()}
    unit = min(off, key=off.__getitem__)
    return unit, off[unit]


def fractions(
    parts: Mapping[str, Values], rows: pd.Index, source: str, each: str = "row"
) -> tuple[dict[str, Values], str, Values]:
    """Scale sand, silt and clay of each row to 1 together, whatever their unit.

    Returns
    -------
    tuple
        The fractions, NaN where not all three are known; the unit that their sum tells; and how
        far each sum was off. [%]

    Raises
    ------
    LayerError
        When some are far from the parts of one soil; it tells them by the numbers of their rows.
    """
    total = np.sum(list(parts.values()), axis=0)
    unit, _ = unit_of(total)
    whole = WHOLE[unit]
    off_pct = 100 * np.abs(total / whole - 1)
    faults = []
    for at in np.flatnonzero(off_pct > MOST_OFF_PCT).tolist():
        *first, last = (f"{part} {amount[at]:g}" for part, amount in parts.items())
        faults.append(f"{each} {rows[at]}: {', '.join(first)} and {last} add up to {total[at]:g}.")
    refuse(
        faults,
        f"The parts of one soil make {whole:g} ({unit}); these are not its parts, or "
        f"not its units.\n{_EMPTY}",
        source,
    )
    return {part: amount / total for part, amount in parts.items()}, unit, off_pct


def refuse(faults: Sequence[str], why: str, source: str) -> None:
    """Tell all faults of a file, and why we stopped and what to do; pass where there are none."""
    if faults:
        raise LayerError(f"{listed(source, faults)}\n{why}")
