"""Bring the fields of a file into a book: look it over first, then keep what holds.

A file is brought again next year: what is new, moved, renamed or gone is told, and nothing that was
planned or agreed is lost.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
import sqlalchemy as sa
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.book.database import Book, now
from zoneplan.book.fields import BookField, boundaries_in, listing
from zoneplan.book.history import record
from zoneplan.book.tables import boundaries, farms, growers
from zoneplan.book.tables import fields as table
from zoneplan.errors import BookError, LayerError, named, nearest, quoted
from zoneplan.field.columns import names_of
from zoneplan.field.crs import WGS_84, geodesic_area_ha
from zoneplan.field.files import MOST_CORNERS
from zoneplan.field.outline import LEAST_HA, MOST_HA, field_of, read_outlines
from zoneplan.field.pick import written
from zoneplan.plan.compare import LEAST_COMMON

ONE_GROWER = "All fields"  # of a book whose files name none
_SAME = 1 - LEAST_COMMON  # of the ground: outlines that share as much are of one field
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
class Brought:
    """One outline of a file."""

    number: int  # as it lies in the file
    grower: str
    farm: str
    name: str
    shape: Polygon | MultiPolygon  # in WGS 84 degrees
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
    brought: Brought
    words: str


@dataclass(frozen=True)
class Delivery:
    """What a file holds, held against a book; nothing of it is kept yet."""

    source: str
    fields: tuple[Brought, ...]
    remarks: tuple[Remark, ...]
    new: tuple[Brought, ...]
    moved: tuple[tuple[BookField, Brought, float], ...]  # and how many hectares are others
    renamed: tuple[tuple[BookField, Brought], ...]
    same: tuple[Brought, ...]
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
    areas, _ = read_outlines(path, crs, MOST_CORNERS)
    with book.read() as connection:
        there = listing(connection)
        outlines = boundaries_in(connection)
    chosen = _columns(areas, columns, path.name, one_grower)
    grower = one_grower or _only_grower(there)
    brought, remarks = _read(areas, chosen, path.name, grower)
    return _held_against(path.name, brought, remarks, there, outlines, gone=gone)


def bring_in(
    book: Book, delivery: Delivery, *, who: str, leave_out: bool = False, gone: bool = False
) -> int:
    """Keep what was looked over. Give how many fields are new or other than they were.

    Parameters
    ----------
    leave_out : bool
        Keep the rest where some outlines have problems; else nothing is kept then.
    gone : bool
        Whether fields that the file does not hold are planted no more.

    Raises
    ------
    BookError
        When there are problems, or another has changed the fields meanwhile.
    """
    if delivery.problems and not leave_out:
        count = len({remark.brought.number for remark in delivery.problems})
        raise BookError(
            f"{delivery.source}: {count} of {len(delivery.fields)} outlines cannot be kept as they "
            "are.\nNothing was kept: whose ground it is, or where, is not clear.\n"
            "Put them right in the file, or leave them out."
        )
    with book.write() as connection:
        _refuse_stale(connection, delivery)
        people = _People(connection)
        source, at = delivery.source, now()
        for outline in delivery.new:
            field_id = people.field_id(outline)
            _add_boundary(connection, field_id, outline, source, at)
            record(connection, "field added", who=who, field_id=field_id, source=source)
        for field, outline, off_ha in delivery.moved:
            _add_boundary(connection, field.id, outline, source, at)
            record(
                connection,
                "field moved",
                who=who,
                field_id=field.id,
                source=source,
                off_ha=round(off_ha, 3),
            )
        for field, outline in delivery.renamed:
            farm_id = people.free_farm_id(outline)
            changed = sa.update(table).where(table.c.id == field.id)
            connection.execute(changed.values(farm_id=farm_id, name=outline.name))
            record(connection, "field renamed", who=who, field_id=field.id, before=field.path)
        leaves = delivery.gone if gone else ()
        for field in leaves:
            left = sa.update(table).where(table.c.id == field.id).values(gone_at=at)
            connection.execute(left)
            record(connection, "field gone", who=who, field_id=field.id, source=source)
    return len(delivery.new) + len(delivery.moved) + len(delivery.renamed) + len(leaves)


# ---- what the file says ------------------------------------------------------------------------


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
                f"\n{_told(areas, there)}"
            )
        chosen[part] = column
    if not chosen:
        usual = [name for name in there if name.lower() in _KNOWN["field"]]
        if one_grower is None and not len(there) == len(usual) <= 1:
            raise BookError(
                f"{_told(areas, there)}\nWhose they are is not guessed. Say which columns tell it, "
                "the farm only if there is one; or name the one grower of all of them.",
                code="field-columns",
                example=_proposal(there),
            )
        return Columns(field=usual[0] if len(usual) == 1 else None)
    if "field" not in chosen and len(areas) > 1:
        raise BookError(
            f"Nothing says what the fields of {source} are called.\n{_told(areas, there)}\n"
            "Say which column it is.",
            code="field-columns",
            example="field COLUMN",
        )
    return Columns(**chosen)


def _told(areas: gpd.GeoDataFrame, there: Sequence[str]) -> str:
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


def _only_grower(there: Sequence[BookField]) -> str:
    known = {field.grower for field in there}
    return known.pop() if len(known) == 1 else ONE_GROWER


def _read(
    areas: gpd.GeoDataFrame, columns: Columns, source: str, one_grower: str
) -> tuple[list[Brought], list[Remark]]:
    """Every outline with its names, and what is wrong with it by itself."""
    rounded = shapely.normalize(
        shapely.set_precision(areas.geometry.to_numpy(), _CELL_DEG, mode="pointwise")
    )
    valid = shapely.is_valid(areas.geometry.to_numpy())
    brought, remarks = [], []
    for (number, row), ground, sound in zip(areas.iterrows(), rounded, valid, strict=True):
        cells = [_name(row[name]) if name else "" for name in vars(columns).values()]
        grower, farm, name = cells
        if columns.grower is None:
            grower = one_grower
        if columns.field is None:
            name = f"Field {number}" if len(areas) > 1 else Path(source).stem
        shape = row.geometry
        outline = Brought(
            int(number),
            grower,
            farm,
            name,
            shape,
            geodesic_area_ha(shape, WGS_84),
            sha256(shapely.to_wkb(ground)).hexdigest(),
        )
        brought.append(outline)
        lacks = [part for part, text in (("grower", grower), ("field", name)) if not text]
        if lacks:
            words = f"nothing says its {' and '.join(lacks)}"
            remarks.append(Remark(Problem.NAMELESS, outline, words))
        remarks += _of_outline(outline, sound=bool(sound))
    return brought, remarks


def _of_outline(outline: Brought, *, sound: bool) -> Iterator[Remark]:
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


# ---- against each other, and against the book --------------------------------------------------


def _held_against(
    source: str,
    brought: Sequence[Brought],
    remarks: list[Remark],
    there: Sequence[BookField],
    outlines: dict[int, tuple[str, Any]],
    *,
    gone: bool,
) -> Delivery:
    known = {(field.grower, field.farm, field.name): field for field in there}
    named_so = {outline.key for outline in brought}
    missing = [
        field
        for key, field in known.items()
        if key not in named_so and _could_hold(brought, field.grower)
    ]
    by_ground = {outlines[field.id][0]: field for field in missing}
    renamed = [
        (by_ground[outline.sha256], outline)
        for outline in brought
        if outline.key not in known
        and outline.sha256 in by_ground
        and by_ground[outline.sha256].grower == outline.grower
    ]
    left = {field.id for field in missing} - {field.id for field, _ in renamed}
    goes = {field.id for field in missing if gone}
    stays = [field for key, field in known.items() if key not in named_so and field.id not in goes]
    stays = [field for field in stays if field.id not in {one.id for one, _ in renamed}]
    remarks += _doubles(brought)
    remarks += _overlaps(
        brought, [(field.grower, field.path, outlines[field.id][1]) for field in stays]
    )
    remarks += _nearly_alike(brought, there)
    bad = {remark.brought.number for remark in remarks if remark.problem}
    good = [outline for outline in brought if outline.number not in bad]
    again = {outline.number for _, outline in renamed}
    moved, same, new = [], [], []
    for outline in good:
        field = known.get(outline.key)
        if outline.number in again:
            continue
        if field is None:
            new.append(outline)
        elif outlines[field.id][0] == outline.sha256:
            same.append(outline)
        else:
            before = outlines[field.id][1]
            moved.append((field, outline, _off_ha(before, outline.shape)))
    return Delivery(
        source,
        tuple(brought),
        tuple(sorted(remarks, key=lambda remark: (remark.problem is None, remark.brought.number))),
        tuple(new),
        tuple(moved),
        tuple((field, outline) for field, outline in renamed if outline.number not in bad),
        tuple(same),
        tuple(field for field in missing if field.id in left),
    )


def _could_hold(brought: Sequence[Brought], grower: str) -> bool:
    """Whether a grower's fields could be missing: a file of one grower says nothing of others."""
    growers = {outline.grower for outline in brought}
    return len(growers) != 1 or grower in growers


