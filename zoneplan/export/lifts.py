"""What brings a plan of an earlier form up to the next; what it did not know stays unknown."""

from zoneplan.export.schema import Document

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
    lever's range: its links keep their words and lose their numbers.
    """
    machine = dict(document["machine"])
    system = dict(machine["system"])
    if system["kind"] == "looped-air":
        system["kind"] = "closed-loop-air"
    return {
        **document,
        "machine": {**machine, "system": system},
        "notices": document.get("notices", []),
        "zones": [_zone(zone) for zone in document["zones"]],
    }


def _zone(zone: Document) -> Document:
    site = {**zone["site"], "part_kind": zone["site"].get("part_kind", _part_kind(zone["site"]))}
    return {
        "treatment": None,
        "usual_share": None,
        **zone,
        "site": site,
        "soil": {"notices": [], **zone["soil"]},
        "marked": [{"kind": _kind(it["mark"]), **it} for it in zone["marked"]],
        "moistures": {name: _moisture(it) for name, it in zone["moistures"].items()},
    }


def _moisture(told: Document) -> Document:
    state = "wait" if told["wait"] else "no numbers" if told["margin_n"] is None else "fit"
    closing = [
        {**{name: it for name, it in link.items() if name != "adds_share"}, "adds_n": None}
        for link in told["closing_reasons"]
    ]
    return {
        **dict.fromkeys(_SINCE_2),
        "notices": [],
        **told,
        "state": told.get("state", state),
        "closing_reasons": closing,
        "stop_reasons": [],
    }


def _kind(mark: str) -> str:
    return {"headland": "headland", "wheel track": "track"}.get(mark, "drawn")


def _part_kind(site: Document) -> str | None:
    return None if site["part"] is None else "drawn"
