"""Read the map of a soil survey, whatever shape it comes in.

It comes out as a GeoDataFrame of polygons, with the columns mukey and areasymbol as text,
"" where the map does not say.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd

from zoneplan.errors import LayerError, named
from zoneplan.field.crs import Box
from zoneplan.field.files import MOST_CORNERS, read_areas
from zoneplan.field.pick import written
from zoneplan.field.survey.answer import answer_map, is_answer, read_answer
from zoneplan.field.survey.database import read_database_map
from zoneplan.field.survey.parts import map_layers
from zoneplan.notices import Notice, notice

_CUT = "soilmu_a_aoi"  # how downloads name a map that is cut down to an area of interest


def read_map(
    parts: Sequence[Path], crs: str | None = None, bbox: Box | None = None
) -> tuple[gpd.GeoDataFrame, list[Notice]]:
    """Read the layers of a map, and lay them side by side.

    Where one layer holds a whole survey area and another a cut of it, the whole is taken.

    Parameters
    ----------
    parts : sequence of Path
        Shapefiles, databases and answers with polygons.
    crs : str, optional
        Coordinate system of layers that state none.
    bbox : tuple, optional
        Read only the polygons that reach into this box; of an answer all are read.

    Returns
    -------
    tuple
        The polygons, and notes on what was left out.

    Raises
    ------
    LayerError
        When a layer cannot be trusted, has no column MUKEY, or maps the same survey area
        as another.
    """
    notes: list[Notice] = []
    owners: dict[str, str] = {}
    frames: list[gpd.GeoDataFrame] = []
    for name, frame in sorted(_layers(parts, crs, bbox), key=lambda layer: _is_cut(layer[0])):
        symbols = set(frame["areasymbol"])
        twice = sorted(symbols & owners.keys())
        if owners and ("" in symbols or (twice and not _is_cut(name))):
            raise LayerError(
                f"{name} and {', '.join(sorted(set(owners.values())))} may map the same ground "
                f"({', '.join(twice) or 'no AREASYMBOL'}): more than one soil survey.\n"
                "We won't guess which one is meant.\n"
                "Take all but one away, or give each by itself."
            )
        if twice:
            whole = owners[twice[0]]
            notes.append(notice("survey-map-left-out", map=name, other=whole, areas=tuple(twice)))
        frames.append(frame[~frame["areasymbol"].isin(twice)].to_crs((frames or [frame])[0].crs))
        owners |= dict.fromkeys(symbols - owners.keys(), name)
    return pd.concat(frames, ignore_index=True), notes


def _layers(
    parts: Sequence[Path], crs: str | None, bbox: Box | None
) -> Iterator[tuple[str, gpd.GeoDataFrame]]:
    for part in parts:
        if is_answer(part):
            yield part.name, answer_map(read_answer(part), part.name)
            continue
        layers = map_layers(part)
        for layer in layers:
            yield layer, _tidied(read_database_map(part, layer, crs, bbox), f"{part.name} {layer}")
        if not layers:
            yield part.name, _tidied(read_areas(part, crs, MOST_CORNERS, bbox), part.name)


def _is_cut(name: str) -> bool:
    return Path(name).stem.lower() == _CUT


def _tidied(frame: gpd.GeoDataFrame, source: str) -> gpd.GeoDataFrame:
    """Keep the keys and the symbols, as text, whatever the case of their columns."""
    columns = {str(name).lower(): name for name in frame.columns}
    if "mukey" not in columns:
        raise LayerError(
            f"{source} has no column MUKEY, which ties its polygons to the tables.\n"
            f"Its columns are: {named(frame.columns)}.\n"
            "Download the survey area again, and keep its files as they come."
        )
    symbols = frame[columns["areasymbol"]].map(written) if "areasymbol" in columns else ""
    return gpd.GeoDataFrame(
        {"mukey": frame[columns["mukey"]].map(written), "areasymbol": symbols},
        geometry=frame.geometry,
        crs=frame.crs,
    )
