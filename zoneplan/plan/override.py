"""A person's number in place of the rules', with who, when and why beside what it replaced."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from zoneplan.errors import MachineError, either, listed
from zoneplan.notices import Notice, notice
from zoneplan.plan.model import OVERRIDE, Plan, Setting
from zoneplan.plan.places import zone_at
from zoneplan.plan.requirement import Requirement
from zoneplan.rowunit.closing import compared
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.target import far_outside, gave_way
from zoneplan.rules.rule import Reason
from zoneplan.terms import Fitness, Moisture
from zoneplan.units import load
from zoneplan.zones.edit import Edit, Override

SURE = "; far outside its window, asked and meant"
MOST_MARGIN_N = 10_000.0  # judged: several times what any row unit weighs; a slip of the pen


def refuse_faulty(edits: Sequence[Edit], machine: Machine) -> None:
    """Refuse overrides that no plan could carry, all faults at once.

    Raises
    ------
    MachineError
        For a margin below nothing or past reason, a notch that the machine has not, or an
        override that does not say who, why and of what.
    """
    faults = [
        f"change {number}: {fault}"
        for number, edit in enumerate(edits, start=1)
        if isinstance(edit, Override)
        for fault in _faults(edit, machine)
    ]
    if faults:
        raise MachineError(
            listed("What was overridden by hand", faults)
            + "\nThe plan would tell the cab something that the planter cannot do, or nobody "
            "could answer for. Put it right, or take the override back."
        )


def unfit(edits: Sequence[Edit], machine: Machine) -> Mapping[int, str]:
    """Give the numbers by hand that name a closing notch the planter has not: number and notch."""
    notches = {notch.name for notch in machine.notches}
    return {
        number: str(edit.value)
        for number, edit in enumerate(edits, start=1)
        if isinstance(edit, Override) and edit.decides == "closing" and edit.value not in notches
    }


def _faults(edit: Override, machine: Machine) -> list[str]:
    faults = []
    if edit.moisture not in tuple(Moisture):
        faults.append(f'"{edit.moisture}" is not a moisture. Use {either(Moisture)}.')
    if edit.decides == "margin":
        faults += _margin_faults(edit.value)
    elif edit.decides == "closing":
        names = [notch.name for notch in machine.notches]
        if edit.value not in names:
            faults.append(
                f'this planter has no closing notch "{edit.value}". It has: {", ".join(names)}.'
            )
    else:
        faults.append(f'"{edit.decides}" cannot be overridden. Use margin or closing.')
    faults += [
        f"it does not say {what}."
        for what, text in (("whose it is", edit.initials), ("why", edit.why))
        if not text.strip()
    ]
    return faults


def _margin_faults(value: float | str) -> list[str]:
    if isinstance(value, str) or not math.isfinite(value):
        return [f'a margin target of "{value}" is no load. Give a number.']
    if value < 0:
        return [
            f"a margin target of {load(value)} is less than nothing: the gauge wheels would "
            "hang in the air. Give 0 or more."
        ]
    if value > MOST_MARGIN_N:
        return [f"a margin target of {load(value)} is more than {load(MOST_MARGIN_N)}."]
    return []


def overridden(
    required: Requirement, overrides: Sequence[Override], machine: Machine
) -> Requirement:
    """Put a person's numbers in place of what the rules ask.

    Parameters
    ----------
    required : Requirement
        Of one zone at one moisture. Where it is to wait it stays as it is: no number of
        anybody's takes the place of a wait.
    overrides : sequence of Override
        Of this zone and moisture, faultless.
    machine : Machine
        Whose notches they name.
    """
    if required.fitness is Fitness.WAIT:
        return required
    for edit in overrides:
        if edit.decides == "margin":
            target, margin_n = required.target, float(edit.value)
            required = replace(
                required,
                target=replace(
                    target,
                    margin_n=margin_n,
                    gave_way=gave_way(margin_n, target.least_n, target.most_n),
                ),
                reasons=_with_link(required.reasons, margin_n, edit, load(target.margin_n)),
            )
        else:
            before = required.closing
            notch = next(notch for notch in machine.notches if notch.name == edit.value)
            required = replace(
                required,
                closing=compared(machine.notches, notch, before.aim_n, required.moisture),
                closing_reasons=_with_link(
                    required.closing_reasons, notch.load_n, edit, f"notch {before.notch.name}"
                ),
            )
    return required


def _with_link(
    chain: tuple[Reason, ...], value: float, edit: Override, before: str
) -> tuple[Reason, ...]:
    """A chain with a person's number as its last link, which still adds up."""
    link = Reason(
        rule=OVERRIDE,
        kind=OVERRIDE,
        adds=value - math.fsum(reason.adds or 0.0 for reason in chain),
        why=_line(edit.why),
        source=f"{_who(edit)}, in place of {before}{SURE if edit.sure else ''}",
        confidence="judged",
    )
    return (*chain, link)


def doubtful(plan: Plan, edits: Sequence[Edit]) -> tuple[Notice, ...]:
    """Tell which numbers lie so far outside their windows that a person is asked first.

    Parameters
    ----------
    plan : Plan
        As it stands, before the changes: its windows count.
    edits : sequence of Edit
        Not yet made. Those that are `sure` are passed over.
    """
    return tuple(
        notice(
            "own-number-far",
            zone=zone.zone.id,
            moisture=Moisture(edit.moisture),
            margin_n=float(edit.value),
            least_n=setting.margin_least_n,
            most_n=setting.margin_most_n,
        )
        for edit in edits
        if isinstance(edit, Override) and edit.decides == "margin" and not edit.sure
        for zone in plan.settings
        if zone.zone.id == zone_at(plan, edit.at)
        and isinstance(setting := zone.moistures[Moisture(edit.moisture)], Setting)
        and far_outside(float(edit.value), setting.margin_least_n, setting.margin_most_n)
    )


def override_notice(zone: int, edit: Override, reasons: Sequence[Reason], *, waits: bool) -> Notice:
    """Tell an override, or that it does not hold.

    Parameters
    ----------
    zone : int
        The zone's number.
    edit : Override
        One that stands in this zone.
    reasons : sequence of Reason
        The chain that made the number it would replace.
    waits : bool
        Whether the plan says to wait there.
    """
    values: dict[str, Any] = {
        "decides": edit.decides,
        "margin_n": float(edit.value) if edit.decides == "margin" else None,
        "notch": None if edit.decides == "margin" else str(edit.value),
        "why": _line(edit.why),
    }
    moisture = Moisture(edit.moisture)
    for link in reasons:
        if link.kind == OVERRIDE:
            return notice(
                "override-stands", zone=zone, moisture=moisture, source=link.source, **values
            )
    return notice(
        "override-left-out",
        zone=zone,
        moisture=moisture,
        who=_who(edit),
        waits=waits,
        **values,
    )


def _who(edit: Override) -> str:
    return f"{_line(edit.initials)} on {edit.on.isoformat()}"


def _line(words: str) -> str:
    return " ".join(words.split())
