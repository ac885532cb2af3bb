"""Soil in a book: copied from files or the public survey, kept in parts, and laid out again."""

import struct
import zipfile
import zlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from shapely.geometry import box

from zoneplan.book.database import Book
from zoneplan.book.fields import BookField, boundaries_of, fields
from zoneplan.book.inputs import Box, supplies
from zoneplan.book.supply import Added, Scope, put_in_place, record_for, scope_of, scope_of_field
from zoneplan.book.tables import contents, soils
from zoneplan.errors import BookError, LayerError, ZoneplanError, named, quoted
from zoneplan.field.columns import KNOWN
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.files import read_shapes
from zoneplan.field.layer import read_layer
from zoneplan.field.outline import field_of
from zoneplan.field.raster.grid import about, is_raster, placed
from zoneplan.field.shapes import Field
from zoneplan.field.survey.answer import has_vintage, read_answer, vintages
from zoneplan.field.survey.parts import is_survey
from zoneplan.field.unpack import unpacked
from zoneplan.plain_file import files_in, is_folder, read_plain, scratch
from zoneplan.public import surveys_of
from zoneplan.sources import Sources, Upload, is_raster_name, packed, provenance, safe

MOST_MB = 900  # of a soil layer: all of it is in memory while it is added
PUBLIC = "public soil survey.json"  # one name, so that a later answer takes the place of it
_CATALOGUE = "sacatlog.txt"  # of a survey: what areas it is of, and since when they stand
_PART = 10**6  # bytes
_FOLDER = "folder"  # or the ending of the one file that a layer is


def add_soil(
    book: Book, path: Path, *, who: str, scope: Scope | None = None, **names: str | None
) -> Added:
    """Copy a soil layer into the book, for all growers or for one, his farm or field.

    Parameters
    ----------
    path : Path
        A survey, rasters, points or polygons; a file or a folder.
    scope : Scope, optional
        For whom, where that is known; else the names say it.
    names : str, optional
        `grower`, `farm` and `field`, as the book has them.

    Raises
    ------
    BookError, LayerError
        When it cannot be read as soil, is too big, or there is no such grower.
    """
    with book.read() as connection:
        if scope is None:
            scope_of(connection, **names)
        asked = supplies(connection).asked.get("all", {})
    kind, vintage, place = _about(path, asked.get("crs"), dict(asked.get("columns", ())))
    form, content = _packing(path, packed(path))
    name, digest = path.name, _digest(path)
    if len(content) > MOST_MB * 10**6:
        raise BookError(
            f"{name} is {len(content) / 1e6:,.0f} MB, packed; a book takes {MOST_MB} MB of it.\n"
            "Give the survey area by itself, not the state."
        )
    values = {
        "name": name,
        "sha256": digest,
        "size_bytes": len(content),
        "kind": f"{kind}, {form}",
        "vintage": vintage,
        **dict(zip(("west", "south", "east", "north"), place or (None,) * 4, strict=True)),
    }
    with book.write() as connection:
        scope = scope or scope_of(connection, **names)
        news = put_in_place(connection, soils, scope, values)
        _store(connection, digest, content)
        if news != "the same":
            about = {"name": name, "kind": kind, "vintage": vintage, "sha256": digest}
            record_for(connection, scope, "soil added", who=who, **about)
    return Added("soil", name, scope.words, news, f"{kind} {vintage or ''}".strip())


