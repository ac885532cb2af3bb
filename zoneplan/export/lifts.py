"""What brings a plan of an earlier form up to the next; what it did not know stays unknown."""

from collections.abc import Iterable

from zoneplan.export.schema import Document
from zoneplan.notices import as_dict, notice

# Of a zone at one moisture, since form 2.
_SINCE_2 = (
    "gave_way",
    "attachments_load_n",
    "command_n",
    "inside_chance",
    "light_chance",
    "heavy_chance",
    "contact_full_share",
    "contact_refill_share",
    "shallow_share",
    "wait_chance",
    "survey_wait_chance",
)


def to_2(document: Document) -> Document:
    """Bring plan.json from form 1 to form 2.

    In form 1 contact was that of the target, and a closing chain added up to a share of the
    lever's range: its links keep their words and lose their numbers. What it told it told in
    sentences, and they are kept as they stood.
    """
    machine = dict(document["machine"])
    system = dict(machine["system"])
    if system["kind"] == "looped-air":
        system["kind"] = "closed-loop-air"
    return {
        **document,
        "machine": {**machine, "system": system},
        "notices": _remarks(document["notes"]),
        "zones": [_zone(zone) for zone in document["zones"]],
    }


def _zone(zone: Document) -> Document:
    site = {**zone["site"], "part_kind": zone["site"].get("part_kind", _part_kind(zone["site"]))}
    return {
        "treatment": None,
        "usual_share": None,
        **zone,
        "site": site,
        "soil": {**zone["soil"], "notices": _remarks(zone["soil"]["notes"])},
        "marked": [{"kind": _kind(mark["mark"]), **mark} for mark in zone["marked"]],
        "moistures": {name: _moisture(moisture) for name, moisture in zone["moistures"].items()},
    }


def _moisture(document: Document) -> Document:
    state = "wait" if document["wait"] else "no numbers" if document["margin_n"] is None else "fit"
    closing = [
        {**{name: value for name, value in link.items() if name != "adds_share"}, "adds_n": None}
        for link in document["closing_reasons"]
    ]
    return {
        **dict.fromkeys(_SINCE_2),
        **document,
        "notices": _remarks(document["warnings"]),
        "state": document.get("state", state),
        "closing_reasons": closing,
        "stop_reasons": [],
    }


def _remarks(sentences: Iterable[str]) -> list[Document]:
    return [as_dict(notice("remark", words=sentence)) for sentence in sentences]


def _kind(mark: str) -> str:
    return {"headland": "headland", "wheel track": "track"}.get(mark, "drawn")


def _part_kind(site: Document) -> str | None:
    return None if site["part"] is None else "drawn"
