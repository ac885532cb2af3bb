"""What the soil service gives of fields: a map in pieces, and rows of tables, joined to answers.

Pieces and rows come from its replies, or out of the download of a whole survey area. Readers of
surveys take an answer as it is.
"""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import astuple, dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.service.ground import areas_of
from zoneplan.field.service.protocol import TABLE_COLUMNS, Cell, is_area
from zoneplan.field.survey.columns import ASKED_COLUMNS, VINTAGE_COLUMNS, Vintage, rows_by
from zoneplan.field.survey.parts import find_parts, opened, read_map
from zoneplan.field.survey.tables import check_numbers, read_tables
from zoneplan.plain_file import scratch

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

    Tables are rows of TABLE_COLUMNS by map unit, one at least; editions are by survey area. `asked`
    and `host` say when the service was asked, and which.
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


def download_path(area: str, day: str) -> str:
    """Where a survey area's download lies on the server.

    >>> download_path("IA073", "2025-09-04")
    '/DSD/Download/Cache/SSA/wss_SSA_IA073_%5B2025-09-04%5D.zip'
    """
    if not is_area(area) or not day.replace("-", "").isdecimal():
        raise LayerError(f"Survey area {area} has no day of refresh, so no download is known.")
    return f"/DSD/Download/Cache/SSA/wss_SSA_{area}_%5B{day}%5D.zip"


@contextmanager
def opened_download(content: bytes, name: str) -> Iterator[Path]:
    """Lend a download as a folder."""
    with scratch() as room:
        path = Path(room, name)
        path.write_bytes(content)
        with opened(path) as home:
            yield home


def area_pieces(home: Path) -> list[Piece]:
    """Give the map of a download in WGS 84.

    Raises
    ------
    LayerError
        When the map cannot be trusted.
    """
    ground, _ = read_map(find_parts(home).maps)
    shapes = move(ground.shapes, ground.crs, WGS_84)
    rows = zip(ground.symbols, ground.mukeys, shapes, strict=True)
    return [Piece(area, mukey, areas_of(shape)) for area, mukey, shape in rows if shape is not None]


def area_rows(home: Path) -> list[Row]:
    """Join the tables of a download as the service joins them.

    Raises
    ------
    LayerError
        When a table is missing or damaged.
    """
    tables, _ = read_tables(find_parts(home).tables[0], home.name, (*TABLE_COLUMNS, "lkey"))
    check_numbers(tables, home.name)
    symbols = {row.get("lkey"): row["areasymbol"] for row in tables.get("legend", [])}
    components, horizons, fragments = (
        rows_by(tables.get(table, []), key)
        for table, key in (("component", "mukey"), ("chorizon", "cokey"), ("chfrags", "chkey"))
    )
    nothing: list[Mapping[str, str]] = [{}]
    rows = []
    for unit in tables["mapunit"]:
        area = symbols.get(unit.get("lkey")) or next(iter(symbols.values()), "")
        for part in components.get(unit["mukey"]) or nothing:
            for layer in horizons.get(part.get("cokey", ""), nothing):
                for kind in fragments.get(layer.get("chkey", ""), nothing):
                    cells = {**kind, **layer, **part, **unit, "areasymbol": area}
                    rows.append(tuple(cells.get(name) or None for name in TABLE_COLUMNS))
    return rows
