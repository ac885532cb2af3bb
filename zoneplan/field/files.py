"""Open vector files as people send them, and refuse what cannot be trusted.

The reader underneath is lenient: it reads what is left of a cut-off file, takes the first
of several layers and goes on without a coordinate system. Here each of these is an error.
"""

import json
from pathlib import Path
from typing import Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError

from zoneplan.errors import LayerError, listed, named, quoted
from zoneplan.field.child import apart
from zoneplan.field.crs import Box, box_in, check_movable, known_crs
from zoneplan.field.file_type import kind_of
from zoneplan.field.opening import Vectors, layer_info, layers_of, read_vectors
from zoneplan.field.unpack import unpacked
from zoneplan.plain_file import check_regular, files_in, head_of, read_plain

# Beside the .shp itself: what GDAL would open of a shapefile, the first two of need.
_PARTS = (".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".idm", ".ind", ".cst", ".qpj")
_IN_FOLDERS = (".shp", ".geojson", ".gpkg", ".kml", ".gdb")
MOST_CORNERS = 20_000_000  # of a layer; the soils of a state have as many
MOST_DRAWN_CORNERS = 200_000  # of a boundary or of marks; ten times round a field at 10 cm
_AGAIN = "Export the layer again."


def read_shapes(
    path: Path,
    crs: str | None = None,
    most_corners: int = MOST_CORNERS,
    bbox: Box | None = None,
) -> dict[str, gpd.GeoDataFrame]:
    """Read every layer of a file, zip or folder that holds shapes, by its name.

    Parameters
    ----------
    path : Path
        Shapefile, GeoJSON, GeoPackage, KML or file geodatabase; a zip or a folder of these.
    crs : str, optional
        Coordinate system of layers that do not state one.
    most_corners : int
        Of all shapes of a layer together.
    bbox : tuple, optional
        Only what reaches into it is read.

    Returns
    -------
    dict
        Layers in the order they lie, without heights, each in a stated system.

    Raises
    ------
    LayerError
        When a file is damaged, incomplete, or not what its ending says; when a layer has
        more corners, or states no coordinate system and none is given; when there is no
        layer at all.
    """
    layers: dict[str, gpd.GeoDataFrame] = {}
    with unpacked(path) as home:
        files = [home]
        if kind_of(home) == "folder":
            files = [file for file in files_in(home) if file.suffix.lower() in _IN_FOLDERS]
        for file in files:
            for layer in _layers_in(file):
                name = layer if kind_of(file) in ("GeoPackage", "KML", "geodatabase") else file.stem
                if name in layers:
                    name = f"{file.name} {layer}"
                layers[name] = _read(file, layer, crs, most_corners, bbox)
    if not layers:
        raise LayerError(
            f"{path.name} holds no map layer.\n"
            f"We looked for files that end in {', '.join(_IN_FOLDERS)} and hold shapes.\n"
            "Export the layer again."
        )
    return layers


def read_one(
    path: Path,
    crs: str | None = None,
    most_corners: int = MOST_CORNERS,
    bbox: Box | None = None,
) -> gpd.GeoDataFrame:
    """Read a file that holds one layer; several are an error. See `read_shapes`."""
    layers = read_shapes(path, crs, most_corners, bbox)
    if len(layers) > 1:
        raise LayerError(
            f"{path.name} holds {len(layers)} layers: {named(layers)}.\n"
            "We won't guess which one is meant.\n"
            "Give the file of one layer, or export one by itself."
        )
    return next(iter(layers.values()))


def read_areas(
    path: Path,
    crs: str | None = None,
    most_corners: int = MOST_CORNERS,
    bbox: Box | None = None,
) -> gpd.GeoDataFrame:
    """Read the areas of a file that holds one layer of them, all or those that reach into a box.

    No features, and lines or points among them, are an error. See `read_shapes`.
    """
    frame = read_one(path, crs, most_corners, bbox)
    nowhere = frame.geometry.isna() | frame.geometry.is_empty
    frame = frame[~nowhere] if nowhere.any() else frame
    kinds = set(frame.geom_type)
    if (not kinds and bbox is None) or kinds - {"Polygon", "MultiPolygon"}:
        raise LayerError(
            f"{path.name} holds {' and '.join(sorted(kinds)) or 'no shapes at all'}.\n"
            "Only polygons say which ground is meant.\n"
            "Export the layer again, as polygons."
        )
    return frame


def frame_of(layer: Vectors, source: str) -> gpd.GeoDataFrame:
    """Lay a layer out as a frame, its shapes under "geometry", in the system that it states.

    Raises
    ------
    LayerError
        When a shape cannot be understood, or the coordinate system that is stated.
    """
    columns = {name: column for name, column in layer.columns.items() if name != "geometry"}
    try:
        return gpd.GeoDataFrame(
            pd.DataFrame(columns), geometry=shapes_of(layer, source), crs=layer.crs
        )
    except CRSError as fault:
        raise _not_understood(source, fault) from fault


def shapes_of(layer: Vectors, source: str) -> NDArray[np.object_]:
    """Give the shapes of a layer.

    Raises
    ------
    LayerError
        When one cannot be understood.
    """
    try:
        with np.errstate(invalid="ignore"):  # a coordinate that is no number is refused later
            return np.asarray(shapely.from_wkb(layer.shapes), dtype=object)
    except shapely.GEOSException as fault:
        raise _not_understood(source, fault) from fault


def _not_understood(source: str, fault: Exception) -> LayerError:
    return LayerError(
        f"{source} holds what cannot be understood: {quoted(fault)}.\nThe file is damaged. {_AGAIN}"
    )


def _layers_in(file: Path) -> list[str]:
    if kind_of(file) == "shapefile":
        _check_whole(file)
    if kind_of(file) == "GeoJSON":
        _check_legacy_crs(file)
    layers = apart(kind_of(file), _AGAIN, layers_of, file)
    return [name for name, has_shapes in layers if has_shapes]


def _read(
    file: Path, layer: str, crs: str | None, most_corners: int, bbox: Box | None
) -> gpd.GeoDataFrame:
    kind, window = kind_of(file), None
    if bbox is not None:
        stated = apart(kind, _AGAIN, layer_info, file, layer).crs
        try:
            window = box_in(CRS(stated) if stated else _crs_instead(file, crs), bbox)
        except CRSError:
            window = None  # all is read, and refused for it
    frame = frame_of(apart(kind, _AGAIN, read_vectors, file, layer, bbox=window), file.name)
    corners, feature = shapely.get_coordinates(frame.geometry.to_numpy(), return_index=True)
    if len(corners) > most_corners:
        raise LayerError(
            f"{file.name} has {len(corners):,} corners; we take {most_corners:,} of such a layer.\n"
            "No boundary or soil is known so finely, and to draw zones along them would take "
            f"hours.\nSimplify it to half a metre, or cut it to the field. {_AGAIN}"
        )
    astray = feature[~np.isfinite(corners).all(axis=1)]
    if len(astray):
        raise LayerError(
            f"{file.name}, feature {astray[0] + 1}: a coordinate is not a number.\n"
            "Its shape cannot be known. Export the layer again."
        )
    if frame.crs is None:
        frame = frame.set_crs(_crs_instead(file, crs))
    if not (frame.crs.is_geographic or frame.crs.is_projected):
        raise LayerError(
            f"{file.name} states a coordinate system that is not tied to the earth: "
            f"{frame.crs.name}.\n"
            "We cannot tell where the field lies.\n"
            "Export the layer again in degrees (EPSG:4326)."
        )
    check_movable(frame.crs, file.name)
    return frame


def _crs_instead(file: Path, crs: str | None) -> CRS:
    """Take the system the user names for a layer that states none."""
    if crs is not None:
        return known_crs(crs)
    cause = "it does not state one"
    if kind_of(file) == "shapefile":
        prj = _parts(file).get(".prj")
        cause = f"there is no {file.stem}.prj beside it"
        if prj:
            cause = f"{prj.name} beside it cannot be understood"
    raise LayerError(
        f"{file.name} has no coordinate system: {cause}.\n"
        "We won't guess one, because a wrong guess can put the zones in another field.\n"
        "Export the layer again with its coordinate system, or say what it is.",
        code="crs-missing",
        parameter="crs",
        example="EPSG:4326",
    )


def _check_whole(shp: Path) -> None:
    """Refuse a shapefile that lacks a part, or a part that is cut off; tell every one."""
    parts = _parts(shp)
    faults = [f"{shp.stem}{ending} is missing." for ending in _PARTS[:2] if ending not in parts]
    faults += _cut_off(shp, 2 * _number(shp, 24, 28, "big"))
    if table := parts.get(".dbf"):
        records = _number(table, 4, 8, "little")
        header, record = _number(table, 8, 10, "little"), _number(table, 10, 12, "little")
        faults += _cut_off(table, header + records * record)
    if not faults:
        return
    if ".prj" not in parts:
        faults.append(f"{shp.stem}.prj, which says the coordinate system, is missing.")
    raise LayerError(
        listed(shp.name, faults)
        + "\nA shapefile is several files of one name, and we need them whole."
        + f"\nCopy {shp.stem}.shp, .shx, .dbf and .prj again, together."
    )


def _parts(shp: Path) -> dict[str, Path]:
    """The files that make up a shapefile, by their endings in lower case; each a regular one."""
    beside = (path for path in shp.parent.iterdir() if path.stem == shp.stem)
    parts = {path.suffix.lower(): path for path in beside}
    for ending in _PARTS:
        if ending in parts:
            check_regular(parts[ending])
    return parts


def _cut_off(path: Path, stated: int) -> list[str]:
    size = check_regular(path)
    return [f"{path.name} is cut off at {size:,} of {stated:,} bytes."] if size < stated else []


def _number(path: Path, start: int, end: int, order: Literal["big", "little"]) -> int:
    return int.from_bytes(head_of(path, 32)[start:end], order)


def _check_legacy_crs(file: Path) -> None:
    """Refuse an old-style GeoJSON that names a system nobody knows, before it is opened.

    The reader would take degrees in its place without a word, or look for the system in a
    file that is named there.
    """
    data = read_plain(file)
    if b'"crs"' not in data and b"\\u00" not in data:  # nor written another way
        return
    stated = None
    try:
        stated = json.loads(data).get("crs")
        if stated is None:
            return
        known_crs(stated["properties"]["name"])
    except (LayerError, ValueError, RecursionError, TypeError, KeyError, AttributeError) as fault:
        raise LayerError(
            f"{file.name} names a coordinate system we do not know: {quoted(_named(stated))}.\n"
            "We won't guess one, because a wrong guess can put the zones in another field.\n"
            "Export the layer again in degrees (EPSG:4326), as GeoJSON should be."
        ) from fault


def _named(stated: object) -> object:
    """What an old-style GeoJSON calls its system, as far as it does."""
    inner = stated.get("properties") if isinstance(stated, dict) else None
    return inner.get("name", stated) if isinstance(inner, dict) else stated
