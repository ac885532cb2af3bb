"""Read any polygon layer that says a texture class, or sand, silt and clay."""

from collections.abc import Mapping, Set
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from zoneplan.errors import LayerError, named
from zoneplan.field.columns import (
    PARTS,
    WORTH_SAYING_PCT,
    Values,
    amounts,
    find_column,
    fractions,
    names_of,
    texts,
)
from zoneplan.field.files import read_areas
from zoneplan.field.shapes import SoilLayer
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import (
    TEXTURES,
    SoilFacts,
    is_organic,
    names_organic,
    texture_class,
    texture_name,
)

_Three = tuple[float, float, float]


def read_polygons(path: Path, columns: Mapping[str, str], crs: str | None = None) -> SoilLayer:
    """Read a polygon layer of soils.

    Parameters
    ----------
    path : Path
        Shapefile, GeoJSON, GeoPackage or KML; a zip or a folder of one.
    columns : mapping
        Columns to take for texture, sand, silt, clay and organic; else they are found by name.
        Sand, silt and clay in percent, fractions or g/kg, told apart by what they add up to;
        organic matter in percent.
    crs : str, optional
        Coordinate system, if the file states none.

    Returns
    -------
    SoilLayer
        Where a polygon has sand, silt and clay, they say the texture; else its class
        does; else it has no data. A word for peat or muck, or as much organic matter as
        they have, makes it organic ground.

    Raises
    ------
    LayerError
        When the columns are not there or not clear, when a texture is unknown, or when
        sand, silt and clay are far from the parts of one soil.
    """
    ground = read_areas(path, crs)
    rows = ground.set_axis(range(1, len(ground) + 1))
    column_of = {
        part: find_column(rows, part, columns.get(part), path.name)
        for part in ("texture", *PARTS, "organic", "name")
    }
    if column_of["texture"] is None and not all(column_of[part] for part in PARTS):
        raise _says_nothing(ground, path.name)

    def known(part: str, most: float = np.inf) -> Values:
        column = column_of[part]
        if column is None:
            return np.full(len(rows), np.nan)
        return amounts(rows, column, path.name, "feature", most)

    parts, notes = _fractions({part: known(part) for part in PARTS}, rows.index, path.name)
    words, names = texts(rows, column_of["texture"]), texts(rows, column_of["name"])
    organics = [None if np.isnan(pct) else pct for pct in known("organic", 100.0).tolist()]
    kinds = [_kind(word, pct) for word, pct in zip(words, organics, strict=True)]
    classes = _classes(
        {word for word, kind in zip(words, kinds, strict=True) if word and not kind}, path.name
    )
    facts = [
        SoilFacts(ground=kind, organic_pct=organic, named=name)
        if kind
        else _facts(three, classes.get(word), organic, name)
        for kind, three, word, organic, name in zip(
            kinds, parts, words, organics, names, strict=True
        )
    ]
    unknown = sum(fact.ground == "no data" for fact in facts)
    if unknown:
        notes.append(notice("polygons-without-texture", without=unknown, polygons=len(facts)))
    return SoilLayer(
        name=path.stem,
        kind="polygons",
        ground=ground.assign(facts=facts)[["facts", "geometry"]],
        notes=tuple(notes),
    )


def _fractions(
    parts: Mapping[str, Values], rows: pd.Index, source: str
) -> tuple[list[_Three | None], list[Notice]]:
    """Sand, silt and clay of each polygon, 1 together, and notes on what was done.

    All three or nothing: a missing one is not what the others leave.
    """
    scaled, unit, off_pct = fractions(parts, rows, source, "feature")
    known = ~np.isnan(off_pct)
    if not known.any():
        return [None] * len(rows), []
    notes = [notice("texture-unit", parts=PARTS, unit=unit)]
    if off := int(np.count_nonzero(off_pct > WORTH_SAYING_PCT)):
        most_pct = float(np.nanmax(off_pct))
        notes.append(notice("polygons-scaled", scaled=off, polygons=len(rows), off_pct=most_pct))
    three = zip(*(scaled[part].tolist() for part in PARTS), strict=True)
    return [row if there else None for row, there in zip(three, known, strict=True)], notes


def _kind(word: str | None, organic_pct: float | None) -> str | None:
    """What kind of ground it is that has no mineral texture; None where it may have one."""
    if is_organic(organic_pct):
        return "organic"
    if word is None or texture_name(word) is not None:
        return None
    if word.strip().lower() == "water":
        return "water"
    return "organic" if names_organic(word) else None


def _classes(words: Set[str], source: str) -> dict[str | None, str]:
    """Read texture words into USDA classes."""
    classes: dict[str | None, str] = {}
    unknown = []
    for word in sorted(words):
        if texture := texture_name(word):
            classes[word] = texture
        else:
            unknown.append(word)
    if unknown:
        raise LayerError(
            f"{source} has textures we do not know, {len(unknown)}: "
            f"{named(unknown)}.\n"
            "A class read wrongly would be planned wrongly.\n"
            f"Write USDA classes or their codes: {', '.join(TEXTURES)}; leave empty what has none."
        )
    return classes


def _facts(
    three: _Three | None, texture: str | None, organic: float | None, name: str | None
) -> SoilFacts:
    if three is None and texture is None:
        return SoilFacts(ground="no data", organic_pct=organic, named=name)
    sand, silt, clay = three or (None, None, None)
    return SoilFacts(
        texture=texture_class(*three) if three else texture,
        sand_frac=sand,
        silt_frac=silt,
        clay_frac=clay,
        organic_pct=organic,
        rated_share=1.0,
        named=name,
    )


def _says_nothing(ground: gpd.GeoDataFrame, source: str) -> LayerError:
    names = names_of(ground)
    advice = "Name the column of texture classes, or those of sand, silt and clay."
    parts: tuple[str, ...] = ("texture", "sand", "silt", "clay")
    if "mukey" in map(str.lower, names):
        advice = (
            "It looks like the map of a soil survey: give the folder or zip that holds both "
            "spatial and tabular."
        )
        parts = ()
    return LayerError(
        f"{source} has no column of texture classes, and not all of sand, silt and clay.\n"
        f"Its columns are: {named(names) or 'none'}. We won't guess what they hold.\n{advice}",
        code="columns-missing",
        parameter=tuple(f"columns.{part}" for part in parts),
    )
