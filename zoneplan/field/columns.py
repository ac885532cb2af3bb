"""Find the columns of a soil layer by name, and read them without filling anything in."""

from collections.abc import Sequence

import geopandas as gpd
import pandas as pd

from zoneplan.errors import LayerError, listed, named, quoted

KNOWN = {
    "texture": ("texture", "texture_class", "texcl", "textclass", "tex_class", "soil_texture"),
    "sand": ("sand", "sand_pct", "sand_frac", "sandtotal_r", "pct_sand", "sandpct"),
    "silt": ("silt", "silt_pct", "silt_frac", "silttotal_r", "pct_silt", "siltpct"),
    "clay": ("clay", "clay_pct", "clay_frac", "claytotal_r", "pct_clay", "claypct"),
    "organic": ("om", "om_pct", "om_r", "organic", "organic_pct", "organic_matter", "som"),
    "name": ("name", "soil", "soil_name", "musym", "label"),
}

MOST_AMOUNT = 1e9  # past this, nothing that is measured in soil; a code for no data, or a slip


def find_column(ground: gpd.GeoDataFrame, part: str, asked: str | None, source: str) -> str | None:
    """Find the column that holds a part of the soil, whatever the case of its name.

    Parameters
    ----------
    ground : GeoDataFrame
        The layer.
    part : str
        A key of KNOWN.
    asked : str, optional
        The column the user names.
    source : str
        The file, for messages.

    Returns
    -------
    str or None
        None where nobody asked and no column has a known name.

    Raises
    ------
    LayerError
        When the column asked for is not there, or several could be meant.
    """
    wanted = KNOWN[part] if asked is None else (asked.lower(),)
    candidates = [name for name in names_of(ground) if name.lower() in wanted]
    if asked is not None and not candidates:
        raise LayerError(
            f'{source} has no column "{asked}" for {part}.\n'
            f"Its columns are: {named(names_of(ground)) or 'none'}.\n"
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
        f"{source} has {len(candidates)} columns that could be {part}: {', '.join(candidates)}.\n"
        "We won't guess which one is meant.\nName it.",
        code="column-unclear",
        parameter=f"columns.{part}",
        example=candidates[0],
    )


def names_of(ground: gpd.GeoDataFrame) -> list[str]:
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


def texts(ground: gpd.GeoDataFrame, column: str | None) -> list[str | None]:
    """Read a column as text; `None` where there is nothing, or no such column."""
    if column is None:
        return [None] * len(ground)
    return [written(cell) or None for cell in ground[column]]


def numbers(ground: gpd.GeoDataFrame, column: str | None, source: str) -> list[float | None]:
    """Read a column as numbers; `None` where there is nothing, or no such column.

    Raises
    ------
    LayerError
        When there is something else than numbers from 0 up.
    """
    cells = texts(ground, column)
    faults = [
        f'feature {number}: {column} is "{quoted(cell)}".'
        for number, cell in enumerate(cells, start=1)
        if cell and not _is_amount(cell)
    ]
    if faults:
        raise LayerError(
            listed(source, faults)
            + f"\nIn {column} we want numbers from 0 up; a code for no data would be weighed in."
            + "\nLeave empty what is not known, and export the layer again."
        )
    return [float(cell) if cell else None for cell in cells]


def _is_amount(cell: str) -> bool:
    try:
        return 0 <= float(cell) <= MOST_AMOUNT
    except ValueError:
        return False
