"""Many sheets as one booklet: pages in a row, bookmarks, and still tagged to be read aloud.

A sheet is taken over object by object as typst wrote it, with other numbers: what a page shows is
not looked at.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from zoneplan.export.readers import pdf_objects

Mark = tuple[str, ...]  # a bookmark, below those that it is part of

_LINK = re.compile(rb"(\d+) 0 R")
_CHANGES = re.compile(rb"(?P<link>\d+)(?= 0 R)|(?P<key>/StructParents? )(?P<number>\d+)")
_QUOTED = re.compile(rb"\\.|[()]", re.DOTALL)
_NAMES_OTHERS = re.compile(rb"/(?:ID|Headers\[)\Z")


@dataclass(frozen=True)
class Part:
    """One sheet of a booklet."""

    mark: Mark
    pdf: bytes


@dataclass
class _Bound:
    """What the booklet is put together from."""

    objects: dict[int, bytes] = field(default_factory=dict)  # by their numbers
    pages: list[int] = field(default_factory=list)  # of each sheet, the object with its pages
    count: int = 0  # of pages
    kids: list[int] = field(default_factory=list)  # the sheets' own structures, in a row
    roles: dict[bytes, None] = field(default_factory=dict)
    numbers: list[bytes] = field(default_factory=list)  # a number, and what stands on a page
    names: list[bytes] = field(default_factory=list)  # the cells that others name
    next: int = 0


_CATALOG, _INFO, _PAGES, _ROOT, _WHOLE, _MARKS, _FIRST = range(1, 8)


def booklet_pdf(parts: Sequence[Part], title: str) -> bytes:
    """Bind sheets into one file. The same sheets give the same bytes.

    Parameters
    ----------
    parts : sequence of Part
        In their order; each a tagged PDF of ours.
    title : str
        Of the booklet.

    Raises
    ------
    ValueError
        When a sheet does not hold together.

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
    bound = _Bound(dict.fromkeys(range(1, _FIRST), b""))
    begins: dict[Mark, int] = {}  # each mark at the first page below it
    for part in parts:
        page = _bind(part.pdf, bound)
        for depth in range(1, len(part.mark) + 1):
            begins.setdefault(part.mark[:depth], page)
    _add_marks(begins, bound)
    names = b" ".join(sorted(bound.names))
    bound.objects |= {
        _CATALOG: b"<</Type/Catalog/Pages %d 0 R/Outlines %d 0 R/StructTreeRoot %d 0 R/Lang(en)"
        b"/MarkInfo<</Marked true>>/ViewerPreferences<</DisplayDocTitle true>>>>"
        % (_PAGES, _MARKS, _ROOT),
        _INFO: b"<</Title%b/Creator(zoneplan)>>" % _text(title),
        _PAGES: b"<</Type/Pages/Count %d/Kids[%b]>>" % (bound.count, _links(bound.pages)),
        _ROOT: b"<</Type/StructTreeRoot/K %d 0 R/RoleMap<<%b>>/ParentTree<</Nums[%b]>>"
        b"/ParentTreeNextKey %d/IDTree<</Names[%b]>>>>"
        % (_WHOLE, b"".join(bound.roles), b" ".join(bound.numbers), bound.next, names),
        _WHOLE: b"<</Type/StructElem/S/Document/P %d 0 R/K[%b]>>" % (_ROOT, _links(bound.kids)),
    }
    return _written(bound.objects)


def _bind(pdf: bytes, bound: _Bound) -> int:
    """Take a sheet over, and give the number of its first page."""
    objects, catalog = pdf_objects(pdf)
    pages, root = (_linked(name, objects[catalog]) for name in (b"Pages", b"StructTreeRoot"))
    structure = objects[root]
    kids = [int(kid) for kid in _LINK.findall(_inside(rb"/K\[(.*?)\]", structure))]
    taken = sorted(_reached([pages, root], objects, without=root))
    base = len(bound.objects)
    numbers = {old: base + at for at, old in enumerate(taken, start=1)} | {root: _WHOLE}
    mark = b"%d-" % bound.count
    for old in taken:
        head, stream, rest = objects[old].partition(b"stream\n")
        changed = _changed(head, numbers, bound.next, mark)
        bound.objects[numbers[old]] = changed + stream + rest
    for kid in kids:
        element = bound.objects[numbers[kid]]
        bound.objects[numbers[kid]] = element.replace(b"/S/Document", b"/S/Part", 1)
    bound.kids += [numbers[kid] for kid in kids]
    bound.roles.update(dict.fromkeys(re.findall(rb"/\w+/\w+", _roles(structure))))
    for number, old in re.findall(rb"(\d+) (\d+) 0 R", _inside(rb"/Nums\[(.*?)\]", structure)):
        bound.numbers.append(b"%d %d 0 R" % (bound.next + int(number), numbers[int(old)]))
    for name, old in re.findall(rb"\(([^()]*)\)(\d+) 0 R", structure):
        bound.names.append(b"(%b%b)%d 0 R" % (mark, name, numbers[int(old)]))
    bound.next += int(_inside(rb"/ParentTreeNextKey (\d+)", structure))
    bound.count += int(_inside(rb"/Count (\d+)", objects[pages]))
    own = bound.objects[numbers[pages]]
    bound.objects[numbers[pages]] = own.replace(b"<<", b"<</Parent %d 0 R" % _PAGES, 1)
    bound.pages.append(numbers[pages])
    return numbers[int(_LINK.findall(_inside(rb"/Kids\[(.*?)\]", objects[pages]))[0])]


