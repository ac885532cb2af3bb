"""Is this shapefile whole? It is several files of one name, and each can be cut off.

Source: ESRI Shapefile Technical Description (July 1998): the header's file length, in
16-bit words; dBASE III table layout: number of records, header length, record length.
"""

from pathlib import Path
from typing import Literal

from zoneplan.errors import LayerError, listed
from zoneplan.plain_file import check_regular, head_of

_WELCOME = (".prj", ".cpg", ".qix", ".sbn", ".sbx", ".idm", ".ind", ".cst", ".qpj")


def check_whole(shp: Path) -> None:
    """Refuse a shapefile that lacks a part, or a part that is cut off.

    Raises
    ------
    LayerError
        With every part that is missing or short.
    """
    for ending in _WELCOME:
        part(shp, ending)  # is a regular file, if it is there
    faults = [f"{shp.stem}{end} is missing." for end in (".shx", ".dbf") if not part(shp, end)]
    faults += _cut_off(shp, 2 * _number(shp, 24, 28, "big"))
    if table := part(shp, ".dbf"):
        records = _number(table, 4, 8, "little")
        header, record = _number(table, 8, 10, "little"), _number(table, 10, 12, "little")
        faults += _cut_off(table, header + records * record)
    if not faults:
        return
    if part(shp, ".prj") is None:
        faults.append(f"{shp.stem}.prj, which says the coordinate system, is missing.")
    raise LayerError(
        listed(shp.name, faults)
        + "\nA shapefile is several files of one name, and we need them whole."
        + f"\nCopy {shp.stem}.shp, .shx, .dbf and .prj again, together."
    )


def part(shp: Path, ending: str) -> Path | None:
    """Find one of the files that make up a shapefile, its ending in upper or lower case."""
    for path in shp.parent.iterdir():
        if path.stem == shp.stem and path.suffix.lower() == ending:
            check_regular(path)
            return path
    return None


def _cut_off(path: Path, stated: int) -> list[str]:
    size = check_regular(path)
    return [f"{path.name} is cut off at {size:,} of {stated:,} bytes."] if size < stated else []


def _number(path: Path, start: int, end: int, order: Literal["big", "little"]) -> int:
    return int.from_bytes(head_of(path, 32)[start:end], order)
