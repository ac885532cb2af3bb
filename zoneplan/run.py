"""run(): from a request and its files to a plan. Every door calls it."""

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field
from pathlib import Path

import shapely

from zoneplan.errors import LayerError
from zoneplan.field.child import prepare
from zoneplan.field.drawn import read_drawn, read_tracks
from zoneplan.field.files import read_shapes
from zoneplan.field.layer import ReadOptions, Shared, read_layers
from zoneplan.field.outline import read_field
from zoneplan.field.overlay import Cut, overlay
from zoneplan.field.shapes import Field, MarkLayer, Marks, SoilLayer
from zoneplan.plain_file import scratch
from zoneplan.plan.model import Plan
from zoneplan.plan.plan_field import FOLLOW_M, plan_field
from zoneplan.plan.requirement import Conditions
from zoneplan.progress import step
from zoneplan.request import Drawn, Request
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rowunit.observation import Observation, read_observations
from zoneplan.rules.read import RulesFile, read_rules
from zoneplan.rules.rule import Rules
from zoneplan.sources import File, Sources, Upload, files_of, is_raster_name, on_disk, safe
from zoneplan.zones.finest_ground import FinestGround
from zoneplan.zones.headland import headland
from zoneplan.zones.zone import Zoning

DRAWN_SOIL = "drawn soil.geojson"


@dataclass(frozen=True)
class Job:
    """A request and the files it is about."""

    request: Request
    sources: Sources


@dataclass(frozen=True)
class Setup:
    """What is cheap to read, and read first."""

    machine: Machine
    rules: Rules
    observations: tuple[Observation, ...]


@dataclass(frozen=True, eq=False)
class SourceSummary:
    """What the files held that a plan was made from."""

    system: str  # of the boundary, as its file states it
    soils: tuple[SoilLayer, ...]
    marks: tuple[MarkLayer, ...]
    _cuts: dict[int, tuple[Field, Cut, FinestGround]] = dataclass_field(
        default_factory=dict, repr=False
    )

    def cut(self, field: Field) -> tuple[Cut, FinestGround]:
        """Cut the layers to their field: once, for it does not depend on planter, rules or day.

        Raises
        ------
        LayerError
            As `overlay` does.
        """
        if id(field) not in self._cuts:
            step("Laying the layers over the field")
            cut = overlay(field, self.soils, self.marks)
            self._cuts[id(field)] = field, cut, FinestGround(cut.pieces)
        return self._cuts[id(field)][1:]


@dataclass(frozen=True)
class Run:
    """What came of a request: the plan, and what was found in the files."""

    request: Request
    plan: Plan
    summary: SourceSummary


def run(request: Request, sources: Sources) -> Run:
    """Plan the field that is asked for.

    Raises
    ------
    ZoneplanError
        Anything the user can put right.
    """
    prepare()  # it starts while we read what is small
    setup = read_setup(sources)
    return plan_ground(request, setup, *read_ground(request, sources, setup.machine))


def read_setup(sources: Sources) -> Setup:
    """Read the machine, the rules, and what was found by hand.

    Raises
    ------
    MachineError, RuleError
        With every fault of a file.
    """
    with scratch() as room:
        step("Reading the machine")
        named = sources.machine
        machine = read_machine(
            named if isinstance(named, str) else on_disk(named, Path(room, "machine"))
        )
        rules = read_rules([_rules_file(file) for file in sources.rules])
        checks = (on_disk(file, Path(room, "checks")) for file in sources.checks)
        return Setup(
            machine,
            rules,
            tuple(
                observation for path in checks for observation in read_observations(path, machine)
            ),
        )


def read_ground(
    request: Request, sources: Sources, machine: Machine
) -> tuple[Field, SourceSummary]:
    """Read the field and everything that lies on it, the boundary first.

    Parameters
    ----------
    request : Request
        Only what it says of the ground is looked at: `request.GROUND`, and what is drawn; and of
        rasters how small a zone may be.
    sources, machine : Sources, Machine
        Its files, and how wide the planter is.

    Raises
    ------
    LayerError
        When a file or a drawing cannot be trusted, or one that is needed is missing.
    """
    with scratch() as folder:
        boundary, field = _outline(request, sources, folder)
        summary = read_layers_over(field, request, sources, machine)
        return field, replace(summary, system=system_of(boundary, request.crs))


def read_outline(request: Request, sources: Sources) -> Field:
    """Read the field alone, from its file or as it was drawn.

    Raises
    ------
    LayerError
        As `read_ground` does, of the boundary.
    """
    with scratch() as folder:
        return _outline(request, sources, folder)[1]


def read_layers_over(
    field: Field,
    request: Request,
    sources: Sources,
    machine: Machine,
    known: Callable[[Path, ReadOptions], Shared | None] | None = None,
) -> SourceSummary:
    """Read what lies on a field that is known.

    Parameters
    ----------
    field, request, sources, machine
        As `read_ground` takes and gives them.
    known : callable, optional
        Gives the layers of soil that need not be read again: see `shared_layer`.

    Raises
    ------
    LayerError
        As `read_ground` does.
    """
    uploads = [file for _, file in files_of(sources) if isinstance(file, Upload)]
    with scratch() if uploads or request.drawn else nullcontext(Path()) as folder:
        layers = _layers(request.outlines("soil"), sources.soils, folder)
        options = _read_options(request, sources, machine, folder)
        if known:
            given = {path: known(path, options) for path in layers if path in sources.soils}
            layers_known = {path: layer for path, layer in given.items() if layer}
            options = replace(options, known=layers_known)
        soils, edges = read_layers(layers, field, options)
        marks = tuple(_marks(request, sources, field, machine, folder))
        return SourceSummary("WGS 84", tuple(soils), (*marks, *edges))