def _inside(pattern: bytes, part: bytes) -> bytes:
    match = re.search(pattern, part, re.DOTALL)
    if match is None:
        raise ValueError(f"a sheet has no {pattern.decode()}")
    return match[1]


def _linked(name: bytes, part: bytes) -> int:
    return int(_inside(rb"/%b (\d+) 0 R" % name, part))


def _roles(structure: bytes) -> bytes:
    return _inside(rb"/RoleMap<<(.*?)>>", structure) if b"/RoleMap" in structure else b""


def _reached(begin: Sequence[int], objects: Mapping[int, bytes], *, without: int) -> set[int]:
    """Find all objects that lead from one to another, but for the last."""
    reached, ahead = set(begin), list(begin)
    while ahead:
        head = objects[ahead.pop()].partition(b"stream\n")[0]
        plain = b" ".join(words for words, quoted in _pieces(head) if not quoted)
        numbers = {int(number) for number in _LINK.findall(plain)} - reached
        reached |= numbers
        ahead += numbers
    return reached - {without}


def _pieces(part: bytes) -> Iterator[tuple[bytes, bool]]:
    """Take what a person may have written, which stands in brackets, apart from the rest."""
    begin = depth = 0
    for bracket in _QUOTED.finditer(part):
        step = {b"(": 1, b")": -1}.get(bracket[0], 0)
        if step > 0 and depth == 0:
            yield part[begin : bracket.start()], False
            begin = bracket.start()
        depth += step
        if step < 0 and depth == 0:
            yield part[begin : bracket.end()], True
            begin = bracket.end()
    yield part[begin:], False


def _changed(head: bytes, numbers: Mapping[int, int], first: int, mark: bytes) -> bytes:
    """Give an object's links, numbers and names those of the booklet."""

    def change(link: re.Match[bytes]) -> bytes:
        if link["link"]:
            return b"%d" % numbers[int(link["link"])]
        return link["key"] + b"%d" % (first + int(link["number"]))

    changed = b""
    naming = False
    for words, quoted in _pieces(head):
        if quoted:
            changed += b"(" + mark + words[1:] if naming else words
        else:
            changed += _CHANGES.sub(change, words)
            naming = bool(_NAMES_OTHERS.search(words)) or (naming and not words.strip())
    return changed


def _add_marks(begins: Mapping[Mark, int], bound: _Bound) -> None:
    """Add a bookmark for each, below those that it is part of."""
    base = len(bound.objects)
    numbers = {mark: base + at for at, mark in enumerate(begins, start=1)} | {(): _MARKS}
    below: dict[Mark, list[Mark]] = {mark: [] for mark in numbers}
    for mark in begins:
        below[mark[:-1]].append(mark)
    for mark, number in numbers.items():
        own = below[mark]
        ends = (numbers[own[0]], numbers[own[-1]]) if own else ()
        head = b"/First %d 0 R/Last %d 0 R" % ends if ends else b""
        if not mark:
            bound.objects[number] = b"<</Type/Outlines%b/Count %d>>" % (head, len(begins))
            continue
        beside = below[mark[:-1]]
        at = beside.index(mark)
        before = b"/Prev %d 0 R" % numbers[beside[at - 1]] if at else b""
        after = b"/Next %d 0 R" % numbers[beside[at + 1]] if at + 1 < len(beside) else b""
        count = b"/Count %d" % len(own) if own else b""
        bound.objects[number] = b"<</Title%b/Parent %d 0 R%b/Dest[%d 0 R/Fit]>>" % (
            _text(mark[-1]),
            numbers[mark[:-1]],
            before + after + head + count,
            begins[mark],
        )


def _text(words: str) -> bytes:
    return b"<%b>" % (b"\xfe\xff" + words.encode("utf-16-be")).hex().encode()


def _links(numbers: Sequence[int]) -> bytes:
    return b" ".join(b"%d 0 R" % number for number in numbers)


def _written(objects: Mapping[int, bytes]) -> bytes:
    """Write objects with the table of their places."""
    file = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
    table = [b"0000000000 65535 f \n"]
    for number in range(1, len(objects) + 1):
        table.append(b"%010d 00000 n \n" % len(file))
        file += b"%d 0 obj\n%b\nendobj\n" % (number, objects[number])
    end = len(file)
    file += b"xref\n0 %d\n%b" % (len(table), b"".join(table))
    file += b"trailer\n<</Size %d/Root %d 0 R/Info %d 0 R>>\n" % (len(table), _CATALOG, _INFO)
    return bytes(file + b"startxref\n%d\n%%%%EOF\n" % end)
