"""Everything that a plan is made from, as a person gives it. Equal questions, equal answers."""

from dataclasses import dataclass

from zoneplan.zones.edit import Edit, More

OWN_MACHINE = "this field's own planter"  # as a demo field has one
SIDES = ("north", "east", "south", "west")  # that a headland may be along
RASTER_UNITS = ("percent", "g/kg", "fraction")
MOST_PASSES = 8  # of headland
DRAWN = ("boundary", "zone", "headland", "soil")  # what can be drawn


@dataclass(frozen=True)
class Upload:
    """One file as a browser sent it."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Drawn:
    """One outline that was drawn on the map."""

    what: str  # one of DRAWN
    name: str  # of a zone or a boundary; of soil, its USDA texture class
    shape: str  # a Polygon as GeoJSON has it, in degrees: WGS 84
    more: More = ()


@dataclass(frozen=True)
class Ground:
    """A field of one's own: its files, and what they leave open."""

    boundary: Upload | None = None  # None where it is drawn
    soils: tuple[Upload, ...] = ()  # where two overlap, the first wins; drawn soil comes first
    samples: Upload | None = None  # to read a conductivity log by
    elevation: Upload | None = None
    tracks: Upload | None = None
    drawn: Upload | None = None  # zones
    pick: str | None = None  # which feature of the boundary
    crs: str | None = None  # of files that do not state one
    columns: tuple[tuple[str, str], ...] = ()  # ("clay", "CLAY_PCT") where not found by name
    raster_unit: str | None = None
    more: More = ()


@dataclass(frozen=True)
class Asked:
    """One question: a field, a planter, a day, and what a person changed."""

    ground: Ground | str  # or a demo field's name
    machine: Upload | str  # or a generic machine's name, or OWN_MACHINE
    tillage: str
    speed_mph: float | None  # None: the machine's
    depth_in: float | None
    residue_pct: float
    headland: int = 0  # passes
    sides: tuple[str, ...] = ()  # that have a headland; none: all round
    drawn: tuple[Drawn, ...] = ()
    least_acres: float | None = None  # of a zone; None: what the system can follow
    least_width_ft: float | None = None  # None: the planter's
    most_zones: int | None = None  # None: as many as keep the variation in the need
    rules: tuple[Upload, ...] = ()  # of one's own, laid over the stock ones
    edits: tuple[Edit, ...] = ()  # in the order they were made
    more: More = ()  # here and there: what this zoneplan cannot read, and keeps as it is
