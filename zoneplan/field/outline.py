"""Read the boundary of one field: the area of a file that is meant, if it can be trusted."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.errors import LayerError, named
from zoneplan.field.columns import names_of, written
from zoneplan.field.crs import WGS_84, geodesic_area_ha, local_crs, move
from zoneplan.field.files import MOST_DRAWN_CORNERS, read_shapes
from zoneplan.field.shapes import Field, repaired
from zoneplan.notices import Notice, notice

LEAST_HA = 0.01  # ten metres square: less is no field
MOST_HA = 10_000.0  # ten kilometres square: more is no one field
_MOST_ROWS, _MOST_COLUMNS = 20, 4  # that are listed, of the areas of a file
UNNAMED = "field without a name"  # whose name has no letter that can be printed
_NAMES = ("name", "field", "field_name", "fieldname", "field name", "label")


def read_field(
    path: Path, pick: str | None = None, crs: str | None = None, name: str | None = None
) -> Field:
    """Read the boundary of one field.

    Parameters
    ----------
    path : Path
        Shapefile, GeoJSON, GeoPackage, KML or file geodatabase; a zip or a folder of these.
    pick : str, optional
        Which feature, where there are several: its number from 1, or "column=value".
    crs : str, optional
        Coordinate system of files that do not state one.
    name : str, optional
        What to call the field. Else its name in the file, else the file's name.

    Raises
    ------
    LayerError
        When the file cannot be trusted, holds no area, or holds several and `pick` does
        not choose one; else as `field_of` does.
    """
    areas, notes = read_outlines(path, crs)
    number = _picked(areas, pick, path.name)
    chosen = areas.loc[number]
    own = path.stem if len(areas) == 1 else f"{path.stem} {number}"
    return field_of(chosen.geometry, name or name_in(chosen) or own, path.name, notes)


def field_of(
    shape: Polygon | MultiPolygon, name: str, source: str, notes: Sequence[Notice] = ()
) -> Field:
    """Make a field of an outline in WGS 84 degrees, longitude first.

    `source` is where the outline comes from, and `notes` what is to be known of it already.

    Raises
    ------
    LayerError
        When the outline crosses itself and a repair would change its area; when it lies nowhere
        on earth, or its area is not that of a field.
    """
    _check_degrees(shape, source)
    metric = local_crs(shape)
    outline, repair = repaired(move(shape, WGS_84, metric), metric, "boundary")
    area_ha = geodesic_area_ha(outline, metric)
    if not LEAST_HA <= area_ha <= MOST_HA:
        raise LayerError(
            f"{source}: the boundary comes to {area_ha:,.4g} ha, which is no field "
            f"({LEAST_HA:g} to {MOST_HA:,.0f} ha).\n"
            "Its coordinate system may be misstated, or the wrong layer was given.\n"
            "Check both, and export the boundary again."
        )
    return Field(
        name=name if any(map(str.isprintable, "".join(name.split()))) else UNNAMED,
        shape=outline,
        crs=metric,
        area_ha=area_ha,
        notes=(*notes, *([repair] if repair else [])),
    )


def read_outlines(
    path: Path, crs: str | None = None, most_corners: int = MOST_DRAWN_CORNERS
) -> tuple[gpd.GeoDataFrame, list[Notice]]:
    """Read all areas of a file in WGS 84, numbered from 1 as they lie, and say what else there was.

    Raises
    ------
    LayerError
        When the file cannot be trusted, or holds no area.
    """
    layers = read_shapes(path, crs, most_corners)
    frames = [frame.to_crs(WGS_84) for frame in layers.values()]
    if len(layers) > 1:
        frames = [
            frame.assign(layer=name)[["layer", *frame.columns.drop("layer", errors="ignore")]]
            for frame, name in zip(frames, layers, strict=True)
        ]
    features = gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=WGS_84)
    features.index += 1
    is_area = [
        isinstance(shape, Polygon | MultiPolygon) and not shape.is_empty
        for shape in features.geometry
    ]
    others = Counter(
        "empty" if shape is None or shape.is_empty else shape.geom_type
        for shape in features.geometry[[not yes for yes in is_area]]
    )
    counted = tuple(f"{count} {kind}" for kind, count in others.items())
    if not any(is_area):
        raise LayerError(
            f"{path.name} holds no area: {', '.join(counted) or 'it has no features'}.\n"
            "A boundary is a polygon; a line or a point encloses no ground.\n"
            "Export the field's outline as a polygon."
        )
    left_out = [notice("no-areas-left-out", file=path.name, others=counted)] if counted else []
    return features[is_area], left_out


def _picked(areas: gpd.GeoDataFrame, pick: str | None, source: str) -> int:
    """Find the number of the area that is meant; an error lists what there is."""
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
    names = names_of(areas)
    alike = [name for name in names if name.lower() == column.lower()]
    if not alike:
        raise LayerError(
            f'{source} has no column "{column}" to pick by.\n'
            f"Its columns are: {named(names) or 'none'}.\n"
            "Pick by one of these, or by number.",
            code="column-missing",
            parameter="pick",
        )
    cells = areas[column if column in names else alike[0]]
    return areas[[written(cell).lower() == value.lower() for cell in cells]]


def _listing(areas: gpd.GeoDataFrame) -> str:
    columns = [name for name in names_of(areas) if len(set(map(written, areas[name]))) > 1]
    rows = []
    for number, area in areas.head(_MOST_ROWS).iterrows():
        cells = [f"{name}={written(area[name])}" for name in columns if written(area[name])]
        hectares = geodesic_area_ha(area.geometry, WGS_84)
        rows.append(f"{number:>4}: {hectares:,.2f} ha  {', '.join(cells[:_MOST_COLUMNS])}".rstrip())
    if len(areas) > _MOST_ROWS:
        rows.append(f"  and {len(areas) - _MOST_ROWS} more")
    return "\n".join(rows)


def _check_degrees(shape: Polygon | MultiPolygon, source: str) -> None:
    west, south, east, north = shape.bounds
    extent = f"longitude {west:.6g} to {east:.6g}, latitude {south:.6g} to {north:.6g}"
    if max(abs(south), abs(north)) > 90 and max(map(abs, shape.bounds)) <= 180:
        raise LayerError(
            f"{source}: latitude runs past 90 degrees ({extent}).\n"
            "Latitude and longitude look swapped; we won't swap them back unasked.\n"
            "Export the boundary again with longitude first."
        )
    if not max(map(abs, shape.bounds)) <= 180:
        raise LayerError(
            f"{source}: these are no degrees ({extent}).\n"
            "They look like metres or feet in a file that says degrees.\n"
            "Export the boundary again in degrees, or correct its coordinate system.",
            code="no-degrees",
            parameter="crs",
        )
    if east - west > 180:
        raise LayerError(
            f"{source}: the boundary runs round the world ({extent}).\n"
            "We do not handle ground across the 180th meridian.\n"
            "Cut the boundary there, and plan each side by itself."
        )


def name_in(feature: pd.Series) -> str | None:
    """Find what the file itself calls the field."""
    for column in feature.index:
        if str(column).lower() in _NAMES and written(feature[column]):
            return written(feature[column])
    return None
