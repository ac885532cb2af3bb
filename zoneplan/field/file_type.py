"""What kind of file it is, and whether it still is: its content says, its ending must agree."""

from pathlib import Path

from zoneplan.errors import LayerError
from zoneplan.plain_file import check_regular, head_of, is_file, is_folder

_ENDINGS = {
    ".shp": "shapefile",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".gpkg": "GeoPackage",
    ".kml": "KML",
    ".zip": "zip",
    ".kmz": "zip",
}
_STARTS = {
    b"\x00\x00\x27\x0a": "shapefile",
    b"SQLite format 3\x00": "GeoPackage",
    b"PK\x03\x04": "zip",
    b"PK\x05\x06": "zip",  # an empty one
    b"{": "GeoJSON",
    b"%PDF": "PDF",
    b"\x89PNG": "picture",
    b"\xff\xd8\xff": "picture",
    b"II*\x00": "picture",
    b"MM\x00*": "picture",
}
_TIFF = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")  # and BigTIFF, in either byte order
_MOST_HEAD = 4096  # bytes


def kind_of(path: Path) -> str:
    """Tell a folder, zip, shapefile, GeoPackage, GeoJSON or KML file by its content.

    A file geodatabase is a folder of many files, told by its name.

    Raises
    ------
    LayerError
        When there is no such file, it is empty, it is none of these, or its ending says
        that it is another.
    """
    if is_folder(path):
        return "geodatabase" if path.suffix.lower() == ".gdb" else "folder"
    check_regular(path)
    named = _ENDINGS.get(path.suffix.lower())
    if named is None:
        raise LayerError(
            f"{path.name} has an ending we do not read.\n"
            f"Give a folder or a file that ends in {', '.join(_ENDINGS)}; of a shapefile, "
            "give the .shp."
        )
    content = _kind_of_content(path)
    if content != named:
        raise LayerError(
            f"{path.name} is named as a {named} file, but its content is {content}.\n"
            "One of the two is wrong, and a guess could put the zones in another field.\n"
            "Export the layer again, or give the file the ending it should have."
        )
    return named


def is_tiff(path: Path) -> bool:
    """Whether a file begins as a TIFF does. What it holds nobody has looked at."""
    return is_file(path) and head_of(path, 4).startswith(_TIFF)


def stamp(path: Path) -> object:
    """What changes with a file, or with any in a folder: what was read of it holds until then."""
    try:
        files = [path, *sorted(path.iterdir())] if path.is_dir() else [path]
        return tuple((file.name, (at := file.stat()).st_mtime_ns, at.st_size) for file in files)
    except (OSError, ValueError):  # of a name that no disk can have, too
        return None


def _kind_of_content(path: Path) -> str:
    head = head_of(path, _MOST_HEAD)
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not text:
        return "empty"
    for start, kind in _STARTS.items():
        if head.startswith(start) or text.startswith(start):
            return kind
    if b"<kml" in text:
        return "KML"
    return "a web page" if b"<html" in text.lower() else "something else"
