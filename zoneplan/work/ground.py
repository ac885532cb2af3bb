"""From what was asked to ground we trust: the field, its layers, and what was found in them."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

import shapely

from zoneplan.demo import demo_field
from zoneplan.field.drawn import read_drawn
from zoneplan.field.files import read_shapes
from zoneplan.field.layer import Told, read_layers
from zoneplan.field.outline import read_field
from zoneplan.field.raster.raster_band import bands_of
from zoneplan.field.raster.terrain_layer import read_terrain
from zoneplan.field.shapes import Field, MarkLayer, Site, SoilLayer
from zoneplan.field.tracks import read_tracks
from zoneplan.progress import step
from zoneplan.rowunit.machine import Machine
from zoneplan.work.asked import Asked, Drawn, Ground, Upload
from zoneplan.zones.headland import headland

_RASTERS = (".tif", ".tiff")
_MOST_LETTERS = 60  # of a file's name; four bytes each still fit any disk


@dataclass(frozen=True)
class Found:
    """What the files held that a plan was made from."""

    system: str  # of the boundary, as its file states it
    soils: tuple[SoilLayer, ...]
    marks: tuple[MarkLayer, ...]


def read_ground(asked: Asked, machine: Machine) -> tuple[Field, Found]:
    """Read the field and everything that lies on it, the boundary first.

    Parameters
    ----------
    asked : Asked
        Its conditions, rules and edits are not looked at.
    machine : Machine
        How wide it is.

    Raises
    ------
    LayerError
        When a file or a drawing cannot be trusted.
    """
    with TemporaryDirectory(prefix="zoneplan-") as scratch:
        folder = Path(scratch)
        own = asked.ground if isinstance(asked.ground, Ground) else Ground()
        boundary = _boundary(asked, folder)
        step("Reading the boundary")
        field = read_field(
            boundary, pick=None if _drawn(asked, "boundary") else own.pick, crs=own.crs
        )
        told = Told(
            crs=own.crs,
            columns=dict(own.columns),
            raster_unit=own.raster_unit,
            samples=None if own.samples is None else save(own.samples, folder / "samples"),
        )
        soils, edges = read_layers(_layers(asked, folder), field, told)
        marks = list(_marks(asked, own, field, machine, folder))
        return field, Found(system_of(boundary, own.crs), tuple(soils), (*marks, *edges))


def _marks(
    asked: Asked, own: Ground, field: Field, machine: Machine, folder: Path
) -> Iterator[MarkLayer]:
    """What says where ground lies; the first of two that differ wins."""
    if zones := _drawn(asked, "zone"):
        yield read_drawn(_sketch(zones, folder / "drawn zones.geojson"), field)
    if own.drawn:
        yield read_drawn(save(own.drawn, folder / "drawn"), field, own.crs)
    if own.tracks:
        yield read_tracks(save(own.tracks, folder / "tracks"), field, machine.width_m, own.crs)
    if strips := _drawn(asked, "headland"):
        strip = read_drawn(_sketch(strips, folder / "drawn headland.geojson"), field)
        yield replace(strip, ground=strip.ground.assign(site=Site(headland=True)))
    if asked.headland:
        yield headland(field, asked.headland, machine.width_m, asked.sides or None)
    if own.elevation:
        yield read_terrain(save(own.elevation, folder / "elevation"), field, own.crs)


def _boundary(asked: Asked, folder: Path) -> Path:
    if drawn := _drawn(asked, "boundary"):
        outline = shapely.union_all([shapely.from_geojson(it.shape) for it in drawn])
        whole = replace(drawn[0], shape=shapely.to_geojson(outline))
        return _sketch([whole], folder / f"{safe(drawn[0].name) or 'drawn field'}.geojson")
    if isinstance(asked.ground, str):
        return demo_field(asked.ground).boundary
    assert asked.ground.boundary is not None
    return save(asked.ground.boundary, folder / "boundary")


def _drawn(asked: Asked, what: str) -> list[Drawn]:
    return [it for it in asked.drawn if it.what == what]


def _sketch(drawn: Sequence[Drawn], path: Path) -> Path:
    """Write what was drawn as a file that the readers of files take."""
    features = [
        {
            "type": "Feature",
            "properties": {"texture" if it.what == "soil" else "name": it.name},
            "geometry": json.loads(it.shape),
        }
        for it in drawn
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    return path


def system_of(boundary: Path, crs: str | None = None) -> str:
    """What the boundary's file says its coordinates are."""
    return " and ".join({frame.crs.name: None for frame in read_shapes(boundary, crs).values()})


def save(upload: Upload, folder: Path) -> Path:
    """Put an upload into a folder of ours, whatever its name says.

    Only the last part of the name counts, and only letters that every disk takes; the
    readers go by its ending, which stays. A second of one name gets a number.
    """
    last = upload.name.replace("\\", "/").rpartition("/")[2]
    stem, dot, ending = last.rpartition(".")
    if not dot:
        stem, ending = ending, ""
    folder.mkdir(exist_ok=True)
    kept, ending = safe(stem) or "upload", safe(ending)
    path = folder / f"{kept}{dot}{ending}"
    again = count(2)
    while path.exists():
        path = folder / f"{kept} ({next(again)}){dot}{ending}"
    path.write_bytes(upload.content)
    return path


def safe(name: str) -> str:
    """What is left of a name on any disk.

    >>> safe("Smith's <b>40</b>.")
    'Smith_s _b_40__b_'
    """
    kept = "".join(it if it.isalnum() or it in " ._-()" else "_" for it in name)
    return kept.strip(" .")[:_MOST_LETTERS]


def _layers(asked: Asked, folder: Path) -> list[Path]:
    """Soil layers in their order; rasters together are one, where the first of them is."""
    layers: list[Path] = []
    if drawn := _drawn(asked, "soil"):
        layers.append(_sketch(drawn, folder / "drawn soil.geojson"))
    if isinstance(asked.ground, str):
        return [*layers, demo_field(asked.ground).survey]
    rasters = folder / "rasters"
    for number, upload in enumerate(asked.ground.soils):
        if not upload.name.lower().endswith(_RASTERS):
            layers.append(save(upload, folder / f"soil-{number}"))
            continue
        bands_of(save(upload, rasters))  # or one that is damaged would be passed over
        if rasters not in layers:
            layers.append(rasters)
    return layers
