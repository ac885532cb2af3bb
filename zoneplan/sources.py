"""Sources: the files that a plan is made from, by role, wherever they are."""

import glob
import zipfile
from collections.abc import Iterator
from dataclasses import MISSING, dataclass, fields
from hashlib import sha256
from io import BytesIO
from itertools import count
from pathlib import Path

from zoneplan.ask import Ask, Form, Part, asked, asks, many_files, one_file
from zoneplan.plain_file import is_file, is_folder, no_room, read_plain
from zoneplan.request import Request
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.zones.edit import More

_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the first that a zip knows: the same files give the same bytes
_MOST_LETTERS = 60  # of a file's name; four bytes each still fit any disk


@dataclass(frozen=True)
class Upload:
    """One file as it was sent: it lies on no disk."""

    name: str
    content: bytes


File = Path | Upload


@dataclass(frozen=True)
class Sources:
    """The files of one field, its planter, and rules and checks of one's own."""

    machine: File | str = asked(  # or the name of a generic one
        MISSING,
        Form.FILE,
        Part.DAY,
        "Machine",
        f"Your planter's machine file, or a generic planter: {', '.join(SYSTEMS)}.",
        option="--machine",
        example="FILE_OR_NAME",
        choices=SYSTEMS,
    )
    boundary: File | None = one_file(  # None where it is drawn
        Part.FIELD, "Boundary", "The field's outline."
    )
    soils: tuple[File, ...] = many_files(  # what is drawn comes first
        Part.SOIL,
        "Soil layers",
        "A soil survey in any shape, rasters of sand, silt and clay (a file, or a folder of them), "
        "points, or polygons with a texture. Repeat for more: where two overlap, the better one "
        "wins (samples, then surveys, then rasters), and the other fills what it lacks. The word "
        '"survey" asks the public soil survey of the United States for it.',
        option="--soil",
        example="SOIL",
    )
    samples: File | None = one_file(
        Part.SOIL,
        "Texture samples",
        "Texture samples of this field, to read a conductivity log by.",
        option="--samples",
    )
    elevation: File | None = one_file(
        Part.MARKS,
        "Elevation",
        "Heights (GeoTIFF): where water gathers is planned wetter, slopes swing more. The word "
        '"service" asks the public elevation service of the United States for them.',
        option="--elevation",
    )
    tracks: File | None = one_file(
        Part.MARKS, "Wheel tracks", "Wheel tracks, as lines or outlines.", option="--tracks"
    )
    zones: File | None = one_file(
        Part.MARKS,
        "Drawn zones",
        "Zones drawn by hand, as polygons. Each stays a zone of its own.",
        option="--drawn",
    )
    rules: tuple[File, ...] = many_files(
        Part.DAY,
        "Rules",
        "Your own rules, laid over the stock ones. Repeat for more.",
        option="--rules",
    )
    checks: tuple[File, ...] = many_files(
        Part.DAY,
        "Hand checks",
        "What was found by hand in a zone (TOML): every opener load is corrected by it. Repeat "
        "for more.",
        option="--observed",
    )
    more: More = ()


@dataclass(frozen=True)
class SourceFile:
    """What is remembered of a file that a plan was made from."""

    role: str  # a field of Sources
    name: str
    size_bytes: int
    sha256: str


def files_of(sources: Sources) -> Iterator[tuple[str, File]]:
    """Give every file with its role, in the order of the roles."""
    for role in fields(Sources):
        value = getattr(sources, role.name)
        for file in value if isinstance(value, tuple) else (value,):
            if isinstance(file, Path | Upload):
                yield role.name, file


def provenance(sources: Sources) -> tuple[SourceFile, ...]:
    """Tell every file that a plan was made from; a folder is told file by file."""
    return tuple(
        SourceFile(role, name, len(content), sha256(content).hexdigest())
        for role, file in files_of(sources)
        for name, content in contents_of(file)
    )


def packed(path: Path) -> tuple[Upload, ...]:
    """Take a file into memory; a folder, or a shapefile with what lies beside it, as a zip.

    A folder of rasters is taken file by file: rasters that are sent together are one layer.

    Raises
    ------
    LayerError
        When it cannot be read.
    """
    contents = [*contents_of(path)]
    if is_folder(path) and all(is_raster_name(name) for name, _ in contents):
        return tuple(Upload(name.rpartition("/")[2], content) for name, content in contents)
    if len(contents) == 1 and not is_folder(path):
        return (Upload(*contents[0]),)
    archive = BytesIO()
    with zipfile.ZipFile(archive, "w") as out:
        for name, content in contents:
            out.writestr(zipfile.ZipInfo(name, _NO_DATE), content, zipfile.ZIP_DEFLATED)
    return (Upload(f"{path.stem}.zip", archive.getvalue()),)


def is_raster_name(name: str) -> bool:
    """Whether a file is a raster, by its name."""
    return name.lower().endswith((".tif", ".tiff"))


def on_disk(file: File, folder: Path) -> Path:
    """Give a file as a path: where it lies, or put into a folder of ours.

    Of an upload's name only the last part counts, and only letters that every disk takes; the
    readers go by its ending, which stays. A second of one name gets a number.
    """
    if isinstance(file, Path):
        return file
    last = file.name.replace("\\", "/").rpartition("/")[2]
    stem, dot, ending = last.rpartition(".")
    if not dot:
        stem, ending = ending, ""
    folder.mkdir(exist_ok=True)
    safe_stem, ending = safe(stem) or "upload", safe(ending)
    path = folder / f"{safe_stem}{dot}{ending}"
    again = count(2)
    while path.exists():
        path = folder / f"{safe_stem} ({next(again)}){dot}{ending}"
    try:
        path.write_bytes(file.content)
    except OSError as error:
        raise no_room(f"{path.name} cannot be put by to be read", error) from error
    return path


def safe(name: str) -> str:
    """What is left of a name on any disk.

    >>> safe("Smith's <b>40</b>.")
    'Smith_s _b_40__b_'
    """
    cleaned = "".join(
        character if character.isalnum() or character in " ._-()" else "_" for character in name
    )
    return cleaned.strip(" .")[:_MOST_LETTERS]


def contents_of(file: File) -> Iterator[tuple[str, bytes]]:
    """Every file that a source stands for, by its name."""
    if isinstance(file, Upload):
        yield file.name, file.content
    elif is_folder(file):
        for path in sorted(path for path in file.rglob("*") if is_file(path)):
            yield path.relative_to(file.parent).as_posix(), read_plain(path)
    elif file.suffix.lower() == ".shp":
        for path in sorted(file.parent.glob(f"{glob.escape(file.stem)}.*")):
            yield path.name, read_plain(path)
    else:
        yield file.name, read_plain(file)


def ask_of(parameter: str) -> tuple[Ask, str]:
    """Find how a parameter is asked for, and its key where it is one of several.

    >>> ask, key = ask_of("columns.sand")
    >>> ask.option.format(key)
    '--sand-column'
    """
    name, _, key = parameter.partition(".")
    return {**dict(asks(Sources)), **dict(asks(Request))}[name], key
