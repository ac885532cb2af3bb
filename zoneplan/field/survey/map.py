"""Read the map of a soil survey, whatever shape it comes in.

It comes out as a GeoDataFrame of polygons, with the columns mukey and areasymbol as text,
"" where the map does not say.
"""

from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

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
    layers: list[_Layer] = []
    for layer in sorted(_layers(parts, crs, bbox), key=lambda layer: _is_cut(layer.name)):
        symbols = set(layer.symbols)
        twice = sorted(symbols & owners.keys())
        if owners and ("" in symbols or (twice and not _is_cut(layer.name))):
            raise LayerError(
                f"{layer.name} and {', '.join(sorted(set(owners.values())))} may map the same "
                f"ground ({', '.join(twice) or 'no AREASYMBOL'}): more than one soil survey.\n"
                "We won't guess which one is meant.\n"
                "Take all but one away, or give each by itself."
            )
        if twice:
            whole = owners[twice[0]]
            notes.append(
                notice("survey-map-left-out", map=layer.name, other=whole, areas=tuple(twice))
            )
        layers.append(layer.without(twice))
        owners |= dict.fromkeys(symbols - owners.keys(), layer.name)
    return _side_by_side(layers), notes


class _Layer(NamedTuple):
    """One layer of a map."""

    name: str
    keys: list[str]
    symbols: list[str]
    shapes: NDArray[np.object_]
    crs: CRS

    def without(self, symbols: Collection[str]) -> "_Layer":
        """It without some survey areas."""
        if not symbols:
            return self
        rest = [at for at, symbol in enumerate(self.symbols) if symbol not in symbols]
        keys, areas = ([cells[at] for at in rest] for cells in (self.keys, self.symbols))
        return self._replace(keys=keys, symbols=areas, shapes=self.shapes[rest])


def _side_by_side(layers: Sequence[_Layer]) -> gpd.GeoDataFrame:
    """All layers as one, in the system of the first."""
    crs = layers[0].crs
    shapes = [
        layer.shapes
        if layer.crs == crs
        else gpd.GeoSeries(layer.shapes, crs=layer.crs).to_crs(crs).to_numpy()
        for layer in layers
    ]
    return gpd.GeoDataFrame(
        {
            "mukey": [key for layer in layers for key in layer.keys],
            "areasymbol": [symbol for layer in layers for symbol in layer.symbols],
        },
        geometry=np.concatenate(shapes),
        crs=crs,
    )


def _layers(parts: Sequence[Path], crs: str | None, bbox: Box | None) -> Iterator[_Layer]:
    for part in parts:
        if is_answer(part):
            yield _tidied(answer_map(read_answer(part), part.name), part.name, part.name)
            continue
        layers = map_layers(part)
        for layer in layers:
            frame = read_database_map(part, layer, crs, bbox)
            yield _tidied(frame, layer, f"{part.name} {layer}")
        if not layers:
            yield _tidied(read_areas(part, crs, MOST_CORNERS, bbox), part.name, part.name)


def _is_cut(name: str) -> bool:
    return Path(name).stem.lower() == _CUT


def _tidied(frame: gpd.GeoDataFrame, name: str, source: str) -> _Layer:
    """Keep the keys and the symbols, as text, whatever the case of their columns."""
    columns = {str(name).lower(): name for name in frame.columns}
    if "mukey" not in columns:
        raise LayerError(
            f"{source} has no column MUKEY, which ties its polygons to the tables.\n"
            f"Its columns are: {named(frame.columns)}.\n"
            "Download the survey area again, and keep its files as they come."
        )
    keys = [written(key) for key in frame[columns["mukey"]]]
    symbols = [""] * len(keys)
    if "areasymbol" in columns:
        symbols = [written(symbol) for symbol in frame[columns["areasymbol"]]]
    return _Layer(name, keys, symbols, frame.geometry.to_numpy(), frame.crs)
