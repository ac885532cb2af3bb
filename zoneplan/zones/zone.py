"""A zone, and the decision that tells it from its neighbours."""

from dataclasses import dataclass

from shapely.geometry import Polygon

from zoneplan.soil.texture import SoilFacts


@dataclass(frozen=True)
class Decision:
    """What one piece of ground needs, in a form that two pieces can be compared by."""

    label: str  # pieces with different labels are never alike: kind of ground, where to wait
    loads_n: tuple[float, ...]  # every load that was decided; same length for the same label


@dataclass(frozen=True)
class Zone:
    """Ground to be treated alike."""

    id: int  # 1, 2, 3 ... from north to south, then west to east
    shape: Polygon  # in the field's metric system
    area_ha: float  # geodesic
    facts: SoilFacts
    soils: tuple[tuple[str, float], ...] = ()  # (what the source calls it, share of the zone)
