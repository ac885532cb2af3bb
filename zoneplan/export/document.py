"""plan.json: the whole plan as one strict JSON document, and the schema it must match.

A plan of an earlier form is brought up to the next; what it did not know stays unknown.
"""

import json
from collections.abc import Iterable
from dataclasses import asdict
from functools import cache, lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from zoneplan.export.once import once
from zoneplan.export.schema import Document, Lift, brought_up, number_of, strict_json
from zoneplan.export.table import file_words, numbers, site_values, state, tidy
from zoneplan.notices import Notice, Value, as_dict, notice
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.rowunit.machine import Machine
from zoneplan.rules.rule import Reason
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Moisture

if TYPE_CHECKING:
    from jsonschema_rs import Draft202012Validator

SCHEMA = "zoneplan-plan/2"
_MOST_MB = 20
_REMEMBERED = 4096  # of what zones and moistures have in common


@once
def plan_document(plan: Plan) -> dict[str, Any]:
    """Lay a plan out as plan.json has it: plain values, SI units, unknown as None.

    The names, units and meanings are told in `plan.schema.json` beside this file. All who ask for
    a plan's get the same one: it is to be looked at.
    """
    return {
        "schema": SCHEMA,
        "field": {
            "name": tidy(plan.field.name),
            "area_ha": tidy(plan.field.area_ha),
            "crs": tidy(plan.field.crs),
        },
        "machine": {
            **_machine(plan.machine),
            "setting_kind": str(plan.setting_kind),
            "setting_unit": plan.setting_unit,
        },
        "conditions": _plain(asdict(plan.conditions)),
        "rules": {"revised": plan.rules.revised.isoformat(), "sha256": plan.rules.sha256},
        "uncovered_ha": tidy(plan.uncovered_ha),
        "best": {moisture: tidy(plan.best.get(moisture)) for moisture in Moisture},
        "zones": [_zone(setting) for setting in plan.settings],
        "kept": [_tidied(vars(count)) for count in plan.counts],
        "drawn": None if plan.drawn is None else _tidied(vars(plan.drawn)),
        "stop": None if plan.stop is None else str(plan.stop),
        "disagreements": [_plain(asdict(one)) for one in plan.disagreements],
        "supplied": [_plain(asdict(one)) for one in plan.supplied],
        "notes": [file_words(notice) for notice in plan.notices],
        "notices": [_notice(notice) for notice in plan.notices],
    }


def plan_bytes(plan: Plan) -> bytes:
    """Write a plan as strict UTF-8 JSON, once it is checked against the schema.

    Raises
    ------
    jsonschema_rs.ValidationError, ValueError
        When the plan breaks its own schema or holds a number that is none: our bug.
    """
    document = plan_document(plan)
    text = ",\n".join(f"{_line(name)}: {_laid_out(value)}" for name, value in document.items())
    validate(document)
    return f"{{\n{text}\n}}\n".encode()


def _laid_out(value: Any) -> str:
    """A line for each part of a list: the library's own indenting is six times as slow."""
    if not (isinstance(value, list) and value):
        return _line(value)
    return "[\n" + ",\n".join(map(_line, value)) + "\n]"


_line = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def read_document(content: bytes) -> Document:
    """Read plan.json of this form or an earlier one, without what a newer zoneplan added.

    Raises
    ------
    UnknownFormError, ValueError
        When it is in a form that we do not know, is damaged, or breaks its schema.
    """
    if len(content) > _MOST_MB * 10**6:
        raise ValueError(f"it is bigger than any that we write: {_MOST_MB} MB at the most")
    document = in_newest_form(strict_json(content))
    if not _validator().is_valid(document):
        document = _known(document, _schema())
        validate(document)
    return document


def in_newest_form(document: Document) -> Document:
    """Bring what plan.json holds up to the newest form.

    Raises
    ------
    UnknownFormError
        When it is in a form that we do not know.
    """
    return brought_up(document, SCHEMA, _LIFTS)


def is_earlier(content: bytes) -> bool:
    """Whether plan.json is in an earlier form: then it is read, but other files are not as ours."""
    document = strict_json(content)
    first = "notices" not in document  # as plans of form 1 had none in their first days
    return number_of(document, SCHEMA) <= len(_LIFTS) or first


def validate(document: dict[str, Any]) -> None:
    """Check a document against `plan.schema.json`.

    Raises
    ------
    jsonschema_rs.ValidationError
        A ValueError, naming the place and what is wrong there.
    """
    _validator().validate(document)


@cache
def _validator() -> "Draft202012Validator":
    from jsonschema_rs import Draft202012Validator

    return Draft202012Validator(_schema(), validate_formats=True)


