"""What became of a plan's numbers since it was saved: another zoneplan may find others."""

from collections.abc import Iterator, Mapping
from typing import Any

from zoneplan import forms
from zoneplan.export.document import plan_document
from zoneplan.forms import Place, Reader
from zoneplan.plan.model import Plan
from zoneplan.terms import Moisture
from zoneplan.units import HA_PER_ACRE, load, pressure

Document = Mapping[str, Any]


def changed_since_saved(saved_plan: Document, plan: Plan) -> list[str]:
    """Tell which numbers of a plan are other than they were, as they are read in the cab.

    Parameters
    ----------
    saved_plan : mapping
        The plan as it was, as plan.json has it.
    plan : Plan
        The plan as it is.

    Returns
    -------
    list of str
        What changed behind the numbers, then every number, new and old; nothing where every
        number still stands.
    """
    return changed_between(saved_plan, plan_document(plan))


def changed_between(saved_plan: Document, now: Document) -> list[str]:
    """Tell the same of two plans as plan.json has them: one as it was, one as it is."""
    if len(saved_plan["zones"]) != len(now["zones"]):
        numbers = [
            f"It has {len(now['zones'])} zones, and had {len(saved_plan['zones'])}: "
            "check every number."
        ]
    else:
        numbers = [
            line
            for zone, before in zip(now["zones"], saved_plan["zones"], strict=True)
            for line in _zone(zone, before, now["machine"], saved_plan["machine"])
        ]
    return [*_causes(now, saved_plan), *numbers] if numbers else []


def unreadable(document: Any) -> list[str]:
    """Tell why a saved plan cannot be compared."""
    faults: list[str] = []
    _PLAN(document, Place(faults))
    return faults


def _causes(now: Document, saved_plan: Document) -> Iterator[str]:
    if now["rules"]["sha256"] != saved_plan["rules"]["sha256"]:
        yield (
            f"Its rules are those of {now['rules']['revised']}; they were those of "
            f"{saved_plan['rules']['revised']}, with other words or numbers."
        )
    if now["machine"] != saved_plan["machine"]:
        yield "Its planter is described otherwise."


def _zone(
    now: Document, saved_zone: Document, machine: Document, saved_machine: Document
) -> Iterator[str]:
    area, before = (f"{zone['area_ha'] / HA_PER_ACRE:.1f} acres" for zone in (now, saved_zone))
    if area != before:
        yield f"Zone {now['id']}: {area}, was {before}."
    for moisture in Moisture:
        numbers = _numbers(now["moistures"][moisture], machine)
        old = _numbers(saved_zone["moistures"][moisture], saved_machine)
        changed = (
            [
                f"{what} {text}, was {old[what]}"
                for what, text in numbers.items()
                if text != old[what]
            ]
            if numbers.keys() == old.keys()
            else [f"{_listed(numbers)}, was {_listed(old)}"]
        )
        if changed:
            yield f"Zone {now['id']}, {moisture}: {'; '.join(changed)}."


def _numbers(moisture: Document, machine: Document) -> dict[str, str]:
    """What is set by, in words."""
    if moisture["margin_n"] is None or moisture["setting"] is None:
        return {"": "wait" if moisture["wait"] else "no numbers"}
    say = pressure if machine["setting_unit"] == "kPa" else load
    return {
        machine["setting_kind"]: say(moisture["setting"]),
        "margin target": load(moisture["margin_n"]),
        "closing notch": str(moisture["closing_notch"]),
    }


def _listed(numbers: Mapping[str, str]) -> str:
    return ", ".join(f"{what} {text}".strip() for what, text in numbers.items())


# ---- as much of plan.json as is looked at ------------------------------------------------------

_OTHER = "It was made by another program, or cut short."


def _parts(**parts: Reader) -> Reader:
    return forms.table(
        {name: forms.need(reader, _OTHER) for name, reader in parts.items()}, others=True
    )


def _short(value: Any, place: Place) -> str | None:
    text: str | None = forms.any_text(value, place)
    if text is not None and len(text) > 200:
        place.fault("the text is longer than any that we write.")
    return text


_MOISTURE = _parts(
    margin_n=forms.or_none(forms.number()),
    setting=forms.or_none(forms.number()),
    closing_notch=forms.or_none(_short),
    wait=forms.flag,
)
_ZONE = _parts(
    id=forms.whole(0),
    area_ha=forms.number(0),
    moistures=_parts(**dict.fromkeys(Moisture, _MOISTURE)),
)
_PLAN = _parts(
    zones=forms.many(_ZONE),
    machine=_parts(
        setting_kind=_short, setting_unit=forms.one_of("unit of a setting", ("N", "kPa"))
    ),
    rules=_parts(revised=_short, sha256=_short),
)
