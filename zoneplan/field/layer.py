"""Read a soil layer, whichever kind it is."""

from pathlib import Path

from zoneplan.field.polygons import read_polygons
from zoneplan.field.shapes import SoilLayer
from zoneplan.field.survey import is_survey, read_survey


def read_layer(
    path: Path | str,
    *,
    texture: str | None = None,
    sand: str | None = None,
    silt: str | None = None,
    clay: str | None = None,
    organic: str | None = None,
    crs: str | None = None,
) -> SoilLayer:
    """Read a soil-survey download, or any polygons that say a texture.

    The content decides. The columns are for polygons; a survey has its own dictionary.
    See `read_survey` and `read_polygons` for the rest.

    Raises
    ------
    LayerError
        When the layer cannot be trusted.
    """
    path = Path(path)
    if is_survey(path):
        return read_survey(path, crs)
    return read_polygons(
        path, texture=texture, sand=sand, silt=silt, clay=clay, organic=organic, crs=crs
    )
