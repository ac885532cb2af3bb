"""Read the map of a soil survey, whatever shape it comes in."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from zoneplan.errors import LayerError, named
from zoneplan.field.columns import names_of, written
from zoneplan.field.crs import Box, move
from zoneplan.field.files import MOST_CORNERS, read_areas
from zoneplan.field.survey.answer import answer_map, is_answer, read_answer
from zoneplan.field.survey.database import read_database_map
from zoneplan.field.survey.parts import map_layers
from zoneplan.notices import Notice, notice

_CUT = "soilmu_a_aoi"  # how downloads name a map that is cut down to an area of interest


class SurveyMap(NamedTuple):
    """Polygons side by side: of each its map unit and survey area, "" where nothing says it."""

    mukeys: list[str]
    symbols: list[str]
    shapes: NDArray[np.object_]
    crs: CRS

    def at(self, places: Sequence[int]) -> "SurveyMap":
        """Some of the polygons, by their places."""
        mukeys, symbols = ([cells[at] for at in places] for cells in (self.mukeys, self.symbols))
        return SurveyMap(mukeys, symbols, self.shapes[places], self.crs)

    def without(self, symbols: Collection[str]) -> "SurveyMap":
        """The polygons that are not of some survey areas."""
        if not symbols:
            return self
        return self.at([at for at, symbol in enumerate(self.symbols) if symbol not in symbols])


def read_map(
    parts: Sequence[Path], crs: str | None = None, bbox: Box | None = None
) -> tuple[SurveyMap, list[Notice]]:
    """Read the layers of a map, and lay them side by side, in the system of the first.

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
    layers: list[SurveyMap] = []
    for name, layer in sorted(_layers(parts, crs, bbox), key=lambda one: _is_cut(one[0])):
        symbols = set(layer.symbols)
        twice = sorted(symbols & owners.keys())
        if owners and ("" in symbols or (twice and not _is_cut(name))):
            raise LayerError(
                f"{name} and {', '.join(sorted(set(owners.values())))} may map the same "
                f"ground ({', '.join(twice) or 'no AREASYMBOL'}): more than one soil survey.\n"
                "We won't guess which one is meant.\n"
                "Take all but one away, or give each by itself."
            )
        if twice:
            whole = owners[twice[0]]
            notes.append(notice("survey-map-left-out", map=name, other=whole, areas=tuple(twice)))
        layers.append(layer.without(twice))
        owners |= dict.fromkeys(symbols - owners.keys(), name)
    return _side_by_side(layers), notes


def _side_by_side(layers: Sequence[SurveyMap]) -> SurveyMap:
    crs = layers[0].crs
    return SurveyMap(
        [key for layer in layers for key in layer.mukeys],
        [symbol for layer in layers for symbol in layer.symbols],
        np.concatenate(
            [one.shapes if one.crs == crs else move(one.shapes, one.crs, crs) for one in layers]
        ),
        crs,
    )


def _layers(
    parts: Sequence[Path], crs: str | None, bbox: Box | None
) -> Iterator[tuple[str, SurveyMap]]:
    """Each layer with its name."""
    for part in parts:
        if is_answer(part):
            yield (
                part.name,
                _tidied(*_taken_apart(answer_map(read_answer(part), part.name)), part.name),
            )
            continue
        layers = map_layers(part)
        for layer in layers:
            read = read_database_map(part, layer, crs, bbox)
            yield layer, _tidied(*read, f"{part.name} {layer}")
        if not layers:
            read = _taken_apart(read_areas(part, crs, MOST_CORNERS, bbox))
            yield part.name, _tidied(*read, part.name)


def _taken_apart(frame: gpd.GeoDataFrame) -> tuple[Mapping[str, Any], NDArray[np.object_], CRS]:
    columns = {str(name): frame[name].to_numpy() for name in names_of(frame)}
    return columns, frame.geometry.to_numpy(), frame.crs


def _is_cut(name: str) -> bool:
    return Path(name).stem.lower() == _CUT


def _tidied(
    columns: Mapping[str, Any], shapes: NDArray[np.object_], crs: CRS, source: str
) -> SurveyMap:
    """Keep the keys and the symbols, as text, whatever the case of their columns."""
    cells = {name.lower(): column for name, column in columns.items()}
    if "mukey" not in cells:
        raise LayerError(
            f"{source} has no column MUKEY, which ties its polygons to the tables.\n"
            f"Its columns are: {named(columns)}.\n"
            "Download the survey area again, and keep its files as they come."
        )
    blank = [""] * len(shapes)
    mukeys, symbols = (
        list(map(written, cells.get(name, blank))) for name in ("mukey", "areasymbol")
    )
    return SurveyMap(mukeys, symbols, shapes, crs)
