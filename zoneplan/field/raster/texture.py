"""Read rasters of sand, silt and clay, as people get them."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from zoneplan.errors import LayerError, listed, named
from zoneplan.field.columns import PARTS, WHOLE
from zoneplan.field.raster.amounts import fractions, organic_pct
from zoneplan.field.raster.grid import Band, Grid, bands_of, cell_m, field_shares, read_band
from zoneplan.field.raster.opening import Resampling, reproject
from zoneplan.field.raster.patches import grid_ground
from zoneplan.field.shapes import COARSE_RASTER, Field, SoilLayer
from zoneplan.notices import Notice, notice

COARSE_M = 30.0  # judged: cells as wide are of a country's map, not of this field's
# The words by which the description of a band or the name of a file says what it holds.
WORDS = {
    "clay": {"clay"},
    "sand": {"sand"},
    "silt": {"silt"},
    "organic": {"organic", "om", "som"},
    "carbon": {"carbon", "oc", "soc"},
}
# The same for the unit of organic matter; fractions of soils say theirs by their sum.
UNIT_WORDS = {
    "%": "percent",
    "pct": "percent",
    "percent": "percent",
    "kg/kg": "fraction",
    "g/kg": "g/kg",
    "g kg-1": "g/kg",
    "gkg": "g/kg",
    "dg/kg": "dg/kg",
    "dg kg-1": "dg/kg",
    "dgkg": "dg/kg",
}


def read_rasters(
    paths: Sequence[Path],
    field: Field,
    *,
    bands: Mapping[str, str] | None = None,
    unit: str | None = None,
    crs: str | None = None,
    least_patch_m2: float = 0.0,
) -> SoilLayer:
    """Read GeoTIFFs of at least two of sand, silt and clay, and organic matter if there is.

    Parameters
    ----------
    paths : sequence of Path
        One file with a band for each, or a file for each.
    field : Field
        Cells are read for this field, and their values weighed by what lies in it.
    bands : mapping, optional
        Which band holds what: a key of WORDS to the number of the band, or the name of the
        file, or both as "soil.tif:2". Else descriptions and file names say it.
    unit : str, optional
        percent, g/kg or fraction; else it is found from what the amounts add up to. Organic
        matter is in the unit that its file states, or in this one.
    crs : str, optional
        Coordinate system of files that state none.
    least_patch_m2 : float
        Smaller patches join the ground around them: see `grid_ground`. [m²]

    Raises
    ------
    LayerError
        When a file cannot be trusted or misses the field, or it is not clear what a band
        holds; when only one of sand, silt and clay is given; when the amounts cannot be
        those of a soil.

    Notes
    -----
    Where rasters have different cells, those of clay are taken, and of the others the areal
    mean over each: nothing is interpolated, so no value stands between two that were mapped.
    Where not all is known there is no ground, for the next layer to fill.
    """
    if unit is not None and unit not in WHOLE:
        raise LayerError(f"{unit} is no unit of sand, silt and clay. Use {', '.join(WHOLE)}.")
    part_bands, left_out = _part_bands(paths, bands)
    grid, laid = _read(part_bands, field, crs)
    shares = field_shares(grid, field)
    source = ", ".join(dict.fromkeys(band.path.name for band in part_bands.values()))
    amounts = {part: grid.values[part] for part in part_bands if part in PARTS}
    known, notes = fractions(amounts, shares, unit, source)
    values = {f"{part}_frac": fraction for part, fraction in known.items()}
    for part in part_bands.keys() - PARTS:
        stated = _organic_unit(part_bands[part], unit)
        values["organic_pct"], organic_notes = organic_pct(
            grid.values[part],
            shares,
            stated,
            carbon=part == "carbon",
            source=_name(part_bands[part]),
        )
        notes += organic_notes
    return SoilLayer(
        name=paths[0].stem if len(paths) == 1 else f"{paths[0].stem} and {len(paths) - 1} more",
        kind=COARSE_RASTER if cell_m(grid, field) >= COARSE_M else "raster",
        ground=grid_ground(replace(grid, values=values), field, least_patch_m2),
        notes=(*notes, *laid, *left_out),
    )


def is_part(path: Path) -> bool:
    """Whether a raster holds too little of a texture to be a layer by itself.

    Raises
    ------
    LayerError
        When it is no GeoTIFF.
    """
    could = _by_words(bands_of(path))
    return sum(bool(could[part]) for part in PARTS) < 2


def names_a_part(path: Path) -> bool:
    """Whether a raster says that it holds sand, silt, clay or organic matter.

    Raises
    ------
    LayerError
        When it is no GeoTIFF.
    """
    return any(_by_words(bands_of(path)).values())


def _part_bands(
    paths: Sequence[Path], asked: Mapping[str, str] | None
) -> tuple[dict[str, Band], list[Notice]]:
    """Find the band of each part, clay first, and note which bands are left out."""
    bands = [band for path in paths for band in bands_of(path)]
    could = _as_asked(bands, asked) if asked else _by_words(bands)
    faults = [
        f"{', '.join(map(_name, matches))} could each be {part}."
        for part, matches in could.items()
        if len(matches) > 1
    ]
    if asked:
        faults += [
            f'"{part}" is none of {", ".join(WORDS)}.' for part in asked if part not in WORDS
        ]
        faults += [
            f'There is no band "{asked[part]}" for {part}.'
            for part, matches in could.items()
            if not matches
        ]
    else:
        used = {band.path for value in could.values() for band in value}
        faults += [f"{path.name} does not say what it holds." for path in paths if path not in used]
    part_bands = {part: could[part][0] for part in WORDS if could.get(part)}
    if len(parts := [part for part in part_bands if part in PARTS]) < 2:
        present = f"only {parts[0]}" if parts else "none"
        faults.append(
            f"Of sand, silt and clay there is {present}: two are needed to know the third."
        )
    if {"organic", "carbon"} <= part_bands.keys():
        faults.append("Organic matter and carbon are both there: only one is wanted.")
    if faults:
        raise LayerError(
            listed(", ".join(path.name for path in paths), faults)
            + f"\nThe bands are {named(map(_name, bands))}. We won't guess what they hold."
            + "\nGive what is missing, or say which is which.",
            code="bands-unclear",
            parameter="bands",
            example="clay=FILE:NUMBER",
        )
    unused = [] if asked else [band for band in bands if band not in part_bands.values()]
    return part_bands, [notice("band-left-out", band=_name(band)) for band in unused]


def _as_asked(bands: Sequence[Band], asked: Mapping[str, str]) -> dict[str, list[Band]]:
    """Find bands as the user calls them: by file and number, or the one where that is clear."""
    one_file = len({band.path for band in bands}) == 1
    calls = {
        band: {
            f"{band.path.name}:{band.number}",
            band.path.name if band.alone else "",
            str(band.number) if one_file else "",
        }
        for band in bands
    }
    return {part: [band for band in bands if call in calls[band]] for part, call in asked.items()}


def _by_words(bands: Sequence[Band]) -> dict[str, list[Band]]:
    """Find bands by the words in their descriptions and names."""
    could = {
        part: [band for band in bands if words & _words(band.text)] for part, words in WORDS.items()
    }
    could["organic"] = [band for band in could["organic"] if band not in could["carbon"]]
    return could


def _words(text: str) -> set[str]:
    """Split at all but letters, and where a capital follows: "soil_ClayPct" is three words."""
    return {word.lower() for word in re.findall(r"[A-Z]*[a-z]+|[A-Z]+", text)}


def _name(band: Band) -> str:
    name = band.path.name if band.alone else f"{band.path.name}:{band.number}"
    return f"{name} ({band.text})" if band.text and not band.alone else name


def _organic_unit(band: Band, asked: str | None) -> str:
    """Find the unit of organic matter: its file's, then in its name, then as asked."""
    stated = [band.unit.strip().lower(), *sorted(_words(band.text))]
    unit = next((UNIT_WORDS[word] for word in stated if word in UNIT_WORDS), asked)
    if unit is None:
        raise LayerError(
            f"{_name(band)} holds organic matter, and does not say in which unit.\n"
            "Unlike sand, silt and clay, its values do not give it away.\n"
            "State it in the file or its name (soc_dgkg.tif), say which it is, or leave it out.",
            code="unit-unclear",
            parameter="raster_unit",
        )
    return unit