def plan_ground(request: Request, setup: Setup, field: Field, source_summary: SourceSummary) -> Run:
    """Plan ground that has been read, as quickly as numbers follow a slider."""
    machine = setup.machine
    cut, ground = source_summary.cut(field)
    plan = plan_field(
        field,
        source_summary.soils,
        machine,
        setup.rules,
        Conditions(
            tillage=request.tillage,
            speed_mps=machine.speed_mps if request.speed_mps is None else request.speed_mps,
            depth_m=machine.depth_m if request.depth_m is None else request.depth_m,
            residue_frac=request.residue_frac,
            tiled=request.tiled,
        ),
        observations=(*setup.observations, *request.observations),
        marks=source_summary.marks,
        zoning=Zoning(request.least_area_m2, request.least_width_m, request.most_zones),
        edits=request.edits,
        planned=request.moisture,
        cut=cut,
        ground=ground,
    )
    return Run(request, plan, source_summary)


def system_of(boundary: Path, crs: str | None = None) -> str:
    """What the boundary's file says its coordinates are."""
    return " and ".join({frame.crs.name: None for frame in read_shapes(boundary, crs).values()})


def _rules_file(file: File) -> Path | RulesFile:
    return RulesFile(file.name, file.content) if isinstance(file, Upload) else file


# ---- from a request and its files to what the readers take -------------------------------------


def _outline(request: Request, sources: Sources, folder: Path) -> tuple[Path, Field]:
    drawings = request.outlines("boundary")
    boundary = _drawn_boundary(drawings, folder) if drawings else _boundary(sources, folder)
    step("Reading the boundary")
    pick = None if drawings else request.pick
    return boundary, read_field(boundary, pick=pick, crs=request.crs, name=request.name)


def _boundary(sources: Sources, folder: Path) -> Path:
    if sources.boundary is None:
        raise LayerError(
            "There is no boundary.\nWithout one nobody knows which ground to plan.\n"
            "Give the field's outline as a file, or draw it."
        )
    return on_disk(sources.boundary, folder / "boundary")


def _drawn_boundary(drawings: Sequence[Drawn], folder: Path) -> Path:
    outline = shapely.union_all([shapely.from_geojson(drawing.shape) for drawing in drawings])
    whole = replace(drawings[0], shape=shapely.to_geojson(outline))
    return _sketch([whole], folder / f"{safe(drawings[0].name) or 'drawn field'}.geojson")


def _layers(drawings: Sequence[Drawn], soils: Sequence[File], folder: Path) -> list[Path]:
    """Soil layers as they were given; rasters sent together are in one folder."""
    layers = [_sketch(drawings, folder / DRAWN_SOIL)] if drawings else []
    rasters = folder / "rasters"
    for number, file in enumerate(soils):
        if isinstance(file, Path) or not is_raster_name(file.name):
            layers.append(on_disk(file, folder / f"soil-{number}"))
            continue
        from zoneplan.field.raster.grid import bands_of

        bands_of(on_disk(file, rasters))  # or one that is damaged would be passed over
        if rasters not in layers:
            layers.append(rasters)
    if not layers:
        raise LayerError(
            "There is no soil layer.\nA plan follows the soil, and we won't guess it.\n"
            "Give a soil survey, rasters, points or polygons, or draw the soil."
        )
    return layers


def least_patch_m2(request: Request, machine: Machine) -> float:
    """How small a patch of a raster may be: as the planter can follow, or as a zone may be. [m²].

    A raster with noise has hundreds of smaller ones, and none of them would be a zone.
    """
    follow_m2 = machine.width_m * FOLLOW_M
    asked_m2 = request.least_area_m2
    return follow_m2 if asked_m2 is None else min(follow_m2, asked_m2)


def _read_options(
    request: Request, sources: Sources, machine: Machine, folder: Path
) -> ReadOptions:
    samples = sources.samples
    return ReadOptions(
        crs=request.crs,
        columns=dict(request.columns),
        bands=dict(request.bands) or None,
        raster_unit=request.raster_unit,
        least_patch_m2=least_patch_m2(request, machine),
        samples=None if samples is None else on_disk(samples, folder / "samples"),
        first=folder / DRAWN_SOIL if request.outlines("soil") else None,
        as_given=request.layers_as_given,
    )


def _marks(
    request: Request, sources: Sources, field: Field, machine: Machine, folder: Path
) -> Iterator[MarkLayer]:
    """What says where ground lies; the first of two that differ wins."""
    crs, width_m = request.crs, machine.width_m
    if zones := request.outlines("zone"):
        yield read_drawn(_sketch(zones, folder / "drawn zones.geojson"), field)
    if sources.zones:
        yield read_drawn(on_disk(sources.zones, folder / "zones"), field, crs)
    if sources.tracks:
        track_m = width_m if request.track_width_m is None else request.track_width_m
        yield read_tracks(on_disk(sources.tracks, folder / "tracks"), field, track_m, crs)
    if strips := request.outlines("headland"):
        strip = read_drawn(_sketch(strips, folder / "drawn headland.geojson"), field)
        yield replace(strip, ground=strip.ground.assign(site=Marks(headland=True)))
    if request.headland_passes:
        yield headland(field, request.headland_passes, width_m, request.headland_sides or None)
    if sources.elevation:
        from zoneplan.field.raster.terrain import read_terrain  # and what it calculates with

        yield read_terrain(on_disk(sources.elevation, folder / "elevation"), field, crs)


def _sketch(drawings: Sequence[Drawn], path: Path) -> Path:
    """Write what was drawn as a file that the readers of files take."""
    features = [
        {
            "type": "Feature",
            "properties": {"texture" if drawing.what == "soil" else "name": drawing.name},
            "geometry": json.loads(drawing.shape),
        }
        for drawing in drawings
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    return path
