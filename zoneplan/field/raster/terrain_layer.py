"""The lie of the land as marks: where water gathers, what is steep, how it slopes."""

from pathlib import Path

from zoneplan.field.raster.terrain import elevation_notes, read_elevation, terrain_ground
from zoneplan.field.shapes import Field, MarkLayer, Site
from zoneplan.progress import step


def read_terrain(path: Path | str, field: Field, crs: str | None = None) -> MarkLayer:
    """Read heights, and mark the ground by its slope and by where water gathers.

    Raises
    ------
    LayerError
        As `read_elevation` does.
    """
    step(f"Reading {Path(path).name}")
    heights = read_elevation(path, field, crs)
    step("Letting water run over the ground")
    ground = terrain_ground(heights, field)
    sites = [
        Site(slope_frac=slope, gathers_water=wet, steep=steep)
        for slope, wet, steep in zip(
            ground["slope_frac"].tolist(),
            ground["gathers_water"].tolist(),
            ground["steep"].tolist(),
            strict=True,
        )
    ]
    return MarkLayer(
        name=Path(path).stem,
        ground=ground[["geometry"]].assign(site=sites),
        notes=elevation_notes(path, heights, field, crs),
    )
