"""Narrow parts: what of a zone is thinner than asked, found by moving its edges."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.shapes import polygons_in
from zoneplan.field.tiles import GRID_M
from zoneplan.zones.graph import Label

SLACK_M = 0.01  # a pass laid out exactly as wide as asked must not fail by rounding; judgement
_NEARLY = 0.9  # of the least part: what off the grid is smaller is no part on it; judgement
_MOST_MITRE = 2.0  # of half the width, so that a corner sharper than 60° is cut off: judgement
TWICE_M = 10 * GRID_M  # corners that are nearer are one: moved in, the ground may be lost
NOTHING = Polygon()
_Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Outlines:
    """A field parted into outlines: a valid coverage."""

    shapes: _Shapes
    labels: tuple[Label, ...]  # of each
    means: NDArray[np.float64]  # what it needs, a row for each: the nearer, the more alike


def besides_of(
    labels: Sequence[Label],
    loose: Collection[Label],
    narrow_in: Callable[[Sequence[int]], BaseGeometry],
) -> dict[Label, BaseGeometry]:
    """Where ground with each label is thin however it is parted: there its zones may be.

    Parameters
    ----------
    labels : sequence of Label
        Of all ground of the field.
    loose : collection of Label
        Of ground that may go to any: it may be thin only where the whole field is.
    narrow_in : callable
        Where the ground at these places, taken together, is thin.
    """
    return {
        label: narrow_in(
            [at for at, other in enumerate(labels) if label in loose or other == label]
        )
        for label in dict.fromkeys(labels)
    }


class Narrow:
    """Finds what is thinner than asked in ground, though all ground with its label is not.

    Parameters
    ----------
    besides : mapping of Label to Polygon or MultiPolygon
        See `besides_of`.
    loose : collection of Label
        Of ground that is not worth an outline thinner than asked: what is narrow in it may go
        to any ground. Other ground keeps to its label.
    least_width_m : float
        Width that is asked for. [m; 0 for any]
    find : callable, optional
        What finds it: `thin_parts`, or what remembers what that found.
    """

    def __init__(
        self,
        besides: Mapping[Label, BaseGeometry],
        loose: Collection[Label],
        least_width_m: float,
        find: Callable[[Polygon, float, BaseGeometry], Sequence[Polygon]] | None = None,
    ) -> None:
        self.loose, self.least_width_m = loose, least_width_m
        self._besides, self._find = besides, find or thin_parts

    def parts(self, shape: Polygon, label: Label) -> tuple[Polygon, ...]:
        """Give the narrow parts of a zone with this outline and this label."""
        return tuple(self._find(shape, self.least_width_m, self._besides[label]))

    def any_large(self, shape: Polygon, label: Label) -> bool:
        """Whether a part is as large as a square of the least width: judged."""
        parts = self.parts(shape, label)
        return any(area_m2(part) >= self.least_width_m**2 for part in parts)


def is_thin(ground: BaseGeometry, least_width_m: float, besides: BaseGeometry) -> bool:
    """Whether ground is nowhere as wide as asked, and mostly not where it may be thin.

    >>> is_thin(shapely.box(0, 0, 9, 1), 2.0, NOTHING)
    True
    """
    return bool(
        least_width_m
        and _moved(ground, -_inset_m(least_width_m)).is_empty
        and ground.intersection(besides, grid_size=GRID_M).area < ground.area / 2
    )


def roomy(shapes: _Shapes, least_width_m: float) -> NDArray[np.bool_]:
    """Where ground holds a circle so large that it is surely not thin; quick to find.

    >>> roomy(np.array([shapely.box(0, 0, 9, 9), shapely.box(0, 0, 9, 1)]), 2.0).tolist()
    [True, False]
    """
    inside = shapely.point_on_surface(shapes)
    return shapely.distance(shapely.boundary(shapes), inside) >= _MOST_MITRE * least_width_m / 2


def opened(ground: BaseGeometry, least_width_m: float) -> BaseGeometry:
    """Where ground is as wide as the least width: what is left once thin parts are rubbed out.

    Its edges are moved in by half the width, and those of what is left out again. A corner of
    60° or more stays; a sharper one is cut off as far from the middle of the last strip that
    fits as the strip is wide.

    >>> spike = shapely.union_all([shapely.box(0, 0, 9, 9), shapely.box(9, 4, 20, 5)])
    >>> opened(spike, 2.0).area
    81.0
    """
    inset_m = _inset_m(least_width_m)
    # Mitred, so that a strip round a corner is as wide as the strip and no wider.
    return _moved(_moved(ground, -inset_m), inset_m)


def _inset_m(least_width_m: float) -> float:
    return max(least_width_m - SLACK_M, 0.0) / 2


def thin_parts(
    ground: BaseGeometry, least_width_m: float, besides: BaseGeometry = NOTHING
) -> list[Polygon]:
    """Find the parts of ground that are thinner than the least width.

    Parameters
    ----------
    ground : Polygon or MultiPolygon
        To look at.
    least_width_m : float
        Width that is asked for. [m; 0 for any]
    besides : Polygon or MultiPolygon, optional
        Where it may be as thin as it is.

    Returns
    -------
    list of Polygon
        What `opened` rubs out, but for parts smaller than `least_part_m2`.

    Examples
    --------
    >>> body, spike, step = (0, 0, 9, 9), (9, 4, 20, 5), (3, 9, 4, 9.5)
    >>> ground = shapely.union_all([shapely.box(*corners) for corners in (body, spike, step)])
    >>> [round(part.area, 1) for part in thin_parts(ground, 2.0)]
    [11.0]
    """
    if not least_width_m:
        return []
    least_m2 = least_part_m2(least_width_m)
    if _is_wide(ground, least_width_m, _NEARLY * least_m2):
        return []
    wide = shapely.union_all([opened(ground, least_width_m), besides], grid_size=GRID_M)
    # A little past it and back again, or rounding would leave threads along its edge.
    apart = shapely.difference(ground, _moved(wide, SLACK_M), grid_size=GRID_M)
    parts = [
        largest(ground.intersection(_moved(piece, SLACK_M), grid_size=GRID_M))
        for piece in _no_specks(apart, least_m2)
    ]
    return [part for part in parts if area_m2(part) >= least_m2]


def _is_wide(ground: BaseGeometry, least_width_m: float, least_m2: float) -> bool:
    """Whether surely no part as large is thin: as most ground, which is not worth the grid.

    Off the grid edges move three times as fast, though not always to where they should.
    """
    inset_m = _inset_m(least_width_m)
    off_grid = shapely.set_precision(shapely.remove_repeated_points(ground, TWICE_M), 0)
    wide = off_grid
    for by_m in (-inset_m, inset_m + SLACK_M):
        wide = shapely.buffer(wide, by_m, join_style="mitre", mitre_limit=_MOST_MITRE)
    try:
        return not len(_no_specks(shapely.difference(off_grid, wide), least_m2))
    except shapely.GEOSException:  # without its doubled corners it may cross itself
        return False


def _no_specks(apart: BaseGeometry, least_m2: float) -> _Shapes:
    """The pieces that may be as large once their edges are moved out by the slack, mitred."""
    pieces = shapely.get_parts(apart)
    most_m2 = shapely.area(pieces) + 2 * _MOST_MITRE * SLACK_M * shapely.length(pieces)
    return pieces[most_m2 >= least_m2]


def least_part_m2(least_width_m: float) -> float:
    """Area of a square half as wide: what is smaller is a corner or a bump. Judged. [m²]"""
    return (least_width_m / 2) ** 2


def area_m2(ground: BaseGeometry) -> float:
    """Area to the square centimetre, or rounding would tell ground that is as large apart."""
    return round(ground.area, 4)


def largest(ground: BaseGeometry) -> Polygon:
    """The largest polygon of ground: where edges ran together, lines and specks may be left."""
    return max(polygons_in(ground), key=area_m2, default=NOTHING)


def narrow_in(shapes: _Shapes, least_width_m: float) -> BaseGeometry:
    """Where the ground that shapes make up together is thin."""
    return shapely.union_all(thin_parts(shapely.coverage_union_all(shapes), least_width_m))


def _moved(ground: BaseGeometry, by_m: float) -> BaseGeometry:
    """Move edges out, with corners; on the overlay's grid, for a corner written twice has none."""
    apart = shapely.remove_repeated_points(ground, TWICE_M)
    twice = shapely.get_num_coordinates(apart) < shapely.get_num_coordinates(ground)
    if twice:  # a hole that met its outline in such a corner may cross it without
        apart = shapely.make_valid(apart, method="structure", keep_collapsed=False)
    # Where no corner is, each is put on the grid by itself: that is twenty times as quick.
    on_grid = shapely.set_precision(apart, GRID_M, mode="valid_output" if twice else "pointwise")
    return shapely.buffer(on_grid, by_m, join_style="mitre", mitre_limit=_MOST_MITRE)
