"""Request: everything a plan is made from besides its files, in SI, with its limits told once.

Each field carries an `Ask`, by which every door asks for it.
"""

import datetime
from collections.abc import Iterable
from dataclasses import MISSING, dataclass, field, fields
from typing import TYPE_CHECKING, Any

from zoneplan.ask import Form, Part, asked, asks, flag, text
from zoneplan.errors import OutOfRangeError, listed
from zoneplan.harmless import in_short_name
from zoneplan.terms import Moisture, Tillage
from zoneplan.units import HA_PER_ACRE, M2_PER_HA, M_PER_FT, M_PER_IN, MPS_PER_MPH
from zoneplan.zones.edit import Edit, More

if TYPE_CHECKING:
    from zoneplan.rowunit.observation import Observation

SIDES = ("north", "east", "south", "west")  # that a headland may be along
RASTER_UNITS = ("percent", "g/kg", "fraction")
DRAWN = ("boundary", "zone", "headland", "soil")  # what can be drawn on a map
COLUMNS = {  # that a layer of soil may have: what each holds
    "texture": "the texture class",
    "sand": "sand",
    "silt": "silt",
    "clay": "clay",
    "organic": "organic matter, %",
    "conductivity": "electrical conductivity",
    "x": "easting or longitude, in a table of points",
    "y": "northing or latitude, in a table of points",
}


GROUND = (Part.FIELD, Part.SOIL, Part.MARKS)  # what the ground that is read depends on


@dataclass(frozen=True)
class Drawn:
    """One outline that was drawn on a map."""

    what: str  # one of DRAWN
    name: str  # of a zone or a boundary; of soil, its USDA texture class
    shape: str  # a Polygon as GeoJSON has it, in degrees: WGS 84
    more: More = ()


@dataclass(frozen=True)
class TitleBlock:
    """Whose plan it is and who made it: it stands on every sheet and in the cab's task set.

    The field's own name is the plan's. No number depends on any of it. `None` where nobody said.
    """

    grower: str | None = text(Part.TITLE, "Grower", "Whose field it is.", option="--grower")
    farm: str | None = text(Part.TITLE, "Farm", "The farm that it is part of.", option="--farm")
    season: str | None = text(
        Part.TITLE, "Season", "The season that the plan is for.", option="--season", example="2027"
    )
    revision: int | None = asked(
        None,
        Form.WHOLE,
        Part.TITLE,
        "Revision",
        "Which plan of the season it is: 2 replaces 1.",
        option="--revision",
        least=1,
        most=999,
    )
    prepared_by: str | None = text(
        Part.TITLE,
        "Prepared by",
        "Who made the plan, and can be asked about it.",
        option="--prepared-by",
    )
    phone: str | None = text(
        Part.TITLE, "Phone", "Where to call whoever made it.", option="--phone"
    )
    dated: datetime.date | None = asked(
        None,
        Form.DATE,
        Part.TITLE,
        "Date",
        "The day that the sheets carry.",
        option="--dated",
        example="2027-04-01",
    )
    digest: str | None = None  # of the plan's numbers, where a book keeps it: an answer names it
    more: More = ()

    def file_name(self, field: str, usual: str) -> str:
        """Name a file that people pass on; as usual where nobody said whose it is.

        >>> TitleBlock(farm="Bogwater", season="2027", revision=2).file_name("Dry 40", "cab.pdf")
        'bogwater-dry-40-2027-r2-cab.pdf'
        >>> TitleBlock(phone="555 0142").file_name("Dry 40", "cab.pdf")
        'cab.pdf'
        """
        if not (self.farm or self.season or self.revision):
            return usual
        named = [in_short_name(words) for words in (self.farm, field, self.season) if words]
        plan = f"r{self.revision}" if self.revision else ""
        return "-".join(filter(None, [*named, plan, usual]))


