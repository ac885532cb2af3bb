"""What is in the files of a soil layer, packed into the book in parts and laid out again."""

import struct
import zipfile
import zlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from zoneplan.book.database import Book
from zoneplan.book.tables import contents
from zoneplan.errors import BookError, quoted
from zoneplan.plain_file import is_folder, scratch
from zoneplan.sources import Sources, Upload, provenance, safe

_PART = 10**6  # bytes
_FOLDER = "folder"  # or the ending of the one file that a layer is


def digest_of(path: Path) -> str:
    """Digest of a layer's files with their names: of what it is, however it is packed."""
    digest = sha256()
    for file in provenance(Sources("springs", soils=(path,))):
        digest.update(struct.pack(">Q", len(file.name.encode())) + file.name.encode())
        digest.update(bytes.fromhex(file.sha256))
    return digest.hexdigest()


def form_of(path: Path, uploads: tuple[Upload, ...]) -> str:
    """How the layer is laid out again: the file that it was, or the folder with its files."""
    alone = len(uploads) == 1 and uploads[0].name == path.name and not is_folder(path)
    return path.suffix.lower() if alone else _FOLDER


def content_of(uploads: tuple[Upload, ...]) -> bytes:
    """The bytes that are kept: of the one file, or of a zip of all."""
    if len(uploads) == 1:
        return uploads[0].content
    archive = BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as out:
        for file in uploads:
            out.writestr(f"rasters/{file.name}", file.content)
    return archive.getvalue()


def store(connection: sa.Connection, digest: str, content: bytes) -> None:
    """Keep it in parts, by its digest: once, however often it is added."""
    there = sa.select(sa.func.count()).where(contents.c.sha256 == digest)
    if connection.execute(there).scalar():
        return
    for part, start in enumerate(range(0, max(len(content), 1), _PART)):
        piece = zlib.compress(content[start : start + _PART], 1)
        connection.execute(sa.insert(contents).values(sha256=digest, part=part, packed=piece))


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