def _doubles(brought: Sequence[Brought]) -> Iterator[Remark]:
    by_name: dict[tuple[str, str, str], list[Brought]] = defaultdict(list)
    by_ground: dict[tuple[str, str], list[Brought]] = defaultdict(list)
    for outline in brought:
        by_name[outline.key].append(outline)
        by_ground[outline.grower, outline.sha256].append(outline)
    for alike, what in ((by_name, "name"), (by_ground, "outline")):
        for group in alike.values():
            for outline in group if len(group) > 1 else ():
                others = ", ".join(str(one.number) for one in group if one is not outline)
                words = f"the same {what} as outline {others}"
                yield Remark(Problem.DOUBLE, outline, words)


def _overlaps(
    brought: Sequence[Brought], stays: Sequence[tuple[str, str, Any]]
) -> Iterator[Remark]:
    """Ground that two claim: growers, or fields of one."""
    shapes = np.array(
        [_sound(outline.shape) for outline in brought] + [_sound(shape) for *_, shape in stays]
    )
    owners = [outline.grower for outline in brought] + [grower for grower, *_ in stays]
    paths = [outline.path for outline in brought] + [f"{path}, of the book" for _, path, _ in stays]
    tree = shapely.STRtree(shapes)
    ours, others = tree.query(shapes[: len(brought)], predicate="intersects")
    areas = shapely.area(shapes)
    apart = ours != others
    ours, others = ours[apart], others[apart]
    common = shapely.area(shapely.intersection(shapes[ours], shapes[others]))
    least = np.minimum(areas[ours], areas[others])
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.where(least > 0, common / least, 0.0)
    for one, other, share in zip(ours.tolist(), others.tolist(), shares.tolist(), strict=True):
        if share < LEAST_COMMON or (other < len(brought) and _is_double(brought, one, other)):
            continue
        words = f"shares {share:.0%} of the smaller with {quoted(paths[other])}"
        two = owners[one] != owners[other]
        yield Remark(Problem.CLAIMED if two else None, brought[one], words)