def add_public_soil(
    book: Book,
    *,
    who: str,
    refresh: bool = False,
    offline: bool = False,
    grower: str | None = None,
    farm: str | None = None,
    field: str | None = None,
) -> list[tuple[BookField, Added | ZoneplanError]]:
    """Ask for the soils of fields, and keep each field's answer as a layer of its own.

    Parameters
    ----------
    refresh, offline : bool
        Ask again for what is in the cache; ask for nothing that is not.
    grower, farm, field : str, optional
        Only theirs; names as the book has them.

    Returns
    -------
    list
        Each field, with what was put into the book or what kept it from its soils.

    Raises
    ------
    BookError
        When there is no such grower, farm or field.
    """
    listed = fields(book, grower=grower, farm=farm, field=field)
    shapes = boundaries_of(book, [one.id for one in listed])
    grounds: dict[int, Field] = {}  # as a service is asked about them
    results: dict[int, Added | ZoneplanError] = {}
    for one in listed:
        try:
            grounds[one.id] = field_of(shapes[one.id], one.path, one.path)
        except ZoneplanError as error:
            results[one.id] = error
    asked = [one for one in listed if one.id in grounds]
    answers = surveys_of([*grounds.values()], refresh=refresh, offline=offline)
    with scratch() as room:
        path = Path(room, PUBLIC)
        for one, answer in zip(asked, answers, strict=True):
            if isinstance(answer, ZoneplanError):
                results[one.id] = answer
                continue
            path.write_bytes(answer.content)
            results[one.id] = add_soil(book, path, who=who, scope=scope_of_field(one))
    return [(one, results[one.id]) for one in listed]


# ---- what a layer is -----------------------------------------------------------------------------


def _about(
    path: Path, crs: str | None, columns: Mapping[str, str]
) -> tuple[str, str | None, Box | None]:
    """What kind of layer it is, its vintage, and where it lies. It is read, to see that it can."""
    if is_survey(path):
        ground = read_layer(path).ground.to_crs(WGS_84)
        west, south, east, north = map(float, ground.total_bounds)
        return "soil survey", _vintage(path), (west, south, east, north)
    rasters = [file for file in (files_in(path) if is_folder(path) else [path]) if is_raster(file)]
    if rasters:
        return "raster", None, _united([_raster_box(file, crs) for file in rasters])
    if path.suffix.lower() in (".csv", ".txt", ".tsv"):
        read_plain(path)
        return "points", None, None
    frames = [frame.to_crs(WGS_84) for frame in read_shapes(path, crs).values()]
    place = _united([tuple(map(float, frame.total_bounds)) for frame in frames])
    kinds = {kind for frame in frames for kind in frame.geom_type.dropna()}
    if kinds <= {"Point", "MultiPoint"}:
        return "points", None, place
    words = {str(name).lower() for frame in frames for name in frame.columns}
    wanted = {word for part in ("texture", "sand", "silt", "clay") for word in KNOWN[part]}
    if not words & {*wanted, *(column.lower() for column in columns.values())}:
        raise LayerError(
            f"{path.name} says no texture, sand, silt or clay: its columns are "
            f"{named(sorted(words - {'geometry'})) or 'none'}.\n"
            "A plan follows the soil, and we won't guess it.\n"
            "Set the names of its columns for the book first.",
            parameter="columns.texture",
            example="NAME",
        )
    return "polygons", None, place


def _raster_box(path: Path, crs: str | None) -> Box:
    source = about(path)
    west, south, east, north = move(
        box(*source.bounds), placed(source, path.name, crs), WGS_84
    ).bounds
    return west, south, east, north


def _united(boxes: list[Any]) -> Box:
    west, south, east, north = zip(*boxes, strict=True)
    return min(west), min(south), max(east), max(north)


def _vintage(path: Path) -> str | None:
    """Since when a survey stands, as its catalogue or its answer says: the latest of its areas."""
    if has_vintage(path):
        refreshed = (edition.refreshed or "" for edition in vintages(read_answer(path)))
        return max(refreshed, default="") or None
    with unpacked(path) as home:
        inside = files_in(home) if is_folder(home) else []
        catalogues = [file for file in inside if file.name.lower() == _CATALOGUE]
        lines = [
            line.split("|")
            for file in catalogues
            for line in read_plain(file).decode("utf-8", "replace").splitlines()
        ]
    dates = [cell.strip('"') for cells in lines for cell in cells[3:4] if cell.strip('"')]
    return max(dates, key=_dated, default=None)


