"""Choose one area of several, and say what there is when the choice is not clear."""

import geopandas as gpd
import pandas as pd

from zoneplan.errors import LayerError, named
from zoneplan.field.crs import WGS_84, geodesic_area_ha

MOST_ROWS = 20
MOST_COLUMNS = 4


def pick_one(areas: gpd.GeoDataFrame, pick: str | None, source: str) -> int:
    """Find the number of the area that is meant.

    Parameters
    ----------
    areas : GeoDataFrame
        In WGS 84, indexed by their numbers.
    pick : str, optional
        A number, or "column=value" in any case.
    source : str
        The file, for messages.

    Raises
    ------
    LayerError
        When none or several are meant; it lists what there is.
    """
    matches = areas if pick is None else _matching(areas, pick, source)
    if len(matches) == 1:
        return int(matches.index[0])
    if pick is None:
        fault = f"{source} holds {len(areas)} areas, and a plan is for one field."
    elif len(matches) > 1:
        fault = f'{source} holds {len(matches)} areas with "{pick}", and a plan is for one field.'
    else:
        fault, matches = f'{source} holds no area with "{pick}".', areas
    number = matches.index[0]
    raise LayerError(
        f"{fault}\nThese are there:\n{_listing(matches)}\n"
        "Choose one by its number, or by a column and its value: column=value.",
        code="feature-unclear",
        parameter="pick",
        example=str(number),
    )


def _matching(areas: gpd.GeoDataFrame, pick: str, source: str) -> gpd.GeoDataFrame:
    column, equals, value = (part.strip() for part in pick.partition("="))
    if not equals:
        return areas[[str(number) == column for number in areas.index]]
    columns = [name for name in _columns(areas) if name.lower() == column.lower()]
    if not columns:
        raise LayerError(
            f'{source} has no column "{column}" to pick by.\n'
            f"Its columns are: {named(_columns(areas)) or 'none'}.\n"
            "Pick by one of these, or by number.",
            code="column-missing",
            parameter="pick",
        )
    return areas[[written(cell).lower() == value.lower() for cell in areas[columns[0]]]]


def _listing(areas: gpd.GeoDataFrame) -> str:
    columns = [name for name in _columns(areas) if len(set(map(written, areas[name]))) > 1]
    rows = []
    for number, area in areas.head(MOST_ROWS).iterrows():
        cells = [f"{name}={written(area[name])}" for name in columns if written(area[name])]
        hectares = geodesic_area_ha(area.geometry, WGS_84)
        rows.append(f"{number:>4}: {hectares:,.2f} ha  {', '.join(cells[:MOST_COLUMNS])}".rstrip())
    if len(areas) > MOST_ROWS:
        rows.append(f"  and {len(areas) - MOST_ROWS} more")
    return "\n".join(rows)


def _columns(areas: gpd.GeoDataFrame) -> list[str]:
    return [str(name) for name in areas.columns if name != "geometry"]


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