def _is_double(brought: Sequence[Brought], one: int, other: int) -> bool:
    a, b = brought[one], brought[other]
    return a.key == b.key or (a.grower == b.grower and a.sha256 == b.sha256)


def _sound(shape: Any) -> Any:
    return shape if shape.is_valid else shapely.make_valid(shape, method="structure")


def _nearly_alike(brought: Sequence[Brought], there: Sequence[BookField]) -> Iterator[Remark]:
    """Growers whose names differ only in capitals or stops: two, or one that was typed twice."""
    ways: dict[str, Counter[str]] = defaultdict(Counter)
    first: dict[str, Brought] = {}
    for outline in brought:
        ways[_bare(outline.grower)][outline.grower] += 1
        first.setdefault(outline.grower, outline)
    for field in there:
        ways[_bare(field.grower)][field.grower] += 1
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
    parts = [part for part in shapely.get_parts(off) if isinstance(part, Polygon)]
    return geodesic_area_ha(MultiPolygon(parts), WGS_84) if parts else 0.0


# ---- into the tables ---------------------------------------------------------------------------


class _People:
    """Growers, farms and fields by their names; those that are not there yet are added."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection
        self._growers: dict[str, int] = {
            row.name: row.id for row in connection.execute(sa.select(growers))
        }
        self._farms: dict[tuple[int, str], int] = {
            (row.grower_id, row.name): row.id for row in connection.execute(sa.select(farms))
        }

    def farm_id(self, outline: Brought) -> int:
        grower_id = self._growers.get(outline.grower)
        if grower_id is None:
            grower_id = self._growers[outline.grower] = self._insert(growers, name=outline.grower)
        key = (grower_id, outline.farm)
        if key not in self._farms:
            self._farms[key] = self._insert(farms, grower_id=grower_id, name=outline.farm)
        return self._farms[key]

    def free_farm_id(self, outline: Brought) -> int:
        """The farm, where no field of this name is: one that was planted once steps aside."""
        farm_id = self.farm_id(outline)
        before = (table.c.farm_id == farm_id) & (table.c.name == outline.name)
        until = sa.func.substr(table.c.gone_at, 1, 19)
        aside = sa.update(table).where(before & table.c.gone_at.is_not(None))
        self._connection.execute(aside.values(name=table.c.name + " (until " + until + ")"))
        return farm_id

    def field_id(self, outline: Brought) -> int:
        """A new field, or one that comes back."""
        farm_id = self.farm_id(outline)
        place = (table.c.farm_id == farm_id) & (table.c.name == outline.name)
        field_id = self._connection.execute(sa.select(table.c.id).where(place)).scalar()
        if field_id is None:
            return self._insert(table, farm_id=farm_id, name=outline.name, version=0)
        back = sa.update(table).where(table.c.id == field_id).values(gone_at=None)
        self._connection.execute(back)
        return int(field_id)

    def _insert(self, into: sa.Table, **values: Any) -> int:
        (number,) = self._connection.execute(
            sa.insert(into).values(values).returning(into.c.id)
        ).one()
        return int(number)


def _add_boundary(
    connection: sa.Connection, field_id: int, outline: Brought, source: str, at: str
) -> None:
    version = connection.execute(
        sa.select(sa.func.max(boundaries.c.version)).where(boundaries.c.field_id == field_id)
    ).scalar()
    west, south, east, north = outline.shape.bounds
    connection.execute(
        sa.insert(boundaries).values(
            field_id=field_id,
            version=(version or 0) + 1,
            shape=shapely.to_wkb(outline.shape),
            sha256=outline.sha256,
            area_ha=outline.area_ha,
            west=west,
            south=south,
            east=east,
            north=north,
            source=source,
            at=at,
        )
    )
    holds = sa.update(table).where(table.c.id == field_id).values(version=(version or 0) + 1)
    connection.execute(holds)


def _refuse_stale(connection: sa.Connection, delivery: Delivery) -> None:
    """What was looked over must still be what is there."""
    there = {(field.grower, field.farm, field.name): field for field in listing(connection)}
    seen = [field for field, _, _ in delivery.moved] + [field for field, _ in delivery.renamed]
    seen += delivery.gone
    stale = [outline.path for outline in delivery.new if outline.key in there]
    now_there = {field.id: field.ground for field in there.values()}
    stale += [field.path for field in seen if now_there.get(field.id) != field.ground]
    if stale:
        raise BookError(
            f"Another has changed fields of the book meanwhile: {named(stale)}.\n"
            "Nothing was kept, and nothing of his was written over. Bring the file in again."
        )
