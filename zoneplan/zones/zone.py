"""A zone, and what may be asked of zones."""

import math
from dataclasses import dataclass
from functools import cached_property

import shapely
from shapely.geometry import Polygon

from zoneplan.field.shapes import NOWHERE, Mark, Marks
from zoneplan.soil.texture import SoilFacts


@dataclass(frozen=True)
class Zoning:
    """What is asked of the zones; `None` where the machine and the field are to say."""

    least_area_m2: float | None = None  # else what is long enough for the system to follow
    least_width_m: float | None = None  # else the planter's
    most_zones: int | None = None  # else as few as say what the ground needs


NOTHING_ASKED = Zoning()


@dataclass(frozen=True)
class Zone:
    """Ground to be treated alike."""

    id: int  # 1, 2, 3 ... from north to south, then west to east
    shape: Polygon  # in the field's metric system
    area_ha: float  # geodesic
    facts: SoilFacts
    soils: tuple[tuple[str, float], ...] = ()  # (what the source calls it, share of the zone)
    site: Marks = NOWHERE
    marked: tuple[tuple[Mark, float], ...] = ()  # (what was marked there, share of the zone)
    name: str = ""  # what a person calls it
    composition: tuple[tuple[SoilFacts, Marks, float], ...] = ()  # each soil and site in it [m²]
    treatment: int | None = None  # 1, 2, 3 ...; zones that print the same have the same

    @property
    def width_m(self) -> float:
        """Short side of the narrowest box around it."""
        return self._sides_m[0]

    @property
    def length_m(self) -> float:
        """Long side of the narrowest box around it."""
        return self._sides_m[1]

    @cached_property
    def _sides_m(self) -> tuple[float, float]:
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(self.shape))
        one, other = (math.dist(corners[n], corners[n + 1]) for n in (0, 1))
        return min(one, other), max(one, other)
