"""A field of one's own: its files as a browser sends them, and what was found in them."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from zoneplan.field.band import bands_of
from zoneplan.field.drawn import read_drawn
from zoneplan.field.files import read_shapes
from zoneplan.field.layer import Told, read_layers
from zoneplan.field.lie import read_terrain
from zoneplan.field.outline import read_field
from zoneplan.field.shapes import Field, MarkLayer, SoilLayer
from zoneplan.field.tracks import read_tracks
from zoneplan.rowunit.machine import Machine
from zoneplan.zones.headland import headland

_RASTERS = (".tif", ".tiff")
_MOST_LETTERS = 60  # of a file's name; four bytes each still fit any disk


@dataclass(frozen=True)
class Upload:
    """One file as a browser sent it."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Ground:
    """A field of one's own: its files, and what they leave open."""

    boundary: Upload
    soils: tuple[Upload, ...]  # where two overlap, the first wins
    samples: Upload | None = None  # to read a conductivity log by
    elevation: Upload | None = None
    tracks: Upload | None = None
    drawn: Upload | None = None
    pick: str | None = None  # which feature of the boundary
    crs: str | None = None  # of files that do not state one
    columns: tuple[tuple[str, str], ...] = ()  # ("clay", "CLAY_PCT") where not found by name
    raster_unit: str | None = None


@dataclass(frozen=True)
class Found:
    """What the files held that a plan was made from."""

    system: str  # of the boundary, as its file states it
    soils: tuple[SoilLayer, ...]
    marks: tuple[MarkLayer, ...]


def read_own(
    ground: Ground, machine: Machine, passes: int, sides: Sequence[str], folder: Path
) -> tuple[Field, Found]:
    """Read files of one's own, the boundary first.

    Parameters
    ----------
    ground : Ground
        The files.
    machine : Machine
        How wide it is.
    passes : int
        Of headland; 0 for none.
    sides : sequence of str
        That have a headland; none for all round.
    folder : Path
        An empty one to keep the files in meanwhile.

    Raises
    ------
    LayerError
        When a file cannot be trusted.
    """
    boundary = save(ground.boundary, folder / "boundary")
    field = read_field(boundary, pick=ground.pick, crs=ground.crs)
    sent = ground.samples
    told = Told(
        crs=ground.crs,
        columns=dict(ground.columns),
        raster_unit=ground.raster_unit,
        samples=None if sent is None else save(sent, folder / "samples"),
    )
    soils, edges = read_layers(_layers(ground.soils, folder), field, told)
    marks = []  # the first of two that differ wins
    if ground.drawn:
        marks.append(read_drawn(save(ground.drawn, folder / "drawn"), field, ground.crs))
    if ground.tracks:
        tracks = save(ground.tracks, folder / "tracks")
        marks.append(read_tracks(tracks, field, machine.width_m, ground.crs))
    marks += edge(field, machine, passes, sides)
    if ground.elevation:
        heights = save(ground.elevation, folder / "elevation")
        marks.append(read_terrain(heights, field, ground.crs))
    return field, Found(system_of(boundary, ground.crs), tuple(soils), (*marks, *edges))


def edge(field: Field, machine: Machine, passes: int, sides: Sequence[str]) -> list[MarkLayer]:
    """Lay the headland, where there is to be one."""
    return [headland(field, passes, machine.width_m, sides or None)] if passes else []


def system_of(boundary: Path, crs: str | None = None) -> str:
    """What the boundary's file says its coordinates are."""
    return " and ".join({frame.crs.name: None for frame in read_shapes(boundary, crs).values()})


def save(upload: Upload, folder: Path) -> Path:
    """Put an upload into a folder of ours, whatever its name says.

    Only the last part of the name counts, and only letters that every disk takes; the
    readers go by its ending, which stays. A second of one name gets a number.
    """
    last = upload.name.replace("\\", "/").rpartition("/")[2]
    stem, dot, ending = "".join(
        it if it.isalnum() or it in " ._-()" else "_" for it in last
    ).rpartition(".")
    if not dot:
        stem, ending = ending, ""
    folder.mkdir(exist_ok=True)
    kept = stem.strip(" .")[:_MOST_LETTERS] or "upload"
    path = folder / f"{kept}{dot}{ending[:_MOST_LETTERS]}"
    again = count(2)
    while path.exists():
        path = folder / f"{kept} ({next(again)}){dot}{ending[:_MOST_LETTERS]}"
    path.write_bytes(upload.content)
    return path


def _layers(sent: Sequence[Upload], folder: Path) -> list[Path]:
    """Save soil layers in their order; rasters together are one, where the first of them is."""
    layers: list[Path] = []
    rasters = folder / "rasters"
    for number, upload in enumerate(sent):
        if not upload.name.lower().endswith(_RASTERS):
            layers.append(save(upload, folder / f"soil-{number}"))
            continue
        bands_of(save(upload, rasters))  # or one that is damaged would be passed over
        if rasters not in layers:
            layers.append(rasters)
    return layers
