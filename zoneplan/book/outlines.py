"""The outlines of a file: whose ground each is, and what is wrong with it or between several."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.errors import BookError, LayerError, named, nearest, quoted
from zoneplan.field.columns import names_of, written
from zoneplan.field.crs import WGS_84, geodesic_area_ha
from zoneplan.field.files import MOST_CORNERS
from zoneplan.field.outline import LEAST_HA, MOST_HA, field_of, read_outlines
from zoneplan.plan.compare import LEAST_COMMON
from zoneplan.units import percent

Area = Polygon | MultiPolygon  # in WGS 84 degrees
ONE_GROWER = "All fields"  # of a book whose files name none
_CELL_DEG = 1e-7  # a centimetre: what differs by less has not moved
_KNOWN = {  # columns by what they are usually called
    "grower": ("grower", "grower_name", "farmer", "owner", "customer", "client", "landowner"),
    "farm": ("farm", "farm_name", "farmname"),
    "field": ("field", "field_name", "fieldname", "field name", "name", "label"),
}
_SHOWN = 3  # values of a column


class Problem(StrEnum):
    """What is wrong with an outline; none of these is kept."""

    NAMELESS = "no name"
    BROKEN = "broken"
    TINY = "no field's size"
    DOUBLE = "double"
    CLAIMED = "two growers"


@dataclass(frozen=True)
class Columns:
    """Which columns of a file say whose a field is; None: no column does."""

    grower: str | None = None
    farm: str | None = None
    field: str | None = None


@dataclass(frozen=True)
class Outline:
    """One outline of a file."""

    number: int  # as it lies in the file
    grower: str
    farm: str
    name: str
    shape: Area
    area_ha: float
    sha256: str

    @property
    def path(self) -> str:
        """Grower, farm and field, as a person writes it."""
        return " / ".join(filter(None, (self.grower, self.farm, self.name)))

    @property
    def key(self) -> tuple[str, str, str]:
        """By which the field is known."""
        return self.grower, self.farm, self.name


@dataclass(frozen=True)
class Remark:
    """What is wrong, or to be known, of an outline."""

    problem: Problem | None  # None: to be known, and kept
    outline: Outline
    words: str


def outlines_of(
    path: Path, columns: Columns, one_grower: str | None, usual_grower: str, crs: str | None
) -> tuple[list[Outline], list[Remark]]:
    """Read every outline with its names, and what is wrong with it by itself.

    `usual_grower` has them where no column says so and `one_grower` is None; that is asked of a
    file whose columns leave no choice.

    Raises
    ------
    LayerError, BookError
        When the file cannot be trusted, or no column says what is needed: what there is is told.
    """
    areas, _ = read_outlines(path, crs, MOST_CORNERS)
    chosen = _columns(areas, columns, path.name, one_grower)
    return _read(areas, chosen, path.name, one_grower or usual_grower)


def _columns(
    areas: gpd.GeoDataFrame, asked: Columns, source: str, one_grower: str | None
) -> Columns:
    """Find the columns that are named; where none is, only a file that leaves no choice will do."""
    there = names_of(areas)
    lowered = {name.lower(): name for name in reversed(there)}
    chosen = {}
    for part in ("grower", "farm", "field"):
        name = getattr(asked, part)
        if name is None:
            continue
        column = name if name in there else lowered.get(name.lower())
        if column is None:
            raise BookError(
                f"{source} has no column {quoted(name)} for the {part}. {nearest(name, there)}"
                f"\n{_table_of(areas, there)}"
            )
        chosen[part] = column
    if not chosen:
        usual = [name for name in there if name.lower() in _KNOWN["field"]]
        if one_grower is None and not len(there) == len(usual) <= 1:
            raise BookError(
                f"{_table_of(areas, there)}\n"
                "Whose they are is not guessed. Say which columns tell it, the farm only if "
                "there is one; or name the one grower of all of them.",
                code="field-columns",
                example=_proposal(there),
            )
        return Columns(field=usual[0] if len(usual) == 1 else None)
    if "field" not in chosen and len(areas) > 1:
        raise BookError(
            f"Nothing says what the fields of {source} are called.\n{_table_of(areas, there)}\n"
            "Say which column it is.",
            code="field-columns",
            example="field COLUMN",
        )
    return Columns(**chosen)


def _table_of(areas: gpd.GeoDataFrame, there: Sequence[str]) -> str:
    """What columns there are, and what stands in them."""
    lines = [f"It holds {len(areas)} outlines, and these columns:"]
    for name in there:
        values = dict.fromkeys(filter(None, (written(cell) for cell in areas[name])))
        first = ", ".join(quoted(value, 30) for value in [*values][:_SHOWN])
        lines.append(f"  {quoted(name)}: {len(values)} values, such as {first or 'none'}")
    return "\n".join(lines) if there else "It has no columns."


def _proposal(there: Sequence[str]) -> str:
    """The columns that are called as they mostly are: "grower OWNER, field NAME"."""
    usual = {
        part: next((name for name in there if name.lower() in names), "COLUMN")
        for part, names in _KNOWN.items()
    }
    return ", ".join(f"{part} {quoted(name)}" for part, name in usual.items())


def _read(
    areas: gpd.GeoDataFrame, columns: Columns, source: str, one_grower: str
) -> tuple[list[Outline], list[Remark]]:
    rounded = shapely.normalize(
        shapely.set_precision(areas.geometry.to_numpy(), _CELL_DEG, mode="pointwise")
    )
    valid = shapely.is_valid(areas.geometry.to_numpy())
    outlines, remarks = [], []
    for (number, row), ground, sound in zip(areas.iterrows(), rounded, valid, strict=True):
        cells = [_name(row[name]) if name else "" for name in vars(columns).values()]
        grower, farm, name = cells
        if columns.grower is None:
            grower = one_grower
        if columns.field is None:
            name = f"Field {number}" if len(areas) > 1 else Path(source).stem
        shape = row.geometry
        outline = Outline(
            int(number),
            grower,
            farm,
            name,
            shape,
            geodesic_area_ha(shape, WGS_84),
            sha256(shapely.to_wkb(ground)).hexdigest(),
        )
        outlines.append(outline)
        lacks = [part for part, text in (("grower", grower), ("field", name)) if not text]
        if lacks:
            words = f"nothing says its {' and '.join(lacks)}"
            remarks.append(Remark(Problem.NAMELESS, outline, words))
        remarks += _of_outline(outline, sound=bool(sound))
    return outlines, remarks


def _of_outline(outline: Outline, *, sound: bool) -> Iterator[Remark]:
    if not sound:
        try:
            field_of(outline.shape, outline.name, outline.path)
        except LayerError as error:
            yield Remark(Problem.BROKEN, outline, str(error).partition("\n")[0])
        else:
            yield Remark(None, outline, "crosses itself; it can be repaired, and keeps its area")
    elif not LEAST_HA <= outline.area_ha <= MOST_HA:
        words = f"{outline.area_ha:,.3g} ha: a field has {LEAST_HA:g} to {MOST_HA:,.0f}"
        yield Remark(Problem.TINY, outline, words)


def _name(cell: object) -> str:
    """A name as it is kept: no line breaks, and nothing that no database takes."""
    text = written(cell).encode("utf-8", "replace").decode("utf-8").replace("\0", "")
    return " ".join(text.split())


# ---- held against each other ---------------------------------------------------------------------


def of_several(
    outlines: Sequence[Outline], stays: Sequence[tuple[str, str, Area]], growers: Iterable[str]
) -> Iterator[Remark]:
    """Tell what is wrong between outlines: doubles, ground of two, and names that are nearly alike.

    Parameters
    ----------
    outlines : sequence of Outline
        Of one file.
    stays : sequence
        Grower, path and ground of fields that the book has besides.
    growers : iterable of str
        Whom the book knows.
    """
    yield from _doubles(outlines)
    yield from _overlaps(outlines, stays)
    yield from _nearly_alike(outlines, growers)


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
    outlines: Sequence[Outline], stays: Sequence[tuple[str, str, Area]]
) -> Iterator[Remark]:
    """Ground that two claim: growers, or fields of one."""
    claims = [(outline.grower, outline.path, outline.shape) for outline in outlines]
    claims += [(grower, f"{path}, of the book", shape) for grower, path, shape in stays]
    shapes = np.array([sound(shape) for *_, shape in claims])
    tree = shapely.STRtree(shapes)
    ours, others = tree.query(shapes[: len(outlines)], predicate="intersects")
    apart = ours != others
    ours, others = ours[apart], others[apart]
    common = shapely.area(shapely.intersection(shapes[ours], shapes[others]))
    areas = shapely.area(shapes)
    least = np.minimum(areas[ours], areas[others])
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.where(least > 0, common / least, 0.0)
    for one, other, share in zip(ours.tolist(), others.tolist(), shares.tolist(), strict=True):
        outline, (grower, path, _) = outlines[one], claims[other]
        if share < LEAST_COMMON or (other < len(outlines) and _is_double(outline, outlines[other])):
            continue
        words = f"shares {percent(share)} of the smaller with {quoted(path)}"
        yield Remark(Problem.CLAIMED if grower != outline.grower else None, outline, words)


def _is_double(one: Outline, other: Outline) -> bool:
    return one.key == other.key or (one.grower == other.grower and one.sha256 == other.sha256)


def sound(shape: Area) -> Any:
    """Give an outline whose lines do not cross."""
    return shape if shape.is_valid else shapely.make_valid(shape, method="structure")


def _nearly_alike(outlines: Sequence[Outline], growers: Iterable[str]) -> Iterator[Remark]:
    """Growers whose names differ only in capitals or stops: two, or one that was typed twice."""
    ways: dict[str, dict[str, None]] = defaultdict(dict)
    first: dict[str, Outline] = {}
    for outline in outlines:
        first.setdefault(outline.grower, outline)
    for name in (*first, *growers):
        ways[_bare(name)][name] = None
    for names in ways.values():
        for name in [*names][1:]:
            if name in first:
                others = named(other for other in names if other != name)
                words = f"its grower is written as nearly as {others}: one, or two?"
                yield Remark(None, first[name], words)


def _bare(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum()) or name
