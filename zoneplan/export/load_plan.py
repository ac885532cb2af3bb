"""A plan put together again from its files, to hold the other files against.

All that plan.json tells comes back, and the shapes come from a zone file; the rules come back
as their date and digest alone.
"""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from zoneplan.field.crs import WGS_84, move
from zoneplan.field.disagreement import Disagreement
from zoneplan.field.shapes import Field, Mark, Site
from zoneplan.notices import Notice, notice_from
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.plan.requirement import Conditions
from zoneplan.rowunit.machine import (
    Attachment,
    ClosedLoopAir,
    Hydraulic,
    Machine,
    Notch,
    SetAir,
    Springs,
)
from zoneplan.rules.rule import DECIDES, Reason, Rules, RuleSet
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.workability import Fitness
from zoneplan.terms import Ground, MarkKind, Moisture
from zoneplan.zones.zone import Zone
from zoneplan.zones.zone_count import Stop, ZoneCount

Told = Mapping[str, Any]

_TUPLES = ("state", "reasons", "closing_reasons", "stop_reasons", "notices")

_SYSTEMS = {
    "springs": Springs,
    "set-air": SetAir,
    "closed-loop-air": ClosedLoopAir,
    "hydraulic": Hydraulic,
}


def restored(document: Told, shapes: Mapping[int, BaseGeometry]) -> Plan:
    """Put a plan together again.

    Parameters
    ----------
    document : mapping
        What plan.json holds, checked against its schema.
    shapes : mapping of int to geometry
        Each zone's shape by its number, in WGS 84 degrees.

    Raises
    ------
    KeyError, TypeError
        When a zone has no shape, or the machine is not told as this version tells it.
    """
    told = _tuples(document)
    crs = told["field"]["crs"]
    settings = tuple(_setting(it, move(shapes[it["id"]], WGS_84, crs)) for it in told["zones"])
    outline: Any = shapely.union_all([it.zone.shape for it in settings])
    return Plan(
        field=Field(shape=outline, **told["field"]),
        machine=_machine(told["machine"]),
        conditions=_of(Conditions, told["conditions"]),
        rules=_rules(told["rules"]),
        settings=settings,
        uncovered_ha=told["uncovered_ha"],
        setting_kind=told["machine"]["setting_kind"],
        setting_unit=told["machine"]["setting_unit"],
        best=told["best"],
        notices=_notices(told["notices"]),
        counts=tuple(
            ZoneCount(it["zones"], it["share"], it.get("rms_n", 0.0)) for it in told["kept"]
        ),
        drawn=ZoneCount(**told["drawn"]) if told.get("drawn") else None,
        stop=Stop(told["stop"]) if told.get("stop") else None,
        disagreements=tuple(Disagreement(**it) for it in told["disagreements"]),
    )


def _machine(told: Told) -> Machine:
    """A machine of what this version knows; what a newer one added is left out."""
    parts = {
        "notches": tuple(_of(Notch, it) for it in told["notches"]),
        "system": _of(_SYSTEMS[told["system"]["kind"]], told["system"]),
        "attachment_reactions": tuple(
            _of(Attachment, it) for it in told.get("attachment_reactions", ())
        ),
    }
    machine: Machine = _of(Machine, {**told, **parts})
    return machine


def _of(noun: Any, told: Told) -> Any:
    return noun(**{it.name: told[it.name] for it in fields(noun) if it.init and it.name in told})


def _rules(told: Told) -> Rules:
    revised = datetime.date.fromisoformat(told["revised"])
    aim, most, swing, stop, closing = (RuleSet(it, "N", revised, rules=()) for it in DECIDES)
    return Rules(aim, most, swing, stop, closing, revised, told["sha256"])


def _setting(told: Told, shape: Any) -> ZoneSetting:
    zone = Zone(
        id=told["id"],
        shape=shape,
        area_ha=told["area_ha"],
        facts=_soil(told["soil"]),
        soils=tuple((it["named"], it["share"]) for it in told["soils"]),
        site=_site(told["site"]),
        marked=tuple(
            (Mark(MarkKind(it["kind"]), it["mark"]), it["share"]) for it in told["marked"]
        ),
        name=told["name"],
        treatment=told.get("treatment"),
    )
    return ZoneSetting(
        zone,
        {
            Moisture(name): _moisture(it, zone.facts.ground)
            for name, it in told["moistures"].items()
        },
        told.get("usual_share"),
    )


def _site(told: Told) -> Site:
    known = {name: it for name, it in told.items() if name not in ("part", "part_kind")}
    if told["part"] is None:
        return Site(**known)
    return Site(part=Mark(MarkKind(told["part_kind"]), told["part"]), **known)


def _soil(told: Told) -> SoilFacts:
    facts: SoilFacts = _of(SoilFacts, {**told, "notes": _notices(told["notices"])})
    return facts


def _moisture(told: Told, ground: str) -> Instruction:
    reasons, notices = _reasons(told["reasons"]), _notices(told["notices"])
    if told["wait"]:
        chances = (told["wait_chance"], told["survey_wait_chance"])
        return Wait(*chances, told["confidence"], reasons, notices)
    if told["margin_n"] is None:
        return NoNumbers(Ground(ground), notices)
    return Setting(
        **{it.name: told[it.name] for it in fields(Setting) if it.name not in _TUPLES},
        state=Fitness(told["state"]),
        reasons=reasons,
        closing_reasons=_reasons(told["closing_reasons"]),
        stop_reasons=_reasons(told["stop_reasons"]),
        notices=notices,
    )


def _notices(told: Sequence[Told]) -> tuple[Notice, ...]:
    return tuple(notice_from(it) for it in told)


def _reasons(told: Sequence[Told]) -> tuple[Reason, ...]:
    return tuple(_of(Reason, {**link, "adds": link["adds_n"]}) for link in told)


def _tuples(value: Any) -> Any:
    """Lists become tuples, as a plan has them."""
    if isinstance(value, dict):
        return {name: _tuples(part) for name, part in value.items()}
    if isinstance(value, list):
        return tuple(_tuples(part) for part in value)
    return value
