"""Unpack a zip as people send it: in sub-folders, in upper case, and not always kindly."""

import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from zipfile import BadZipFile, ZipFile, ZipInfo

from zoneplan.errors import LayerError
from zoneplan.field.kind import kind_of

MOST_FILES = 5_000
MOST_BYTES = 2 * 1024**3  # what one shapefile may hold


@contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """Lend what a zip holds as a folder, for as long as it is needed.

    A folder or any other file is lent as it is. Endings come out in lower case.

    Raises
    ------
    LayerError
        When the zip is damaged, locked or far too big, or names files outside itself;
        when `path` is not what its ending says.
    """
    if kind_of(path) != "zip":
        yield path
        return
    with TemporaryDirectory(prefix="zoneplan-") as folder:
        try:
            with ZipFile(path) as archive:
                _unpack(archive, path.name, Path(folder))
        except (BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error) as fault:
            raise LayerError(
                f"{path.name} cannot be unpacked: {fault}.\n"
                "It is damaged or locked by a password. Download it again, or unpack it "
                "yourself and give the folder."
            ) from fault
        yield Path(folder)


def _unpack(archive: ZipFile, name: str, folder: Path) -> None:
    members = [member for member in archive.infolist() if not is_clutter(member)]
    size = sum(member.file_size for member in members)
    if len(members) > MOST_FILES or size > MOST_BYTES:
        raise LayerError(
            f"{name} holds {len(members):,} files of {size / 1e9:,.1f} GB together.\n"
            f"We unpack {MOST_FILES:,} files and {MOST_BYTES / 1e9:,.1f} GB at the most.\n"
            "Send a zip with the one layer or survey area that covers the field."
        )
    for member in members:
        if leads_out(member):
            raise LayerError(
                f"{name} names a file outside itself: {member.filename}.\n"
                "No honest zip does, so nothing of it was unpacked.\n"
                "Ask whoever made it for another."
            )
    for member in members:
        inside = PurePosixPath(member.filename.replace("\\", "/"))
        target = folder / inside.with_suffix(inside.suffix.lower())
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(archive.read(member))


def leads_out(member: ZipInfo) -> bool:
    """Whether this names a file outside the zip."""
    inside = PurePosixPath(member.filename.replace("\\", "/"))
    return inside.is_absolute() or ".." in inside.parts or ":" in inside.parts[0]


def is_clutter(member: ZipInfo) -> bool:
    """Whether this is a folder, or what a desktop adds to zips unasked."""
    parts = PurePosixPath(member.filename).parts
    return member.is_dir() or "__MACOSX" in parts or parts[-1].startswith(".")
