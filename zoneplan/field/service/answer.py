"""The map of a field in pieces, joined with its tables into one answer for readers of surveys."""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from datetime import datetime

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from zoneplan.field.service.cover import areas_of
from zoneplan.field.service.queries import TABLE_COLUMNS
from zoneplan.field.service.replies import Cell
from zoneplan.field.survey.columns import ASKED_COLUMNS, VINTAGE_COLUMNS, Vintage

Row = tuple[Cell, ...]
_SLIVER_DEG = 1e-6  # about a decimetre: by so much the service's cut may differ from ours
_WRITTEN = 10  # decimals of a degree


@dataclass(frozen=True)
class Piece:
    """Ground of one map unit."""

    area: str
    mukey: str
    shape: MultiPolygon


@dataclass(frozen=True)
class SurveyAnswer:
    """What the survey says of one field: a file that every door reads."""

    name: str
    content: bytes  # one answer in JSON, as `read_survey` takes it
    vintages: tuple[Vintage, ...]
    polygons: int
    map_units: int
    asked: datetime  # when the oldest part of it was


def within(pieces: Sequence[Piece], outline: MultiPolygon) -> list[Piece]:
    """Cut pieces to an outline; what already lies in it stays as it came."""
    nearly = outline.buffer(_SLIVER_DEG)
    shapely.prepare(nearly)
    own = []
    near = shapely.intersects(nearly, [piece.shape for piece in pieces])
    for number in np.flatnonzero(near).tolist():
        piece = pieces[number]
        whole = nearly.covers(piece.shape)
        shape = piece.shape if whole else areas_of(piece.shape.intersection(outline))
        if shape.area:
            own.append(replace(piece, shape=shape))
    return own


def joined(
    pieces: Sequence[Piece],
    tables: Mapping[str, Sequence[Row]],
    editions: Mapping[str, Vintage],
    asked: datetime,
    host: str,
) -> SurveyAnswer:
    """Write each row of the tables once and each polygon once, side by side.

    Parameters
    ----------
    pieces : sequence of Piece
        The map.
    tables : mapping
        By map unit, rows of TABLE_COLUMNS; one at least.
    editions : mapping
        By survey area.
    asked, host : datetime, str
        When the service was asked, and which.
    """
    day = f"{asked:%Y-%m-%d}"
    areas = sorted({piece.area for piece in pieces})
    named = {area: replace(editions[area], asked=day, asked_of=host) for area in areas}
    by_unit: dict[str, list[Piece]] = defaultdict(list)
    for piece in pieces:
        by_unit[piece.mukey].append(piece)
    rows: list[Sequence[Cell]] = [(*TABLE_COLUMNS, "geom", *VINTAGE_COLUMNS[1:], *ASKED_COLUMNS)]
    for mukey in sorted(by_unit, key=int):
        shapes = [wkt_of(piece.shape) for piece in by_unit[mukey]]
        edition = astuple(named[by_unit[mukey][0].area])[1:]
        own = tables[mukey]
        for number in range(max(len(own), len(shapes))):
            shape = shapes[number] if number < len(shapes) else None
            rows.append((*own[min(number, len(own) - 1)], shape, *edition))
    content = json.dumps({"Table": rows}, separators=(",", ":")).replace("],[", "],\n[")
    return SurveyAnswer(
        name=f"soil survey {' '.join(areas)} {day}.json",
        content=content.encode(),
        vintages=tuple(named.values()),
        polygons=len(pieces),
        map_units=len(by_unit),
        asked=asked,
    )


def wkt_of(shape: MultiPolygon) -> str:
    """Write a shape as text."""
    return shapely.to_wkt(shape, rounding_precision=_WRITTEN, trim=True)
