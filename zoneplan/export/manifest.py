"""manifest.json: what files a plan has, each with its size and digest, and what was asked of them.

Source
------
SHA-256: FIPS 180-4.
"""

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from typing import Any

from zoneplan import forms, release
from zoneplan.errors import in_short
from zoneplan.export.document import SCHEMA
from zoneplan.export.schema import Lift, brought_up, strict_json
from zoneplan.export.taskset_words import Value
from zoneplan.forms import Key, Place, Reader, need
from zoneplan.request import TitleBlock
from zoneplan.terms import FileKind, Moisture

MANIFEST = "manifest.json"
_SCHEMA = "zoneplan-manifest/1"
_LIFTS: tuple[Lift, ...] = ()  # from each earlier form to the next
FILES: tuple[str, ...] = tuple(FileKind)


@dataclass(frozen=True)
class Options:
    """What is asked of the files, beyond the plan."""

    moisture: Moisture = Moisture.MOIST  # whose targets the zone files and the task set carry
    all_moistures: bool = False  # in the zone files; a task set has room for one
    paper: str = "letter"  # or "a4"
    units: str = "us"  # on paper; or "si"
    taskset_version: int | None = 4  # or 3; None: no task set
    taskset_grid: bool = False
    taskset_value: Value = "downforce"
    files: tuple[str, ...] = FILES  # that are wanted beside plan.json
    title: TitleBlock = field(default_factory=TitleBlock)  # on sheets, in names and in the task set

    @property
    def moistures(self) -> tuple[Moisture, ...]:
        """Whose targets the zone files carry."""
        return tuple(Moisture) if self.all_moistures else (self.moisture,)


@dataclass(frozen=True)
class Manifest:
    """A manifest that was read."""

    options: Options
    digests: Mapping[str, tuple[int, str]]  # size in bytes and SHA-256, by name
    unfinished: bool = False  # a write is under way in its folder, or was stopped there


def manifest_bytes(
    files: Mapping[str, bytes], options: Options, notes: Sequence[str], planter: str = ""
) -> bytes:
    """Write the manifest of a plan's other files.

    Parameters
    ----------
    files : mapping of str to bytes
        Each file's content by its name in the folder.
    options : Options
        What was asked of them.
    notes : sequence of str
        What the numbers of the task set mean.
    planter : str
        What is to be known of the planter before any of them is used.
    """
    manifest = {
        "schema": _SCHEMA,
        "plan_schema": SCHEMA,
        "zoneplan": release(),
        "planter": planter,
        "options": asdict(options),
        "taskset_notes": list(notes),
        "files": [
            {"name": name, "bytes": len(content), "sha256": sha256(content).hexdigest()}
            for name, content in sorted(files.items())
        ],
    }
    text = json.dumps(manifest, ensure_ascii=False, indent=2, default=str)  # a day in ISO 8601
    return f"{text}\n".encode()


def unfinished_bytes(coming: bytes, going: Manifest | None) -> bytes:
    """Write the manifest of a folder that has some files of one plan, or of the next.

    Parameters
    ----------
    coming : bytes
        The manifest of the plan that is coming.
    going : Manifest, optional
        That of the plan that is going.
    """
    manifest = json.loads(coming)
    names = {file["name"] for file in manifest["files"]}
    manifest["files"] += [
        {"name": name, "bytes": size, "sha256": digest}
        for name, (size, digest) in (going.digests if going else {}).items()
        if name not in names
    ]
    return (json.dumps({"unfinished": True, **manifest}, ensure_ascii=False) + "\n").encode("utf-8")


def read_manifest(content: bytes) -> Manifest:
    """Read a manifest.

    Raises
    ------
    UnknownFormError, ValueError
        When it is in a form that we do not know, or no manifest of ours: with every fault, in
        one line.
    """
    faults: list[str] = []
    manifest = _MANIFEST(brought_up(strict_json(content), _SCHEMA, _LIFTS), Place(faults))
    if faults:
        raise ValueError(" ".join(faults))
    digests = {file["name"]: (file["bytes"], file["sha256"]) for file in manifest["files"]}
    return Manifest(manifest["options"], digests, manifest["unfinished"])


def altered(manifest: Manifest, files: Mapping[str, bytes]) -> list[str]:
    """Tell which of the files that a manifest lists are not what was written."""
    faults = []
    for name, (written, digest) in manifest.digests.items():
        content = files.get(name)
        if content is not None and sha256(content).hexdigest() != digest:
            size = len(content)
            how = "as long as before" if size == written else f"{size} bytes, not {written}"
            faults.append(f"{name} was altered: {how}")
    return faults


def _matching(pattern: str, what: str) -> Reader:
    def read(value: Any, place: Place) -> str | None:
        if isinstance(value, str) and re.fullmatch(pattern, value):
            return value
        place.fault(f"{in_short(value)} is not {what}.")
        return None

    return read


def _form(
    keys: Mapping[str, Reader | Key], make: Callable[..., Any] = dict, others: bool = False
) -> Reader:
    form = {
        name: reader if isinstance(reader, Key) else need(reader, "It was cut short.")
        for name, reader in keys.items()
    }
    return forms.table(form, make, others=others)


_NAME = r"([A-Za-z0-9]+/)?[\w-]+\.[A-Za-z0-9]+"  # never out of its folder
_TITLE = forms.table(
    {
        **dict.fromkeys(("grower", "farm", "season"), forms.or_none(forms.any_text)),
        **dict.fromkeys(("prepared_by", "phone", "digest"), forms.or_none(forms.any_text)),
        "revision": forms.or_none(forms.whole(1, 999)),
        "dated": forms.or_none(forms.date),
    },
    TitleBlock,
    others=True,
)
_FILE = _form(
    {
        "name": _matching(_NAME, "a name that we give"),
        "bytes": forms.whole(0),
        "sha256": _matching("[0-9a-f]{64}", "a digest"),
    },
    others=True,
)
_MANIFEST = _form(
    {
        "schema": forms.one_of("manifest of ours", (_SCHEMA,)),
        "unfinished": Key(forms.flag, usual=False),
        "options": _form(
            {
                "moisture": forms.one_of("moisture", tuple(Moisture)),
                "all_moistures": forms.flag,
                "paper": forms.one_of("paper", ("letter", "a4")),
                "units": forms.one_of("system of units", ("us", "si")),
                "taskset_version": forms.or_none(forms.whole(3, 4)),
                "taskset_grid": forms.flag,
                "taskset_value": forms.one_of("value of a task set", ("downforce", "margin")),
                "files": Key(forms.many(forms.one_of("kind of files", FILES)), usual=FILES),
                "title": Key(_TITLE, usual=TitleBlock()),
            },
            Options,
            others=True,
        ),
        "files": Key(forms.many(_FILE), usual=()),
    },
    others=True,
)
