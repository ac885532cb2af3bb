"""Read any polygon layer that says a texture class, or sand, silt and clay."""

from pathlib import Path
from statistics import median

import geopandas as gpd

from zoneplan.errors import LayerError, listed, named
from zoneplan.field.columns import find_column, names_of, numbers, texts
from zoneplan.field.files import read_areas
from zoneplan.field.shapes import SoilLayer
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import (
    MOST_OFF_PCT,
    TEXTURES,
    SoilFacts,
    is_organic,
    names_organic,
    texture_class,
    texture_name,
)

_WORTH_SAYING_PCT = 0.1  # nearer to 100 than this, it is rounding
_Three = tuple[float, float, float]


def read_polygons(
    path: Path | str,
    *,
    texture: str | None = None,
    sand: str | None = None,
    silt: str | None = None,
    clay: str | None = None,
    organic: str | None = None,
    crs: str | None = None,
) -> SoilLayer:
    """Read a polygon layer of soils.

    Parameters
    ----------
    path : Path or str
        Shapefile, GeoJSON, GeoPackage or KML; a zip or a folder of one.
    texture, sand, silt, clay, organic : str, optional
        Columns to take; else they are found by name. Sand, silt and clay in percent or
        fractions, told apart by what they add up to; organic matter in percent.
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
    path = Path(path)
    ground = read_areas(path, crs)
    asked = {"texture": texture, "sand": sand, "silt": silt, "clay": clay, "organic": organic}
    columns = {part: find_column(ground, part, column, path.name) for part, column in asked.items()}
    if columns["texture"] is None and None in (columns["sand"], columns["silt"], columns["clay"]):
        raise _says_nothing(ground, path.name)

    amounts = [numbers(ground, columns[part], path.name) for part in ("sand", "silt", "clay")]
    fractions, notes = _fractions(list(map(_three, *amounts)), path.name)
    words = texts(ground, columns["texture"])
    organics = numbers(ground, columns["organic"], path.name)
    kinds = [_kind(word, humus) for word, humus in zip(words, organics, strict=True)]
    classes = _classes(
        [None if kind else word for kind, word in zip(kinds, words, strict=True)], path.name
    )
    names = texts(ground, find_column(ground, "name", None, path.name))
    facts = [
        SoilFacts(ground=kind, organic_pct=organic, named=name)
        if kind
        else _facts(fraction, texture, organic, name)
        for kind, fraction, texture, organic, name in zip(
            kinds, fractions, classes, organics, names, strict=True
        )
    ]
    unknown = sum(known.ground == "no data" for known in facts)
    if unknown:
        notes.append(notice("polygons-without-texture", without=unknown, polygons=len(facts)))
    return SoilLayer(
        name=path.stem,
        kind="polygons",
        ground=ground.assign(facts=facts)[["facts", "geometry"]],
        notes=tuple(notes),
    )


def _kind(word: str | None, organic_pct: float | None) -> str | None:
    """What kind of ground it is that has no mineral texture; None where it may have one."""
    if is_organic(organic_pct):
        return "organic"
    if word is None or texture_name(word) is not None:
        return None
    if word.strip().lower() == "water":
        return "water"
    return "organic" if names_organic(word) else None


def _facts(
    fractions: _Three | None, texture: str | None, organic: float | None, name: str | None
) -> SoilFacts:
    if fractions is None and texture is None:
        return SoilFacts(ground="no data", organic_pct=organic, named=name)
    sand, silt, clay = fractions or (None, None, None)
    return SoilFacts(
        texture=texture_class(*fractions) if fractions else texture,
        sand_frac=sand,
        silt_frac=silt,
        clay_frac=clay,
        organic_pct=organic,
        rated_share=1.0,
        named=name,
    )


def _three(sand: float | None, silt: float | None, clay: float | None) -> _Three | None:
    """All three or nothing: a missing one is not what the others leave."""
    return None if sand is None or silt is None or clay is None else (sand, silt, clay)


def _fractions(rows: list[_Three | None], source: str) -> tuple[list[_Three | None], list[Notice]]:
    """Scale each sand, silt and clay to 1 together, and note what was done."""
    totals = [sum(row) for row in rows if row]
    if not totals:
        return rows, []
    whole, unit = (100.0, "percent") if median(totals) > 2 else (1.0, "fraction")
    off_pct = [abs(100 * sum(row) / whole - 100) if row else 0.0 for row in rows]
    faults = [
        f"feature {number}: sand {row[0]:g}, silt {row[1]:g} and clay {row[2]:g} "
        f"add up to {sum(row):g}."
        for number, (row, off) in enumerate(zip(rows, off_pct, strict=True), start=1)
        if row and off > MOST_OFF_PCT
    ]
    if faults:
        raise LayerError(
            listed(source, faults)
            + f"\nThe parts of one soil make {whole:g}; these are not its parts, or not its units."
            + "\nCheck the columns, leave empty what is not known, and export the layer again."
        )
    notes = [notice("texture-unit", parts=("sand", "silt", "clay"), unit=unit)]
    scaled = sum(off > _WORTH_SAYING_PCT for off in off_pct)
    if scaled:
        notes.append(
            notice("polygons-scaled", scaled=scaled, polygons=len(rows), off_pct=max(off_pct))
        )
    return [
        (row[0] / sum(row), row[1] / sum(row), row[2] / sum(row)) if row else None for row in rows
    ], notes


def _classes(words: list[str | None], source: str) -> list[str | None]:
    """Read texture words into USDA classes."""
    classes = {word: texture_name(word) for word in words if word}
    unknown = sorted(word for word, texture in classes.items() if texture is None)
    if unknown:
        raise LayerError(
            f"{source} has textures we do not know, {len(unknown)}: "
            f"{named(unknown)}.\n"
            "A class read wrongly would be planned wrongly.\n"
            f"Write USDA classes or their codes: {', '.join(TEXTURES)}; leave empty what has none."
        )
    return [classes[word] if word else None for word in words]


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
