"""What a task set commands in each zone, in what cells, and in what few words for a terminal.

The data dictionary has an entry for downforce as a force, none for a margin, and none for
closing wheels. A margin therefore goes out only when asked for, under a label that says so.

Source
------
ISO 11783-11, by the online data dictionary (entries 365, 366, 426 and 427 are all it has).
"""

import unicodedata
from typing import Literal

from zoneplan.plan.model import Plan, Setting, ZoneSetting
from zoneplan.rowunit.machine import Machine
from zoneplan.say.summary import stamp, why_blank
from zoneplan.terms import Moisture, SettingKind
from zoneplan.units import to

Value = Literal["downforce", "margin"]

_MOST = 32  # characters in a designator
_MOST_CELL_M = 5.0  # judged: finer than a planter can answer
_MEANINGS = {
    SettingKind.SPRING_POSITION: "The task set carries the field's one spring position as "
    "downforce, the same in every zone. Springs are moved by hand: a terminal can only show it.",
    SettingKind.AIR_PRESSURE: "The task set carries as downforce what each zone's pressure gives "
    "by the machine's chart.",
    SettingKind.MARGIN_TARGET: "The task set carries the downforce that each target needs midway "
    "between a full hopper and refill. This machine holds a margin: a controller that takes the "
    "number as the force to apply lets the margin slide as the seed goes.",
}
_MARGIN_MEANING = (
    "The task set carries margin targets, under the dictionary's entry for downforce (01AA) "
    "because it has none for a margin. Load it only where the controller is known to take that "
    "entry as a margin: one that takes it as the force to apply presses wrongly."
)


def cell_m(machine: Machine) -> float:
    """Give the side of a cell: half the planter's width, and 5 m at most. [m]."""
    return min(_MOST_CELL_M, machine.width_m / 2)


def command_n(setting: ZoneSetting, moisture: Moisture, value: Value) -> int | None:
    """Give the number that goes out for one zone, in whole newtons; None where there is none.

    A margin is the margin target. Downforce is, where a spring position or a pressure is
    held, what that setting gives; where a margin is held, what its target needs midway
    between a full hopper and refill. Negative is a lift.
    """
    instruction = setting.moistures[moisture]
    if not isinstance(instruction, Setting):
        return None
    return round(instruction.margin_n if value == "margin" else instruction.command_n)


def zone_designator(setting: ZoneSetting, moisture: Moisture, value: Value) -> str:
    """Name a zone for the terminal: its number, what is commanded, the closing-wheel notch.

    As in "3 margin 110lb close 2", "6 lift 34lb close A", "5 wait, no number". A notch that
    does not fit gives way to dots: half a name could be another notch's. What a person calls
    the zone comes last, as far as it fits.
    """
    number, instruction = setting.zone.id, setting.moistures[moisture]
    name = f", {setting.zone.name}" if setting.zone.name else ""
    command = command_n(setting, moisture, value)
    if command is None or not isinstance(instruction, Setting):
        return designator(f"{number} {why_blank(instruction)}, no number{name}")
    word = "lift" if command < 0 else value
    head = f"{number} {word} {round(abs(to(command, 'lb', 'force')))}lb close"
    whole = f"{head} {instruction.closing_notch}"
    return designator(f"{whole}{name}" if len(whole) <= _MOST else f"{head}...")


def task_designator(field: str, moisture: Moisture, value: Value, number: int | None = None) -> str:
    """Name the task: moisture and kind of number first, then as much of the field as fits.

    Before them stands the field's number in a list, where it has one.

    >>> task_designator("North forty", Moisture.DRY, "downforce", 12)
    '12 dry downforce: North forty'
    """
    first = "" if number is None else f"{number} "
    return designator(f"{first}{moisture} {value}: {field}")


def shown_unit(plan: Plan, value: Value) -> str:
    """Give the unit that a terminal shows behind each number, which says what the number is."""
    if value == "margin":
        return "lbf margin"
    return "lbf at mid hopper" if plan.setting_kind == SettingKind.MARGIN_TARGET else "lbf"


def taskset_notes(
    plan: Plan, moisture: Moisture, *, grid: bool = False, value: Value = "downforce"
) -> tuple[str, ...]:
    """Say what the numbers of a task set mean, and where there are none."""
    commands = {setting.zone.id: command_n(setting, moisture, value) for setting in plan.settings}
    changed = [
        setting.zone.id
        for setting in plan.settings
        if isinstance(instruction := setting.moistures[moisture], Setting)
        and (instruction.by_hand or instruction.closing_by_hand)
    ]
    lifted = [zone for zone, command in commands.items() if command is not None and command < 0]
    silent = [zone for zone, command in commands.items() if command is None]
    generic = stamp(plan)
    notes = [
        *([f"{generic}."] if generic else []),
        _MARGIN_MEANING if value == "margin" else _MEANINGS[plan.setting_kind],
        "Closing settings stand in the names of the zones, where they fit: the dictionary has no "
        "entry for them.",
    ]
    if changed:
        notes.append(
            f"In {_zones(changed)} a person changed the margin target or the closing setting; "
            "plan.json says who, when and why."
        )
    if lifted:
        notes.append(f"In {_zones(lifted)} the number is below zero: a lift.")
    where = f"In {_zones(silent)}, outside" if silent else "Outside"
    notes.append(
        f"{where} the field and when the position is lost the task set commands nothing. What "
        "the controller then holds is not known: watch it there."
    )
    if grid:
        notes.append(f"The zones are a grid with cells of {cell_m(plan.machine):.3g} m.")
    return tuple(notes)


def designator(text: str) -> str:
    """Cut a text to what a designator holds, without anything that cannot be printed.

    >>> designator("Crêt-du-Noyer, côté nord, en haut du chemin")
    'Crêt-du-Noyer, côté nord, en hau'
    """
    normal = unicodedata.normalize("NFC", text)
    printable = "".join(letter for letter in normal if letter.isprintable() or letter.isspace())
    return " ".join(printable.split())[:_MOST].strip()


def _zones(numbers: list[int]) -> str:
    return f"zone{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"