@cache
def _schema() -> dict[str, Any]:
    text = files("zoneplan.export").joinpath("plan.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _known(value: Any, form: dict[str, Any]) -> Any:
    """Leave out what the schema does not name where it says that nothing else is there."""
    if "$ref" in form:
        form = {**_schema()["$defs"][form["$ref"].rpartition("/")[2]], **form}
    if isinstance(value, list):
        return [_known(part, form.get("items", {})) for part in value]
    if not isinstance(value, dict):
        return value
    named, closed = form.get("properties", {}), form.get("additionalProperties") is False
    return {
        name: _known(part, named.get(name, {}))
        for name, part in value.items()
        if name in named or not closed
    }


@lru_cache(maxsize=16)  # the same for every field
def _machine(machine: Machine) -> dict[str, Any]:
    document: dict[str, Any] = _plain(asdict(machine))
    return document


def _zone(setting: ZoneSetting) -> dict[str, Any]:
    zone = setting.zone
    return {
        "id": zone.id,
        "name": tidy(zone.name),
        "area_ha": tidy(zone.area_ha),
        "treatment": zone.treatment,
        "usual_share": tidy(setting.usual_share),
        "soil": _soil(zone.facts),
        "soils": [{"named": tidy(named), "share": tidy(share)} for named, share in zone.soils],
        "site": _tidied(site_values(zone.site)),
        "marked": [
            {"mark": tidy(mark.name), "kind": str(mark.kind), "share": tidy(share)}
            for mark, share in zone.marked
        ],
        "moistures": {moisture: _moisture(setting.moistures[moisture]) for moisture in Moisture},
    }


def _soil(facts: SoilFacts) -> dict[str, Any]:
    return {
        **_tidied({name: value for name, value in vars(facts).items() if name != "notes"}),
        "notes": [file_words(note) for note in facts.notes],
        "notices": [_notice(note) for note in facts.notes],
    }


def _moisture(instruction: Instruction) -> dict[str, Any]:
    reasons = () if isinstance(instruction, NoNumbers) else instruction.reasons
    closing = instruction.closing_reasons if isinstance(instruction, Setting) else ()
    stops = instruction.stop_reasons if isinstance(instruction, Setting) else ()
    return {
        **_tidied(numbers(instruction)),
        "state": state(instruction),
        "wait": isinstance(instruction, Wait),
        "reasons": [_reason(reason) for reason in reasons],
        "closing_reasons": [_reason(reason) for reason in closing],
        "stop_reasons": [_reason(reason) for reason in stops],
        "warnings": list(dict.fromkeys(file_words(notice) for notice in instruction.notices)),
        "notices": [_notice(notice) for notice in instruction.notices],
    }


@lru_cache(maxsize=_REMEMBERED)
def _reason(reason: Reason) -> dict[str, Any]:
    return _tidied(
        {
            "rule": reason.rule,
            "kind": reason.kind,
            "adds_n": reason.adds,
            "why": reason.why,
            "source": reason.source,
            "confidence": reason.confidence,
            "share": reason.share,
            "factor": reason.factor,
        }
    )


def _notice(notice: Notice) -> dict[str, Any]:
    return as_dict(notice) | {
        "rule": tidy(notice.rule),
        "layer": tidy(notice.layer),
        "values": _values(notice.values),
    }


@lru_cache(maxsize=_REMEMBERED)
def _values(values: tuple[tuple[str, Value], ...]) -> Any:
    return _plain(dict(values))


def _tidied(values: dict[str, Any]) -> dict[str, Any]:
    return {name: value if type(value) in _TIDY else tidy(value) for name, value in values.items()}


_TIDY = {bool, int, type(None)}


def _plain(value: Any) -> Any:
    """Tuples become lists, and what is in them is tidied."""
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    return tidy(value)


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


def _to_2(document: Document) -> Document:
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
        "zones": [_zone_of_1(zone) for zone in document["zones"]],
    }


def _zone_of_1(zone: Document) -> Document:
    site = {**zone["site"], "part_kind": zone["site"].get("part_kind", _part_kind(zone["site"]))}
    return {
        "treatment": None,
        "usual_share": None,
        **zone,
        "site": site,
        "soil": {**zone["soil"], "notices": _remarks(zone["soil"]["notes"])},
        "marked": [{"kind": _kind(mark["mark"]), **mark} for mark in zone["marked"]],
        "moistures": {
            name: _moisture_of_1(moisture) for name, moisture in zone["moistures"].items()
        },
    }


def _moisture_of_1(document: Document) -> Document:
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


_LIFTS: tuple[Lift, ...] = (_to_2,)  # from each earlier form to the next
