"""The finest ground of a field, in its order, and what follows from its shapes alone.

A field is planned again and again: at another speed, by other rules. Its ground stays, and most of
its zones come out as they were, so what was worked out of shapes is remembered.
"""

from collections.abc import Sequence
from functools import lru_cache

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.shapes import Marks, Pieces
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.coverage import border_lengths, north_to_south, whole
from zoneplan.zones.narrow_parts import is_thin, narrow_in, roomy, thin_parts
from zoneplan.zones.zone import Zone, made_of, zones_of

_REMEMBERED = 2048  # outlines: those of some plans of a field with hundreds of pieces

Faces = tuple[int, ...]  # places of pieces, in the order of the ground


class FinestGround:
    """The pieces of a field from north to south.

    Parameters
    ----------
    pieces : Pieces
        In any order.
    """

    def __init__(self, pieces: Pieces) -> None:
        shapes = shapely.normalize(pieces.shapes)
        order = north_to_south(shapes)
        self.shapes = shapes[order]
        self.crs = pieces.crs
        self.soils: list[tuple[SoilFacts, Marks]] = [
            (pieces.facts[at], pieces.sites[at]) for at in order.tolist()
        ]
        # To the square centimetre, or rounding would decide between two that are as large.
        self.areas_m2: list[float] = shapely.area(self.shapes).round(4).tolist()
        self.borders_m = border_lengths(self.shapes)
        remembered = lru_cache(_REMEMBERED)
        self.outline = remembered(self._outline)
        self.is_thin = remembered(self._is_thin)
        self.thin_parts = remembered(self._thin_parts)
        self.narrow_in = remembered(self._narrow_in)
        self._roomy = lru_cache(2)(lambda width_m: roomy(self.shapes, width_m))
        self._zones: dict[Polygon, Zone] = {}

    def _outline(self, faces: Faces) -> Polygon:
        """The outline of neighbours together."""
        return whole(self.shapes[list(faces)])

    def _is_thin(self, faces: Faces, least_width_m: float) -> bool:
        """Whether neighbours together are thinner than asked, and the field is not there."""
        at = list(faces)
        if self._roomy(least_width_m)[at].any():
            return False
        field = self.narrow_in(tuple(range(len(self.shapes))), least_width_m)
        return is_thin(shapely.coverage_union_all(self.shapes[at]), least_width_m, field)

    def _narrow_in(self, faces: Faces, least_width_m: float) -> BaseGeometry:
        """Where so much of the ground is thin by itself."""
        return narrow_in(self.shapes[list(faces)], least_width_m)

    def _thin_parts(
        self, outline: Polygon, least_width_m: float, besides: BaseGeometry
    ) -> tuple[Polygon, ...]:
        return tuple(thin_parts(outline, least_width_m, besides))

    def zones_in(self, outlines: Sequence[Polygon]) -> list[Zone]:
        """Zones with these outlines, without their numbers: see `zones_of`."""
        unknown = [outline for outline in outlines if outline not in self._zones]
        if len(self._zones) + len(unknown) > _REMEMBERED:
            self._zones.clear()
            unknown = list(outlines)
        if unknown:
            grounds = made_of(unknown, self.shapes, self.soils)
            self._zones |= zip(unknown, zones_of(unknown, grounds, self.crs), strict=True)
        return [self._zones[outline] for outline in outlines]
