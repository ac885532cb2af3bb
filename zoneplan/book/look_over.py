"""What a file of fields would do to a book: what is new, moved, renamed or gone, or wrong."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from zoneplan.book.database import Book
from zoneplan.book.fields import BookField, boundaries_in, listing
from zoneplan.book.outlines import ONE_GROWER, Columns, Outline, Problem, Remark, outlines_of
from zoneplan.errors import named, quoted
from zoneplan.field.crs import WGS_84, geodesic_area_ha
from zoneplan.field.shapes import polygons_in
from zoneplan.plan.compare import LEAST_COMMON
from zoneplan.units import percent


@dataclass(frozen=True)
class Delivery:
    """What a file holds, held against a book; nothing of it is kept yet."""

    source: str
    fields: tuple[Outline, ...]
    remarks: tuple[Remark, ...]
    new: tuple[Outline, ...]
    moved: tuple[tuple[BookField, Outline, float], ...]  # and how many hectares are others
    renamed: tuple[tuple[BookField, Outline], ...]
    same: tuple[Outline, ...]
    gone: tuple[BookField, ...]  # in the book, and not in the file that could hold them

    @property
    def problems(self) -> tuple[Remark, ...]:
        """What keeps outlines from being kept."""
        return tuple(remark for remark in self.remarks if remark.problem)


def look_over(
    book: Book,
    path: Path,
    columns: Columns,
    *,
    one_grower: str | None = None,
    crs: str | None = None,
    gone: bool = False,
) -> Delivery:
    """Read a file of many fields, and hold it against the book.

    Parameters
    ----------
    path : Path
        Shapefile, GeoJSON, GeoPackage, KML or file geodatabase; a zip or a folder of these.
    columns : Columns
        Which say whose a field is; in any case.
    one_grower : str, optional
        Whose all of them are, where no column says so.
    crs : str, optional
        Coordinate system of a file that states none.
    gone : bool
        Whether what the file does not hold is planted no more: then its ground is free.

    Raises
    ------
    LayerError, BookError
        When the file cannot be trusted, or no column says what is needed: what there is is told.
    """
    with book.read() as connection:
        there = listing(connection)
        boundaries = boundaries_in(connection)
    growers = {field.grower for field in there}
    usual_grower = growers.pop() if len(growers) == 1 else ONE_GROWER
    outlines, remarks = outlines_of(path, columns, one_grower, usual_grower, crs)
    known = {field.key: field for field in there}
    named_so = {outline.key for outline in outlines}
    absent = [field for field in there if field.key not in named_so]
    missing = [field for field in absent if _could_hold(outlines, field.grower)]
    by_ground = {(field.grower, boundaries[field.id][0]): field for field in missing}
    renamed = {
        outline.number: by_ground[outline.grower, outline.sha256]
        for outline in outlines
        if outline.key not in known and (outline.grower, outline.sha256) in by_ground
    }
    going_on = {field.id for field in renamed.values()}
    left = [field for field in missing if field.id not in going_on]
    free = going_on | ({field.id for field in left} if gone else set())
    remarks += [
        *_doubles(outlines),
        *_overlaps(
            outlines,
            [
                (field.grower, field.path, boundaries[field.id][1])
                for field in absent
                if field.id not in free
            ],
        ),
        *_nearly_alike(outlines, there),
    ]
    remarks.sort(key=lambda remark: (remark.problem is None, remark.outline.number))
    bad = {remark.outline.number for remark in remarks if remark.problem}
    new, moved, again, same = [], [], [], []
    for outline in outlines:
        if outline.number in bad:
            continue
        if outline.number in renamed:
            again.append((renamed[outline.number], outline))
        elif outline.key not in known:
            new.append(outline)
        else:
            field = known[outline.key]
            digest, before = boundaries[field.id]
            if digest == outline.sha256:
                same.append(outline)
            else:
                moved.append((field, outline, _off_ha(before, outline.shape)))
    return Delivery(
        path.name,
        tuple(outlines),
        tuple(remarks),
        tuple(new),
        tuple(moved),
        tuple(again),
        tuple(same),
        tuple(left),
    )


def _could_hold(outlines: Sequence[Outline], grower: str) -> bool:
    """Whether a grower's fields could be missing: a file of one grower says nothing of others."""
    growers = {outline.grower for outline in outlines}
    return len(growers) != 1 or grower in growers


