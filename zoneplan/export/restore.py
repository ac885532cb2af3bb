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
from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, Machine, Notch, SetAir, Springs
from zoneplan.rules.rule import Reason, Rules, RuleSet
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Ground, MarkKind, Moisture
from zoneplan.zones.zone import Zone

Told = Mapping[str, Any]

_TUPLES = ("reasons", "closing_reasons", "notices")

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
        conditions=Conditions(**told["conditions"]),
        rules=_rules(told["rules"]),
        settings=settings,
        uncovered_ha=told["uncovered_ha"],
        setting_kind=told["machine"]["setting_kind"],
        setting_unit=told["machine"]["setting_unit"],
        best=told["best"],
        notices=_notices(told["notices"]),
        kept=tuple((it["zones"], it["share"]) for it in told["kept"]),
        disagreements=tuple(Disagreement(**it) for it in told["disagreements"]),
    )


def _machine(told: Told) -> Machine:
    """A machine of what this version knows; what a newer one added is left out."""
    notches = tuple(_of(Notch, notch) for notch in told["notches"])
    system = _of(_SYSTEMS[told["system"]["kind"]], told["system"])
    machine: Machine = _of(Machine, {**told, "notches": notches, "system": system})
    return machine


def _of(noun: Any, told: Told) -> Any:
    return noun(**{it.name: told[it.name] for it in fields(noun) if it.init and it.name in told})


def _rules(told: Told) -> Rules:
    revised = datetime.date.fromisoformat(told["revised"])
    margin = RuleSet("margin", "N", revised, rounding=0.0, rules=())
    closing = RuleSet("closing", "share", revised, rounding=0.0, rules=())
    return Rules(margin, closing, revised, told["sha256"])


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
    )
    return ZoneSetting(
        zone,
        {
            Moisture(name): _moisture(it, zone.facts.ground)
            for name, it in told["moistures"].items()
        },
    )


def _site(told: Told) -> Site:
    known = {name: it for name, it in told.items() if name not in ("part", "part_kind")}
    if told["part"] is None:
        return Site(**known)
    return Site(part=Mark(MarkKind(told["part_kind"]), told["part"]), **known)


def _soil(told: Told) -> SoilFacts:
    known = {name: it for name, it in told.items() if name != "notices"}
    return SoilFacts(**known | {"notes": _notices(told["notices"])})


def _moisture(told: Told, ground: str) -> Instruction:
    reasons, notices = _reasons(told["reasons"], "adds_n"), _notices(told["notices"])
    if told["wait"]:
        return Wait(told["confidence"], reasons, notices)
    if told["margin_n"] is None:
        return NoNumbers(Ground(ground), notices)
    return Setting(
        **{
            it.name: told[it.name]
            for it in fields(Setting)
            if it.name in told and it.name not in _TUPLES
        },
        reasons=reasons,
        closing_reasons=_reasons(told["closing_reasons"], "adds_share"),
        notices=notices,
    )


def _notices(told: Sequence[Told]) -> tuple[Notice, ...]:
    return tuple(notice_from(it) for it in told)


def _reasons(told: tuple[Told, ...], adds: str) -> tuple[Reason, ...]:
    return tuple(
        Reason(**{"adds" if name == adds else name: it for name, it in link.items()})
        for link in told
    )


def _tuples(value: Any) -> Any:
    """Lists become tuples, as a plan has them."""
    if isinstance(value, dict):
        return {name: _tuples(part) for name, part in value.items()}
    if isinstance(value, list):
        return tuple(_tuples(part) for part in value)
    return value