def _dated(text: str) -> tuple[str, ...]:
    """A date as surveys write it, month first, so that the latest is the greatest."""
    month, _, rest = text.partition(" ")[0].partition("/")
    day, _, year = rest.partition("/")
    return year, month.zfill(2), day.zfill(2)


# ---- what is in its files ------------------------------------------------------------------------


def _digest(path: Path) -> str:
    """Digest of a layer's files with their names: of what it is, however it is packed."""
    digest = sha256()
    for file in provenance(Sources("springs", soils=(path,))):
        digest.update(struct.pack(">Q", len(file.name.encode())) + file.name.encode())
        digest.update(bytes.fromhex(file.sha256))
    return digest.hexdigest()


def _packing(path: Path, uploads: Sequence[Upload]) -> tuple[str, bytes]:
    """How a layer is laid out again, and the bytes for it: of the one file, or of a zip of all."""
    first = uploads[0]
    if not is_folder(path) and [file.name for file in uploads] == [path.name]:
        return path.suffix.lower(), first.content
    if not is_raster_name(first.name):
        return _FOLDER, first.content  # a zip already
    archive = BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as out:
        for file in uploads:
            out.writestr(f"rasters/{file.name}", file.content)
    return _FOLDER, archive.getvalue()


def _store(connection: sa.Connection, digest: str, content: bytes) -> None:
    """Keep it in parts, by its digest: once, in place of what is kept so and may be damaged."""
    connection.execute(sa.delete(contents).where(contents.c.sha256 == digest))
    for part, start in enumerate(range(0, max(len(content), 1), _PART)):
        piece = zlib.compress(content[start : start + _PART], 1)
        connection.execute(sa.insert(contents).values(sha256=digest, part=part, packed=piece))
    same = sa.update(soils).where(soils.c.sha256 == digest)
    connection.execute(same.values(size_bytes=len(content)))


@contextmanager
def laid_out(book: Book, layers: Collection[sa.Row[Any]]) -> Iterator[dict[str, Path]]:
    """Lend soil layers as files and folders, by digest, as long as fields are planned from them.

    Raises
    ------
    BookError
        When the book is damaged, or there is no room.
    """
    with scratch(BookError) as room:
        yield {row.sha256: _laid(book, row, room / row.sha256[:16]) for row in layers}


def _laid(book: Book, row: sa.Row[Any], home: Path) -> Path:
    form = row.kind.rpartition(", ")[2]
    name = "layer.zip" if form == _FOLDER else f"{safe(Path(row.name).stem) or 'soil'}{form}"
    path = home / name
    asked = sa.select(contents.c.packed).where(contents.c.sha256 == row.sha256)
    try:
        home.mkdir(exist_ok=True)
        with book.read() as connection, path.open("wb") as file:
            for (piece,) in connection.execute(asked.order_by(contents.c.part)):
                file.write(zlib.decompress(piece))
        if path.stat().st_size != row.size_bytes:
            raise zlib.error("a part is missing")
        if form != _FOLDER:
            return path
        with zipfile.ZipFile(path) as archive:
            archive.extractall(home / "folder")
        path.unlink()
    except (zlib.error, zipfile.BadZipFile) as error:
        raise BookError(
            f"The soil layer {quoted(row.name)} is damaged in the book: {error}.\nAdd it again.",
            code="book-no-soil",
        ) from error
    except OSError as error:
        raise BookError(
            f"The soil layer {quoted(row.name)} cannot be laid out: {error.strerror or error}.\n"
            "Make room in the folder for temporary files, or name another in TMPDIR."
        ) from error
    inside = [*(home / "folder").iterdir()]
    shapefile = [file for file in inside if file.suffix.lower() == ".shp"]
    return (shapefile or inside)[0] if shapefile or len(inside) == 1 else home / "folder"
