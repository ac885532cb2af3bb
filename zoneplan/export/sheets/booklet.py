"""Many sheets as one booklet: pages in a row, bookmarks, and still tagged to be read aloud."""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from pypdf import PdfReader, PdfWriter
from pypdf.generic import (
    ArrayObject,
    BooleanObject,
    ByteStringObject,
    DictionaryObject,
    IndirectObject,
    NameObject,
    NumberObject,
    TextStringObject,
)

Mark = tuple[str, ...]  # a bookmark, below those that it is part of


@dataclass(frozen=True)
class Part:
    """One sheet of a booklet."""

    mark: Mark
    pdf: bytes


@dataclass
class _Structure:
    """What the booklet's structure is put together from."""

    kids: ArrayObject = field(default_factory=ArrayObject)  # the sheets' own, in a row
    roles: DictionaryObject = field(default_factory=DictionaryObject)
    numbers: ArrayObject = field(default_factory=ArrayObject)  # a number, and what stands on a page
    names: dict[bytes, IndirectObject] = field(default_factory=dict)  # the cells that others name
    next: int = 0


def pages_in(pdf: bytes) -> int:
    """Count the pages of a sheet."""
    return len(PdfReader(io.BytesIO(pdf)).pages)


def booklet_pdf(parts: Sequence[Part], title: str) -> bytes:
    """Bind sheets into one file. The same sheets give the same bytes.

    Parameters
    ----------
    parts : sequence of Part
        In their order; each a tagged PDF of ours.
    title : str
        Of the booklet.

    Notes
    -----
    Each sheet's structure becomes a part of the booklet's. A page finds its own by a number, and
    cells of tables name each other; every sheet counts and names from the beginning, so both are
    moved behind those of the sheets before.

    Source
    ------
    ISO 32000-1:2008, 14.7.2 (structure hierarchy) and 14.7.4.4 (finding structure elements from
    content items).
    """
    writer, bound = PdfWriter(), _Structure()
    root = DictionaryObject({NameObject("/Type"): NameObject("/StructTreeRoot")})
    whole = DictionaryObject({NameObject("/S"): NameObject("/Document")})
    root_at, whole_at = writer._add_object(root), writer._add_object(whole)
    marks: dict[Mark, Any] = {}
    add_mark: Any = writer.add_outline_item
    for part in parts:
        reader, first = PdfReader(io.BytesIO(part.pdf)), len(writer.pages)
        writer.append(reader, import_outline=False)
        for depth in range(1, len(part.mark) + 1):
            mark = part.mark[:depth]
            if mark not in marks:
                marks[mark] = add_mark(mark[-1], first, parent=marks.get(mark[:-1]))
        _bind(reader, writer, first, whole_at, bound)
    whole.update({NameObject("/P"): root_at, NameObject("/K"): bound.kids})
    root[NameObject("/K")] = whole_at
    root[NameObject("/RoleMap")] = bound.roles
    root[NameObject("/ParentTree")] = writer._add_object(
        DictionaryObject({NameObject("/Nums"): bound.numbers})
    )
    root[NameObject("/ParentTreeNextKey")] = NumberObject(bound.next)
    names = ArrayObject()
    for name, at in sorted(bound.names.items()):
        names.extend([ByteStringObject(name), at])
    if names:
        root[NameObject("/IDTree")] = writer._add_object(
            DictionaryObject(
                {
                    NameObject("/Names"): names,
                    NameObject("/Limits"): ArrayObject([names[0], names[-2]]),
                }
            )
        )
    yes = BooleanObject(True)
    writer.root_object.update(
        {
            NameObject("/StructTreeRoot"): root_at,
            NameObject("/MarkInfo"): DictionaryObject({NameObject("/Marked"): yes}),
            NameObject("/Lang"): TextStringObject("en"),
            NameObject("/ViewerPreferences"): DictionaryObject(
                {NameObject("/DisplayDocTitle"): yes}
            ),
        }
    )
    writer.metadata = {"/Title": title, "/Creator": "zoneplan"}
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def _bind(
    reader: PdfReader, writer: PdfWriter, first: int, whole_at: IndirectObject, bound: _Structure
) -> None:
    """Take a sheet's structure over, whose pages are there from `first` on."""
    source: Any = reader.root_object["/StructTreeRoot"]
    own: Any = source.clone(writer, force_duplicate=False)
    for kid in own["/K"]:
        kid.get_object().update({NameObject("/P"): whole_at, NameObject("/S"): NameObject("/Part")})
        bound.kids.append(kid)
    bound.roles.update(own.get("/RoleMap", {}))
    mark = f"{first}-".encode()
    for element in _elements(own["/K"]):
        _rename(element, mark)
    names = own.get("/IDTree", {}).get("/Names", [])
    for name, at in zip(names[::2], names[1::2], strict=True):
        bound.names[mark + _bytes(name)] = at
    numbers = own["/ParentTree"]["/Nums"]
    for number, there in zip(numbers[::2], numbers[1::2], strict=True):
        bound.numbers.extend([NumberObject(bound.next + number), there])
    for page, sheet in zip(writer.pages[first:], reader.pages, strict=True):
        for holder, known in zip(_numbered(page), _numbered(sheet), strict=True):
            for key in ("/StructParents", "/StructParent"):
                if key in known:
                    holder[NameObject(key)] = NumberObject(bound.next + known[key])
    bound.next += int(own["/ParentTreeNextKey"])


def _numbered(page: Any) -> list[Any]:
    """All that may hold such a number: a page, its notes, and what is drawn on it as one."""
    drawn = page.get("/Resources", {}).get("/XObject", {})
    return [
        page,
        *(note.get_object() for note in page.get("/Annots", [])),
        *(drawn[name].get_object() for name in sorted(drawn)),
    ]


def _elements(kids: Any) -> Iterator[Any]:
    for kid in kids if isinstance(kids, list) else [kids]:
        element = kid.get_object()
        if isinstance(element, DictionaryObject) and "/S" in element:
            yield element
            yield from _elements(element.get("/K", []))


def _rename(element: Any, mark: bytes) -> None:
    """Put a mark before an element's name, and before those that it names."""
    if "/ID" in element:
        element[NameObject("/ID")] = ByteStringObject(mark + _bytes(element["/ID"]))
    attributes = element.get("/A", [])
    for one in attributes if isinstance(attributes, list) else [attributes]:
        table: Any = one.get_object()
        if isinstance(table, DictionaryObject) and "/Headers" in table:
            heads: Any = table["/Headers"]
            renamed = ArrayObject(ByteStringObject(mark + _bytes(name)) for name in heads)
            table[NameObject("/Headers")] = renamed


def _bytes(name: Any) -> bytes:
    return name.original_bytes if isinstance(name, TextStringObject) else bytes(name)