def _read(
    part_bands: Mapping[str, Band], field: Field, crs: str | None
) -> tuple[Grid, list[Notice]]:
    """Read all bands onto the cells of the first, and note which had others."""
    grids = {part: read_band(band, field, part, crs) for part, band in part_bands.items()}
    first, base = next(iter(grids.items()))
    values = {part: _on_cells(base, first, grid, part) for part, grid in grids.items()}
    notes = [
        notice("band-on-other-cells", part=part, first=first)
        for part, grid in grids.items()
        if values[part] is not grid.values[part]
    ]
    return replace(base, values=values), notes


def _on_cells(base: Grid, first: str, grid: Grid, part: str) -> NDArray[np.float64]:
    """Areal means over the cells of another grid, NaN where nothing is known of them.

    The values themselves where the cells are the same to a hundredth of their width.
    """
    values, shape = grid.values[part], base.values[first].shape
    off = np.abs(np.subtract(grid.transform[:6], base.transform[:6])).max()
    if grid.crs == base.crs and values.shape == shape and off <= abs(base.transform.a) / 100:
        return values
    means = np.full(shape, np.nan)
    reproject(
        values,
        means,
        src_transform=grid.transform,
        src_crs=grid.crs,
        src_nodata=np.nan,
        dst_transform=base.transform,
        dst_crs=base.crs,
        dst_nodata=np.nan,
        resampling=Resampling.average,
    )
    return means