@dataclass(frozen=True)
class Request:
    """Everything a plan is made from besides its files. `None` where a file or the field is to say.

    Equal requests of equal files give equal plans.

    Raises
    ------
    OutOfRangeError
        Where a value is past its limits; all are told.
    """

    name: str | None = text(
        Part.FIELD,
        "Name of the field",
        "Name of the field.",
        option="--name",
        usual="taken from the boundary",
    )
    pick: str | None = text(
        Part.FIELD,
        "Which field of the file",
        'Which field of the boundary file: its number, or "column=value".',
        option="--pick",
        example='3, or "column=value"',
    )
    crs: str | None = text(
        Part.SOIL,
        "Coordinate system",
        "Coordinate system of files that do not state one, such as EPSG:4326.",
        option="--layer-crs",
        example="EPSG:4326",
    )
    columns: tuple[tuple[str, str], ...] = asked(
        (),
        Form.PAIRS,
        Part.SOIL,
        "{} column",
        "Column of {}.",
        option="--{}-column",
        keys=COLUMNS,
    )
    bands: tuple[tuple[str, str], ...] = asked(
        (),
        Form.PAIRS,
        Part.SOIL,
        "Raster bands",
        "Which band of a raster holds sand, silt, clay or organic (matter): clay=2, or "
        "clay=soil.tif:2.",
        option="--band",
        example="clay=2, sand=1",
    )
    raster_unit: str | None = asked(
        None,
        Form.CHOICE,
        Part.SOIL,
        "Raster unit",
        "Unit of the rasters of sand, silt and clay.",
        option="--raster-unit",
        choices=RASTER_UNITS,
        usual="as their values tell",
    )
    layers_as_given: bool = flag(
        Part.SOIL,
        "Layers in my order",
        "Where soil layers overlap the first given counts, whatever the others are.",
        option="--layers-as-given",
    )
    headland_passes: int = asked(
        0,
        Form.WHOLE,
        Part.MARKS,
        "Headland passes",
        "Passes of the planter round the edge that are a zone of their own.",
        option="--headland",
        least=0,
        most=20,
    )
    headland_sides: tuple[str, ...] = asked(
        (),
        Form.CHOICES,
        Part.MARKS,
        "Headland sides",
        "Headland only along sides that face this way.",
        option="--headland-side",
        needs="headland_passes",
        choices=SIDES,
        usual="all round, holes too",
    )
    track_width_m: float | None = asked(
        None,
        Form.NUMBER,
        Part.MARKS,
        "Track width",
        "Width of a wheel track that is a line.",
        option="--track-width",
        needs="tracks",
        usual="the planter's",
        unit="ft",
        kind="length",
        least=1 * M_PER_FT,
        most=200 * M_PER_FT,
    )
    tiled: bool = flag(Part.DAY, "Tile-drained", "The ground is drained by tile.", option="--tiled")
    tillage: Tillage = asked(
        Tillage.TILLED,
        Form.CHOICE,
        Part.DAY,
        "Tillage",
        "How the ground was prepared.",
        option="--tillage",
        choices=tuple(Tillage),
    )
    speed_mps: float | None = asked(
        None,
        Form.NUMBER,
        Part.DAY,
        "Speed",
        "Planting speed.",
        option="--speed",
        usual="the planter's",
        unit="mph",
        kind="speed",
        least=1 * MPS_PER_MPH,
        most=15 * MPS_PER_MPH,
        step=0.5,
    )
    depth_m: float | None = asked(
        None,
        Form.NUMBER,
        Part.DAY,
        "Seed depth",
        "Seed depth.",
        option="--depth",
        usual="the planter's",
        unit="in",
        kind="length",
        least=0.5 * M_PER_IN,
        most=4 * M_PER_IN,
        step=0.25,
    )
    residue_frac: float = asked(
        0.0,
        Form.NUMBER,
        Part.DAY,
        "Ground covered by residue",
        "Ground covered by residue.",
        option="--residue",
        unit="%",
        kind="share",
        least=0.0,
        most=1.0,
        step=5.0,
    )
    moisture: Moisture = asked(
        Moisture.MOIST,
        Form.CHOICE,
        Part.DAY,
        "Planned moisture",
        "How moist you expect the soil: zones are drawn for it above all, and the files for "
        "the cab carry its targets.",
        option="--moisture",
        choices=tuple(Moisture),
    )
    least_area_m2: float | None = asked(
        None,
        Form.NUMBER,
        Part.ZONES,
        "Smallest zone",
        "Smaller ground gets no zone of its own.",
        option="--least-area",
        usual="what the planter can follow",
        unit="acres",
        kind="area",
        least=0.0,
        most=1000 * HA_PER_ACRE * M2_PER_HA,
    )
    least_width_m: float | None = asked(
        None,
        Form.NUMBER,
        Part.ZONES,
        "Narrowest zone",
        "Narrower ground gets no zone of its own either.",
        option="--least-width",
        usual="the planter's",
        unit="ft",
        kind="length",
        least=0.0,
        most=1000 * M_PER_FT,
        step=5.0,
    )
    most_zones: int | None = asked(
        None,
        Form.WHOLE,
        Part.ZONES,
        "Most zones",
        "At most so many zones with numbers.",
        option="--most-zones",
        usual="as many as the ground asks for",
        least=1,
    )
    drawn: tuple[Drawn, ...] = asked((), Form.NOUNS, Part.PERSON, "Drawn on the map")
    edits: tuple[Edit, ...] = asked((), Form.NOUNS, Part.PERSON, "Changed by hand")
    observations: tuple["Observation", ...] = asked((), Form.NOUNS, Part.PERSON, "Hand checks")
    title: TitleBlock = field(default_factory=TitleBlock)
    more: More = ()  # here and there: what this zoneplan cannot read, and keeps as it is

    def __post_init__(self) -> None:
        faults = [
            f"{name}: {fault}"
            for noun in (self, self.title)
            for name, ask in asks(noun)
            if (fault := ask.fault(getattr(noun, name)))
        ]
        if faults:
            raise OutOfRangeError(listed("The request", faults))

    def of(self, parts: Iterable[Part]) -> tuple[Any, ...]:
        """Give what is asked about these parts, in the order of the fields."""
        wanted = {*parts}
        return tuple(getattr(self, name) for name, ask in asks(Request) if ask.part in wanted)

    def outlines(self, what: str) -> tuple[Drawn, ...]:
        """Give what was drawn of one kind."""
        return tuple(outline for outline in self.drawn if outline.what == what)


def usual_of(name: str) -> Any:
    """Give what a request holds where nobody says."""
    default = next(attribute.default for attribute in fields(Request) if attribute.name == name)
    return None if default is MISSING else default