def _doubles(outlines: Sequence[Outline]) -> Iterator[Remark]:
    by_name: dict[tuple[str, str, str], list[Outline]] = defaultdict(list)
    by_ground: dict[tuple[str, str], list[Outline]] = defaultdict(list)
    for outline in outlines:
        by_name[outline.key].append(outline)
        by_ground[outline.grower, outline.sha256].append(outline)
    for alike, what in ((by_name, "name"), (by_ground, "outline")):
        for group in alike.values():
            for outline in group if len(group) > 1 else ():
                others = ", ".join(str(one.number) for one in group if one is not outline)
                words = f"the same {what} as outline {others}"
                yield Remark(Problem.DOUBLE, outline, words)


def _overlaps(
    outlines: Sequence[Outline], stays: Sequence[tuple[str, str, Any]]
) -> Iterator[Remark]:
    """Ground that two claim: growers, or fields of one."""
    shapes = np.array(
        [_sound(outline.shape) for outline in outlines] + [_sound(shape) for *_, shape in stays]
    )
    owners = [outline.grower for outline in outlines] + [grower for grower, *_ in stays]
    paths = [outline.path for outline in outlines] + [
        f"{path}, of the book" for _, path, _ in stays
    ]
    tree = shapely.STRtree(shapes)
    ours, others = tree.query(shapes[: len(outlines)], predicate="intersects")
    areas = shapely.area(shapes)
    apart = ours != others
    ours, others = ours[apart], others[apart]
    common = shapely.area(shapely.intersection(shapes[ours], shapes[others]))
    least = np.minimum(areas[ours], areas[others])
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.where(least > 0, common / least, 0.0)
    for one, other, share in zip(ours.tolist(), others.tolist(), shares.tolist(), strict=True):
        if share < LEAST_COMMON or (other < len(outlines) and _is_double(outlines, one, other)):
            continue
        words = f"shares {percent(share)} of the smaller with {quoted(paths[other])}"
        two = owners[one] != owners[other]
        yield Remark(Problem.CLAIMED if two else None, outlines[one], words)


def _is_double(outlines: Sequence[Outline], one: int, other: int) -> bool:
    a, b = outlines[one], outlines[other]
    return a.key == b.key or (a.grower == b.grower and a.sha256 == b.sha256)


def _sound(shape: Any) -> Any:
    return shape if shape.is_valid else shapely.make_valid(shape, method="structure")


def _nearly_alike(outlines: Sequence[Outline], there: Sequence[BookField]) -> Iterator[Remark]:
    """Growers whose names differ only in capitals or stops: two, or one that was typed twice."""
    ways: dict[str, dict[str, None]] = defaultdict(dict)
    first: dict[str, Outline] = {}
    for outline in outlines:
        ways[_bare(outline.grower)][outline.grower] = None
        first.setdefault(outline.grower, outline)
    for field in there:
        ways[_bare(field.grower)][field.grower] = None
    for names in ways.values():
        for name in [*names][1:] if len(names) > 1 else ():
            if name in first:
                others = named(other for other in names if other != name)
                words = f"its grower is written as nearly as {others}: one, or two?"
                yield Remark(None, first[name], words)


def _bare(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum()) or name


def _off_ha(before: Any, after: Any) -> float:
    """Hectares that only one of two outlines holds."""
    off = shapely.symmetric_difference(_sound(before), _sound(after))
    parts = polygons_in(off)
    return geodesic_area_ha(MultiPolygon(parts), WGS_84) if parts else 0.0
