"""Zones as GeoJSON and as a zipped shapefile, both in WGS 84 degrees.

GeoJSON is ours to write: its rules are few, and a feature a line reads well in a diff.
No clock is read by either, so the same plan gives the same bytes.

Source
------
GeoJSON: RFC 7946. Shapefile: Esri, Shapefile Technical Description (July 1998).
"""

import io
import json
import math
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyogrio.raw import write
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from zoneplan.export.table import COUNT, NUMBER, TEXT, USUAL, YES, Column, Row, Value, columns, rows
from zoneplan.export.wgs84 import zone_shapes
from zoneplan.field.crs import WGS_84
from zoneplan.plan.model import Plan
from zoneplan.terms import Moisture

# A centimetre, in a file of text where every decimal costs a byte: RFC 7946, section 11.2, thinks
# six enough. Areas reckoned from it differ by what the rounding allows (`degrees.slack_m`); the
# column area_ha and plan.json have them as they were before.
GEOJSON_DECIMALS = 7
DECIMALS = 9  # in a file of binary numbers, where they cost nothing

# What a column is kept as on its way to GDAL, and what stands where it is masked.
_KEPT_AS: Mapping[str, tuple[Any, Value]] = {
    COUNT: (np.int64, 0),
    NUMBER: (np.float64, math.nan),
    YES: (np.bool_, False),
    TEXT: (object, None),
}
_MOST_TEXT_BYTES = 254  # in a dBASE table
_NO_DATE = (1980, 1, 1)  # the first day that a zip knows: no clock is read, so bytes repeat


def geojson_bytes(plan: Plan, moistures: Sequence[Moisture] = USUAL) -> bytes:
    """Write the zones as RFC 7946 GeoJSON, a feature a line, properties as in `table`."""
    features = [
        json.dumps(
            {
                "type": "Feature",
                "id": values["id"],
                "properties": values,
                "geometry": mapping(shape),
            },
            ensure_ascii=False,
            allow_nan=False,
        )
        for values, shape in zip(
            rows(plan, tuple(moistures)), zone_shapes(plan, GEOJSON_DECIMALS), strict=True
        )
    ]
    head = '{"type": "FeatureCollection", "features": [\n'
    return (head + ",\n".join(features) + "\n]}\n").encode("utf-8")


def shapefile_zip_bytes(plan: Plan, moistures: Sequence[Moisture] = USUAL) -> bytes:
    """Write the zones as a flat zip of zones.shp, .shx, .dbf, .prj and .cpg.

    Columns have the short names of `table`. Numbers that are unknown are nulls; texts are
    empty, and cut at a word where dBASE holds no more.
    """
    layout = columns(moistures)
    cut = [cut_texts(values) for values in rows(plan, tuple(moistures))]
    packed = io.BytesIO()
    with TemporaryDirectory() as scratch, zipfile.ZipFile(packed, "w") as archive:
        write_layer(
            Path(scratch) / "zones.shp",
            {column.short: column for column in layout},
            cut,
            zone_shapes(plan, DECIMALS),
            driver="ESRI Shapefile",
            DBF_DATE_LAST_UPDATE="-".join(f"{part:02d}" for part in _NO_DATE),
        )
        for path in sorted(Path(scratch).iterdir()):
            entry = zipfile.ZipInfo(path.name, (*_NO_DATE, 0, 0, 0))
            entry.create_system = 3  # Unix, wherever it is made
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, path.read_bytes(), zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def write_layer(
    path: Path,
    columns: Mapping[str, Column],
    rows: Sequence[Mapping[str, Value]],
    shapes: Sequence[BaseGeometry] | None = None,
    **how: Any,
) -> None:
    """Write rows as a layer of a file, by GDAL, whatever of them is unknown.

    Parameters
    ----------
    path : Path
        Where; a layer of another name is put beside those that are in the file already.
    columns : mapping of str to Column
        What each column is called there.
    rows : sequence of Row
        Their values, by the columns' own names.
    shapes : sequence of geometry, optional
        In WGS 84 degrees; a table has none.
    how : Any
        What else GDAL is told, such as `driver` and `layer`.
    """
    kinds = [column.dtype for column in columns.values()]
    values = [[row[column.name] for row in rows] for column in columns.values()]
    if shapes is not None:
        how |= {"crs": WGS_84, "geometry_type": "MultiPolygon", "promote_to_multi": True}
    write(
        path,
        None if shapes is None else shapely.to_wkb(shapes),
        [_kept(line, kind) for line, kind in zip(values, kinds, strict=True)],
        [*columns],
        field_mask=[np.array([value is None for value in line]) for line in values],
        encoding="utf-8",
        **how,
    )


def _kept(values: Sequence[Value], kind: str) -> NDArray[Any]:
    kept_as, blank = _KEPT_AS[kind]
    return np.array([blank if value is None else value for value in values], kept_as)


def cut_texts(values: Row) -> Row:
    """Cut a row's texts to what dBASE holds."""
    return {
        name: cut(value, _MOST_TEXT_BYTES) if isinstance(value, str) else value
        for name, value in values.items()
    }


def cut(text: str, most_bytes: int) -> str:
    """Shorten a text to so many bytes of UTF-8, at a word, never through a character.

    >>> cut("press lightly when wet", 16)
    'press lightly...'
    """
    whole = text.encode("utf-8")
    if len(whole) <= most_bytes:
        return text
    room = most_bytes - len("...")
    words, _, _ = whole[: room + 1].rpartition(b" ")
    return (words or whole[:room]).decode("utf-8", "ignore") + "..."
