"""What each element of our task sets may hold, version by version; what does not fit is told.

Source
------
ISO 11783-10, by its published schemas (versions 3.3 and 4.3): names, ranges and lengths. Only
the elements and attributes that we write are listed, and those that we always write are
needed even where the schemas would do without.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from zoneplan.export.taskset import DOWNFORCE_DDI, ROOT


@dataclass(frozen=True)
class Form:
    """What an attribute may hold."""

    words: str
    pattern: str
    least: float | None = None  # None: it is no number
    most: float | None = None
    refers: bool = False  # to the id of another element

    def fits(self, text: str) -> bool:
        """Tell whether a text has this form."""
        if not re.fullmatch(self.pattern, text):
            return False
        return self.least is None or self.most is None or self.least <= float(text) <= self.most


@dataclass(frozen=True)
class Kind:
    """What an element may hold: children, attributes that must be there, and that may be."""

    children: tuple[str, ...]
    needs: Mapping[str, Form]
    may: Mapping[str, Form]

    @property
    def forms(self) -> dict[str, Form]:
        """All attributes."""
        return {**self.needs, **self.may}


def misfits(root: Element) -> list[str]:
    """Tell every attribute that is missing, strange or ill-formed, and every child out of place."""
    return list(_misfits(root, ROOT, kinds(root)))


def _misfits(element: Element, where: str, known: Mapping[str, Kind]) -> Iterator[str]:
    kind = known[element.tag]
    for name, form in kind.needs.items():
        if element.get(name) is None:
            yield f"{where} has no {name}, {form.words}"
    for name, text in element.items():
        if name not in kind.forms:
            yield f"{where} has an attribute {name}, which we do not know"
        elif not kind.forms[name].fits(text):
            yield f"{where}: {name} is {text[:40]!r}, not {kind.forms[name].words}"
    numbers: Counter[str] = Counter()
    for child in element:
        numbers[child.tag] += 1
        if child.tag in kind.children:
            yield from _misfits(child, f"{where}, {child.tag} {numbers[child.tag]}", known)
        else:
            yield f"{where} holds {child.tag}, which does not belong there"


def _whole(least: int, most: int) -> Form:
    return Form(f"a whole number from {least} to {most}", "-?[0-9]{1,10}", least, most)


def _decimal(least: float, most: float) -> Form:
    text = f"a plain number from {least:g} to {most:g}, with nine decimals at most"
    return Form(text, r"-?[0-9]{1,9}(\.[0-9]{1,9})?", least, most)


def _id(tag: str) -> Form:
    return Form(f"an id such as {tag}1", f"{tag}-?[0-9]{{1,10}}")


def _reference(tag: str) -> Form:
    return Form(f"the id of a {tag}", f"{tag}-?[0-9]{{1,10}}", refers=True)


_TEXT = Form("a text of 32 characters at most", ".{0,32}")
_CODE = _whole(0, 254)
_SIZE = _whole(0, 2**32 - 2)
_COUNT = _whole(1, 2**32 - 1)
_SIGNED = _whole(-(2**31), 2**31 - 1)
_NORTH, _EAST, _CELL = _decimal(-90, 90), _decimal(-180, 180), _decimal(1e-9, 1)


def kinds(root: Element) -> dict[str, Kind]:
    """List the elements that we write, as the version that `root` states has them."""
    old = root.get("VersionMajor") == "3"
    return {
        ROOT: Kind(
            ("CTR", "FRM", "PFD", "VPN", "TSK"),
            {
                "VersionMajor": _whole(3, 4),
                "VersionMinor": _whole(3 if old else 0, 3),
                "ManagementSoftwareManufacturer": _TEXT,
                "ManagementSoftwareVersion": _TEXT,
                "DataTransferOrigin": _whole(1, 2),
            },
            {},
        ),
        "CTR": Kind((), {"A": _id("CTR"), "B": _TEXT}, {}),
        "FRM": Kind((), {"A": _id("FRM"), "B": _TEXT}, {"I": _reference("CTR")}),
        "PFD": Kind(
            ("PLN",),
            {"A": _id("PFD"), "C": _TEXT, "D": _SIZE},
            {"B": _TEXT, "E": _reference("CTR"), "F": _reference("FRM")},
        ),
        "VPN": Kind(
            (),
            {"A": _id("VPN"), "B": _SIGNED, "C": _decimal(1e-9, 1e8), "D": _whole(0, 7)},
            {"E": _TEXT},
        ),
        "TSK": Kind(
            ("TZN", "GRD"),
            {
                "A": _id("TSK"),
                "B": _TEXT,
                "E": _reference("PFD"),
                "G": _whole(1, 4 if old else 6),
                **dict.fromkeys("HIJ", _CODE),
            },
            {"C": _reference("CTR"), "D": _reference("FRM")},
        ),
        "TZN": Kind(("PLN", "PDV"), {"A": _CODE, "B": _TEXT}, {}),
        "PDV": Kind(
            (),
            {
                "A": Form(f"{DOWNFORCE_DDI}, the entry for downforce", f"(?i:{DOWNFORCE_DDI})"),
                "B": _SIGNED,
            },
            {"E": _reference("VPN")},
        ),
        "PLN": Kind(("LSG",), {"A": _whole(1, 8 if old else 12)}, {}),
        "LSG": Kind(("PNT",), {"A": _whole(1, 8 if old else 9)}, {}),
        "PNT": Kind((), {"A": _whole(1, 2 if old else 11), "C": _NORTH, "D": _EAST}, {}),
        "GRD": Kind(
            (),
            {
                "A": _NORTH,
                "B": _EAST,
                "C": _CELL,
                "D": _CELL,
                "E": _COUNT,
                "F": _COUNT,
                "G": Form("a file such as GRD00001", "GRD[0-9]{5}"),
                "H": _SIZE,
                "I": _whole(1, 1),
            },
            {},
        ),
    }
