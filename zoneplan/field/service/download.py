"""Take what we ask the soil service for out of the download of a whole survey area."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from shapely.geometry import MultiPolygon

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.service.cover import areas_of
from zoneplan.field.service.queries import is_area
from zoneplan.field.survey.columns import Row, rows_by
from zoneplan.field.survey.map import read_map
from zoneplan.field.survey.parts import find_parts, opened
from zoneplan.field.survey.tables import check_numbers, read_tables
from zoneplan.plain_file import scratch

Cell = str | None


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


def area_pieces(home: Path) -> list[tuple[str, str, MultiPolygon]]:
    """Give the map of a download in WGS 84: survey area, map unit and shape.

    Raises
    ------
    LayerError
        When the map cannot be trusted.
    """
    ground, _ = read_map(find_parts(home).maps)
    shapes = move(ground.shapes, ground.crs, WGS_84)
    rows = zip(ground.symbols, ground.mukeys, shapes, strict=True)
    return [(area, mukey, areas_of(shape)) for area, mukey, shape in rows if shape is not None]


def area_rows(home: Path, columns: Sequence[str]) -> list[tuple[Cell, ...]]:
    """Join the tables of a download as the service joins them.

    Raises
    ------
    LayerError
        When a table is missing or damaged.
    """
    tables, _ = read_tables(find_parts(home).tables[0], home.name, (*columns, "lkey"))
    check_numbers(tables, home.name)
    symbols = {row.get("lkey"): row["areasymbol"] for row in tables.get("legend", [])}
    components, horizons, fragments = (
        rows_by(tables.get(table, []), key)
        for table, key in (("component", "mukey"), ("chorizon", "cokey"), ("chfrags", "chkey"))
    )
    nothing: list[Row] = [{}]
    rows = []
    for unit in tables["mapunit"]:
        area = symbols.get(unit.get("lkey")) or next(iter(symbols.values()), "")
        for part in components.get(unit["mukey"]) or nothing:
            for layer in horizons.get(part.get("cokey", ""), nothing):
                for kind in fragments.get(layer.get("chkey", ""), nothing):
                    cells = {**kind, **layer, **part, **unit, "areasymbol": area}
                    rows.append(tuple(cells.get(name) or None for name in columns))
    return rows
