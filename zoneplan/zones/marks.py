"""What somebody marked on the ground: words to tell it by, and one site out of several."""

from collections import defaultdict
from collections.abc import Callable, ItemsView, Iterable, Mapping

from zoneplan.field.shapes import HEADLAND, WHEEL_TRACK, Mark, Marks
from zoneplan.terms import MarkKind

_Parts = ItemsView[Marks, float]


def marks_of(site: Marks) -> tuple[Mark, ...]:
    """List what somebody marked here.

    A track across the headland is headland, for the planter treats them alike.

    >>> low = Mark(MarkKind.DRAWN, "low")
    >>> [mark.name for mark in marks_of(Marks(headland=True, track=True, part=low, steep=True))]
    ['headland', 'low']
    """
    wheels = HEADLAND if site.headland else WHEEL_TRACK if site.track else None
    return tuple(mark for mark in (wheels, site.part) if mark)


def drawn_by(site: Marks) -> str | None:
    """Name the zone that a person drew here. A class of a layer that only draws edges is none.

    >>> drawn, third = (Mark(kind, "low") for kind in (MarkKind.DRAWN, MarkKind.EDGE_CLASS))
    >>> drawn_by(Marks(part=drawn)), drawn_by(Marks(part=third))
    ('low', None)
    """
    if site.part is None or site.part.kind != MarkKind.DRAWN:
        return None
    return site.part.name


def blend_sites(sites_m2: Mapping[Marks, float]) -> Marks:
    """Blend sites by area into the site of the whole. One site gives itself back.

    Parameters
    ----------
    sites_m2 : mapping
        Area by site. [m²]

    Returns
    -------
    Marks
        What most of the area has; in a tie, what says less. The slope is the mean over
        the area that has one.

    Examples
    --------
    >>> turning = Marks(headland=True, slope_frac=0.02)
    >>> both = blend_sites({turning: 3.0, Marks(slope_frac=0.06): 1.0})
    >>> both.headland, both.slope_frac
    (True, 0.03)
    """
    if len(sites_m2) == 1:
        return next(iter(sites_m2))
    parts = sites_m2.items()
    return Marks(
        headland=_mostly(parts, lambda site: site.headland),
        track=_mostly(parts, lambda site: site.track),
        part=_largest(parts),
        slope_frac=_mean_slope(parts),
        gathers_water=_mostly(parts, lambda site: site.gathers_water),
        steep=_mostly(parts, lambda site: site.steep),
    )


def marked_shares(sites_m2: Iterable[tuple[Marks, float]]) -> tuple[tuple[Mark, float], ...]:
    """Share of the whole area that each mark lies on, largest first.

    >>> low = Mark(MarkKind.DRAWN, "low")
    >>> sites_m2 = [(Marks(headland=True), 1.0), (Marks(True, part=low), 1.0), (Marks(), 2.0)]
    >>> [(mark.name, share) for mark, share in marked_shares(sites_m2)]
    [('headland', 0.5), ('low', 0.25)]
    """
    whole_m2 = 0.0
    by_mark: dict[Mark, float] = defaultdict(float)
    for site, m2 in sites_m2:
        whole_m2 += m2
        for mark in marks_of(site):
            by_mark[mark] += m2
    ranked = sorted(by_mark.items(), key=lambda part: (-round(part[1], 4), _order(part[0])))
    return tuple((mark, m2 / whole_m2) for mark, m2 in ranked)


def _mostly(parts: _Parts, is_so: Callable[[Marks], bool]) -> bool:
    """Whether it is so on more than half the area."""
    return sum(m2 if is_so(site) else -m2 for site, m2 in parts) > 0


def _largest(parts: _Parts) -> Mark | None:
    """The part with the largest area; in a tie none, or else the first by name."""
    areas_m2: dict[Mark | None, float] = defaultdict(float)
    for site, m2 in parts:
        areas_m2[site.part] += m2
    return min(areas_m2, key=lambda part: (-areas_m2[part], _order(part)))


def _order(mark: Mark | None) -> tuple[str, str]:
    """What breaks a tie: none, or else the first by name."""
    return (mark.name, mark.kind) if mark else ("", "")


def _mean_slope(parts: _Parts) -> float | None:
    """Mean by area, over the area whose slope is known."""
    known = [(site.slope_frac, m2) for site, m2 in parts if site.slope_frac is not None]
    if not known:
        return None
    return sum(slope * m2 for slope, m2 in known) / sum(m2 for _, m2 in known)
