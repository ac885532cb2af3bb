"""The one door for layers: whatever people own, read as soil or as marks.

Points and rasters take libraries that are slow to load; their readers are imported when such a
file comes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from zoneplan.errors import LayerError
from zoneplan.field.columns import TABLES
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.file_type import is_tiff
from zoneplan.field.files import read_shapes
from zoneplan.field.polygons import read_polygons
from zoneplan.field.shapes import COARSE_RASTER, Field, MarkLayer, SoilLayer
from zoneplan.field.survey.parts import is_survey
from zoneplan.field.survey.read import Survey, read_survey
from zoneplan.plain_file import is_file, is_folder
from zoneplan.progress import step

AROUND_DEG = 0.002  # of a survey, what is within about 200 m of the field is read
# From the fittest: what was measured on this field, what was mapped, what was modelled from afar.
FITNESS = {
    **{"samples": 1, "conductivity through samples": 1},
    **{"polygons": 2, "soil survey": 2, "raster": 2},
    COARSE_RASTER: 3,
}

Shared = Survey | SoilLayer  # opened once for many fields


@dataclass(frozen=True)
class ReadOptions:
    """What a person says of files that do not say it themselves."""

    crs: str | None = None  # of files that state none
    # For texture, sand, silt, clay, organic, conductivity, x and y: the column that has it.
    columns: Mapping[str, str] = field(default_factory=dict)
    bands: Mapping[str, str] | None = None  # see `read_rasters`
    raster_unit: str | None = None
    least_patch_m2: float = 0.0  # of rasters: what the planter can follow
    samples: Path | None = None  # texture samples to read a conductivity log by
    first: Path | None = None  # wins over all others, such as what a person drew
    as_given: bool = False  # layers win in their order, whatever they are fit for
    known: Mapping[Path, "Shared"] = field(default_factory=dict)  # from `shared_layer`


DEFAULT_OPTIONS = ReadOptions()


def read_layer(
    path: Path, ground: Field | None = None, options: ReadOptions = DEFAULT_OPTIONS
) -> SoilLayer | MarkLayer:
    """Read one layer. The content decides what it is.

    Parameters
    ----------
    path : Path
        A soil survey in any shape (`read_survey`); a GeoTIFF, or a folder of them
        (`read_rasters`, `read_conductivity_raster`); points in a table or a map
        (`read_point_layer`); or polygons that say a texture (`read_polygons`).
    ground : Field, optional
        The field that the layer is for. Rasters and points are read for one field; of a
        state's survey only what lies about it is read.
    options : ReadOptions
        What the files do not say.

    Returns
    -------
    SoilLayer or MarkLayer
        Marks where points only draw edges.

    Raises
    ------
    LayerError
        When the layer cannot be trusted.
    """
    if known := options.known.get(path):
        return known if isinstance(known, SoilLayer) else known.around(_around(_needed(ground)))
    if is_survey(path):
        return read_survey(path, options.crs, bbox=_around(ground) if ground else None)
    rasters = _rasters(path)
    if len(rasters) == 1 and _conducts(path, options):
        from zoneplan.field.points.conductivity import read_conductivity_raster

        return read_conductivity_raster(path, _needed(ground), options.samples, options.crs)
    if rasters:
        return _texture(rasters, _needed(ground), options)
    if _holds_points(path, options):
        from zoneplan.field.points.conductivity import read_point_layer

        return read_point_layer(
            path, _needed(ground), options.samples, options.columns, options.crs
        )
    return read_polygons(path, options.columns, options.crs)


def shared_layer(path: Path, options: ReadOptions = DEFAULT_OPTIONS) -> Shared | None:
    """Open a layer once for many fields; None where each field reads its own part of it.

    A survey is asked for what is about a field, and polygons are the same for all. Rasters and
    points are read for one field.

    Raises
    ------
    LayerError
        When the layer cannot be trusted.
    """
    if is_survey(path):
        return Survey(path, options.crs, hold=True)
    if _rasters(path) or _holds_points(path, options):
        return None
    layer = read_layer(path, options=options)
    return layer if isinstance(layer, SoilLayer) else None


def read_layers(
    paths: Sequence[Path], ground: Field, options: ReadOptions = DEFAULT_OPTIONS
) -> tuple[list[SoilLayer], list[MarkLayer]]:
    """Read layers, the fittest first, and tell soil from marks.

    Layers as fit as each other stay in their order. Rasters of sand, silt and clay that come one
    by one are one layer.

    Raises
    ------
    LayerError
        When a layer cannot be trusted, none says what soil lies there, or samples have no log.
    """
    ranked: list[tuple[int, SoilLayer]] = []
    edges: list[MarkLayer] = []
    for files in _together(paths, options):
        step("Reading", " and ".join(file.name for file in files))
        several = len(files) > 1
        layer = (
            _texture(files, ground, options) if several else read_layer(files[0], ground, options)
        )
        if isinstance(layer, MarkLayer):
            edges.append(layer)
        elif options.as_given or options.first in files:
            ranked.append((0, layer))
        else:
            ranked.append((FITNESS[layer.kind], layer))
    soils = [layer for _, layer in sorted(ranked, key=lambda pair: pair[0])]
    if not soils:
        edgeless = [
            edge.name
            for edge in edges
            if any(note.code == "conductivity-draws-no-edges" for note in edge.notes)
        ]
        noted = f"It draws no edges in {' and '.join(edgeless)}.\n" if edgeless else ""
        raise LayerError(
            f"{' and '.join(layer.name for layer in edges)}: conductivity alone does not say what "
            f"soil lies where.\n{noted}At best it draws edges, and a plan needs a texture inside "
            "them.\n"
            "Add texture samples that it follows, or another soil layer, such as a soil survey."
        )
    if options.samples and not any(_is_log(path, options) for path in paths):
        raise LayerError(
            f"{options.samples.name} is given as samples to read a conductivity log by, but there "
            "is no log.\nIt would be left out without a word.\n"
            "Give the samples as a soil layer, or give the log too."
        )
    return soils, edges


def _around(ground: Field) -> tuple[float, float, float, float]:
    west, south, east, north = move(ground.shape, ground.crs, WGS_84).bounds
    return west - AROUND_DEG, south - AROUND_DEG, east + AROUND_DEG, north + AROUND_DEG


def _needed(ground: Field | None) -> Field:
    if ground is None:
        raise ValueError("rasters and points are read for one field: give it")
    return ground


def _together(paths: Sequence[Path], options: ReadOptions) -> list[tuple[Path, ...]]:
    """Tell which paths are one layer.

    Rasters that each hold one part of a texture are one, where the first of them is, and those
    in a folder are; but a raster of conductivity is a layer by itself wherever it lies.
    """
    layers: list[list[Path]] = []
    lone: list[Path] = []
    for path in paths:
        rasters = [] if path in options.known or is_survey(path) else _rasters(path)
        parts = [raster for raster in rasters if not _conducts(raster, options)]
        if parts and not is_folder(path) and (options.bands or _is_part(path)):
            if not lone:
                layers.append(lone)
            lone += parts
        elif parts:
            layers.append(parts)
        elif not rasters:
            layers.append([path])
        layers += [[raster] for raster in rasters if raster not in parts]
    return [tuple(layer) for layer in layers]


def _texture(rasters: Sequence[Path], ground: Field, options: ReadOptions) -> SoilLayer:
    from zoneplan.field.raster.texture import read_rasters

    return read_rasters(
        rasters,
        ground,
        bands=options.bands,
        unit=options.raster_unit,
        crs=options.crs,
        least_patch_m2=options.least_patch_m2,
    )


def _conducts(raster: Path, options: ReadOptions) -> bool:
    """Whether a raster is of conductivity, unless a person says that it is a part of a texture."""
    from zoneplan.field.points.conductivity import is_conductivity

    asked = [call.partition(":")[0] for call in (options.bands or {}).values()]
    return raster.name not in asked and is_conductivity(raster)


def _is_log(path: Path, options: ReadOptions) -> bool:
    """Whether it is or holds what samples may be given to read: points, or conductivity."""
    conducts = any(_conducts(raster, options) for raster in _rasters(path))
    return conducts or _holds_points(path, options)


def _rasters(path: Path) -> list[Path]:
    """The rasters that a path stands for: itself, or all in a folder."""
    files = sorted(path.iterdir()) if is_folder(path) else [path]
    tiffs = list(filter(is_tiff, files))
    if not tiffs:
        return []
    from zoneplan.field.raster.grid import is_raster

    return list(filter(is_raster, tiffs))


def _is_part(raster: Path) -> bool:
    from zoneplan.field.raster.texture import is_part

    return is_part(raster)


def _holds_points(path: Path, options: ReadOptions) -> bool:
    """Whether it is a table, or a map of points alone."""
    if path.suffix.lower() in TABLES:
        return True
    if not is_file(path):
        return False
    frames = read_shapes(path, options.crs).values()
    kinds = {kind for frame in frames for kind in frame.geom_type.dropna()}
    return bool(kinds) and kinds <= {"Point", "MultiPoint"}
