"""What the command line says: progress, a plan, reasons, faults, and which services are asked.

`echo` is the only way to the terminal: what names and files hold is shown there and never acts.
"""

import json
import shutil
import sys
import textwrap
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from zoneplan.errors import ZoneplanError
from zoneplan.harmless import in_json_line, on_terminal
from zoneplan.plain_file import exists
from zoneplan.units import HA_PER_ACRE, to

if TYPE_CHECKING:
    from zoneplan.plan.model import Instruction, Plan, Setting
    from zoneplan.progress import Stage
    from zoneplan.rules.rule import Reason
    from zoneplan.sources import Sources

_HEAD = ("zone", "acres", "soil", "dry", "moist", "wet")
_COMMANDS = {
    "book-none": "zoneplan book new BOOK",
    "book-damaged": "zoneplan book restore BACKUP BOOK",
    "book-no-season": "zoneplan book set BOOK --season 2027",
    "book-no-planter": "zoneplan book add planter BOOK FILE",
    "book-no-soil": "zoneplan book add soil BOOK FILE",
    "book-no-field": "zoneplan book list BOOK",
    "book-to-plan": "zoneplan book plan BOOK",
    "book-to-plan-again": "zoneplan book plan BOOK --again",
}


def echo(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print on standard output, or on standard error."""
    click.echo(on_terminal(text), err=err, nl=nl)  # noqa: TID251


def echo_json(document: dict[str, Any]) -> None:
    """Print one line for a machine."""
    line = in_json_line(json.dumps(document, ensure_ascii=False))
    click.echo(line)  # noqa: TID251


def advised(error: ZoneplanError) -> str:
    """Tell an error, and which option says what was not clear.

    >>> print(advised(ZoneplanError("It has no system.", parameter="crs", example="EPSG:4326")))
    It has no system.
    Say it with --layer-crs EPSG:4326
    """
    from zoneplan.say.sentences import listing
    from zoneplan.sources import ask_of

    if error.code == "field-columns":
        named = " ".join(f"--{column}" for column in error.example.split(", "))
        return f"{error}\nSay it with {named}, or with --one-grower NAME --field COLUMN"
    if error.code in _COMMANDS:
        return f"{error}\nThe command: {_COMMANDS[error.code]}"
    if not error.parameters:
        return str(error)
    asks = [ask_of(parameter) for parameter in error.parameters]
    options = [ask.option.format(key) for ask, key in asks]
    return f"{error}\nSay it with {listing(options)} {error.example}".rstrip()


def say(text: str) -> None:
    """Tell progress on standard error, and only where that is a terminal."""
    if sys.stderr.isatty():
        echo(text, err=True)


def columns(rows: Iterable[Sequence[str]], widest: int = 44) -> str:
    """Lay rows out in columns no wider than `widest`, long cells wrapped.

    >>> print(columns([("zone", "acres"), ("1", "12.5")]))
    zone  acres
    1     12.5
    """
    wrapped = [[textwrap.wrap(cell, widest) or [""] for cell in row] for row in rows]
    widths = [
        max(len(line) for cell in cells for line in cell) for cells in zip(*wrapped, strict=True)
    ]
    lines = []
    for row in wrapped:
        for n in range(max(len(cell) for cell in row)):
            cells = (cell[n] if n < len(cell) else "" for cell in row)
            padded = (f"{cell:{width}}" for cell, width in zip(cells, widths, strict=True))
            lines.append("  ".join(padded).rstrip())
    return "\n".join(lines)


def took(steps: "Sequence[Stage]") -> str:
    """Each step in a line: processor time, the most memory until its end, and what was done.

    What no step took was the start of the program.
    """
    rows = [("CPU s", "most MB", "step")]
    for step in steps:
        memory = "?" if step.peak_mb is None else f"{step.peak_mb:.0f}"
        cpu_s = step.cpu_s + step.children_s
        rows.append((f"{cpu_s:.2f}", memory, f"{step.doing} {step.what}".strip()))
    own_s, children_s = time.process_time(), sum(step.children_s for step in steps)
    start_s = own_s - sum(step.cpu_s for step in steps)
    rows.insert(1, (f"{start_s:.2f}", "", "Starting, and printing"))
    rows.append((f"{own_s + children_s:.2f}", "", "all of it"))
    return columns(rows)


def table(plan: "Plan") -> str:
    """Each zone in a line: what to aim for and what to set, at the three moistures."""
    from zoneplan.plan.headline import holds_one
    from zoneplan.say.quantities import number
    from zoneplan.say.sentences import BOTH
    from zoneplan.say.summary import plan_notes, without_soil
    from zoneplan.say.trade import MARGIN
    from zoneplan.zones.marks import marks_of

    rows: list[Sequence[str]] = [_HEAD]
    for setting in plan.settings:
        facts = setting.zone.facts
        soil = facts.texture if facts.ground == "soil" and facts.texture else facts.ground
        ground = ", ".join([soil, *(mark.name for mark in marks_of(setting.zone.site))])
        moistures = (
            _cell(moisture, plan.setting_kind, plan.setting_unit)
            for moisture in setting.moistures.values()
        )
        rows.append(
            (str(setting.zone.id), number(setting.zone.area_ha, "area", "us"), ground, *moistures)
        )
    head = (
        f"{plan.field.name}: {plan.field.area_ha / HA_PER_ACRE:.1f} acres "
        f"({plan.field.area_ha:.2f} ha), {plan.machine.name}, {plan.conditions.tillage}, "
        f"{to(plan.conditions.speed_mps, 'mph', 'speed'):.3g} mph, "
        f"{to(plan.conditions.depth_m, 'in', 'length'):.3g} in deep"
    )
    sets = [plan.setting_kind] if holds_one(plan) else []
    meaning = (
        "Right: rounds in which the wheels stay down and the soil bears them."
        if holds_one(plan)
        else "Held: rounds in which the load is within the planter's reach."
    )
    legend = (
        f"{', '.join([*sets, 'margin to aim for', 'closing notch']).capitalize()}; loads per row. "
        f"Margin: {MARGIN}. "
        "Leaves: the margins from refill to full, where they stray from the aim. " + meaning
    )
    lines = [head, "", columns(rows, widest=72), "", legend]
    lines += _one_setting(plan)
    lines += [bare] if (bare := without_soil(plan, "us")) else []
    lines += [f"Note: {note}" for note in plan_notes(plan, BOTH)]
    lines.append(
        "A starting point: stop, dig, and check depth, furrow wall and closing in every zone."
    )
    return "\n".join(lines)


def _shown(value: float, unit: str) -> str:
    if unit == "kPa":
        return f"{to(value, 'psi', 'pressure'):.0f} psi"
    return f"{to(value, 'lb', 'force'):.0f} lb"


def _cell(instruction: "Instruction", kind: str, unit: str) -> str:
    """The setting and what it leaves where it slides; margin to aim for; closing notch; odds."""
    from zoneplan.plan.model import Setting, Wait
    from zoneplan.say.quantities import ROUNDS, right_rounds, smear_words
    from zoneplan.terms import Fitness, SettingKind

    if not isinstance(instruction, Setting):
        return f"WAIT, {smear_words(instruction)}" if isinstance(instruction, Wait) else "-"
    aim, left = f"aim {_shown(instruction.margin_n, 'N')}", _left(instruction)
    parts = (
        [aim + left]
        if kind == SettingKind.MARGIN_TARGET
        else [_shown(instruction.setting, unit) + left, aim]
    )
    right = "held" if kind == SettingKind.MARGIN_TARGET else "right"
    parts += [
        f"notch {instruction.closing_notch}",
        f"{right} {right_rounds(instruction)} of {ROUNDS}",
    ]
    if instruction.state is Fitness.TEST:
        parts.append(f"squeeze first: {smear_words(instruction)}")
    return ", ".join(parts)


def _left(setting: "Setting") -> str:
    """What the setting leaves on the gauge wheels, where it strays from the aim."""
    if setting.reached:
        return ""
    from zoneplan.say.quantities import span

    return f" (leaves {span(setting.margin_refill_n, setting.margin_full_n, 'rough load', 'us')})"


def _one_setting(plan: "Plan") -> list[str]:
    from zoneplan.say.summary import headline_warning, nearly_as_good
    from zoneplan.terms import Moisture

    settings = [
        f"{moisture} {_shown(best, plan.setting_unit)}{f' ({other})' if other else ''}"
        for moisture, best in plan.best.items()
        if best is not None
        for other in [nearly_as_good(plan, Moisture(moisture), "us")]
    ]
    if not settings:
        return []
    warned = [
        f"{moisture.capitalize()}: {_shown(best, plan.setting_unit)} {warning}."
        for moisture, best in plan.best.items()
        if best is not None and (warning := headline_warning(plan, Moisture(moisture), best, "us"))
    ]
    return [f"Best single {plan.setting_kind} for the field: {', '.join(settings)}.", *warned]


def reasons(plan: "Plan") -> str:
    """Every zone's chain of reasons and its warnings."""
    from zoneplan.plan.model import NoNumbers, Setting
    from zoneplan.say.notices import words

    lines: list[str] = []
    for setting in plan.settings:
        lines.append(
            f"Zone {setting.zone.id}: {setting.zone.facts.named or setting.zone.facts.ground}"
        )
        for moisture, instruction in setting.moistures.items():
            if isinstance(instruction, NoNumbers):
                continue
            lines += _links(f"  {moisture}", instruction.reasons)
            if isinstance(instruction, Setting):
                lines += _links(f"  {moisture} closing", instruction.closing_reasons)
                lines += _links(f"  {moisture} test", instruction.stop_reasons)
            lines += [f"  {moisture}: ! {words(notice)}" for notice in instruction.notices]
        lines += [f"  Note: {words(note)}" for note in setting.zone.facts.notes]
    return "\n".join(paragraph(line.lstrip(), len(line) - len(line.lstrip())) for line in lines)


def _links(place: str, reasons: "Sequence[Reason]") -> list[str]:
    """Each link of a chain with what it does to the load, why, and how sure that is."""
    from zoneplan.say.notices import link_amount, link_name, link_words, shown_links

    lines = []
    for reason in shown_links(reasons, "us"):
        adds = "" if reason.adds is None else f" {link_amount(reason, 'us')} lb"
        lines.append(f"{place}: {link_name(reason)}{adds}: {link_words(reason, 'us')}")
        lines.append(f"    {'; '.join(filter(None, (reason.confidence, reason.source)))}")
    return lines


def paragraph(text: str, indent: int) -> str:
    """Wrap one line to the terminal, further lines further in.

    >>> print(paragraph("zone 1", indent=2))
      zone 1
    """
    width = shutil.get_terminal_size((100, 24)).columns
    first = " " * indent
    return textwrap.fill(text, width, initial_indent=first, subsequent_indent=first + "    ")


def digest(plan: "Plan", files: dict[str, Path]) -> dict[str, Any]:
    """The one line for a machine: each file's path, area, zones, warnings."""
    from zoneplan.notices import as_dict
    from zoneplan.say.notices import words

    return {
        "field": plan.field.name,
        "area_ha": plan.field.area_ha,
        "uncovered_ha": plan.uncovered_ha,
        "zones": len(plan.settings),
        "files": {name: str(path.resolve()) for name, path in files.items()},
        "notes": [words(notice) for notice in plan.notices],
        "warnings": [
            {**as_dict(zone_notice), "text": words(zone_notice)}
            for zone_notice in plan.zone_notices
        ],
    }


def names_services(sources: "Sources") -> bool:
    """Whether any is named. A file or folder of such a name comes first, and that is said."""
    named = False
    for option, word, files in (
        ("--soil", "survey", sources.soils),
        ("--elevation", "service", (sources.elevation,)),
    ):
        if Path(word) not in files:
            continue
        if exists(Path(word)):
            echo(
                f"{option} {word}: what is here under that name is read; no service is asked.",
                err=True,
            )
        else:
            named = True
    return named


def disclose(sources: "Sources", *, offline: bool) -> None:
    """Say what leaves this machine, and to whom, before it does."""
    from zoneplan.public import disclosure, wants_heights, wants_survey

    if not offline:
        echo(disclosure(wants_survey(sources), wants_heights(sources)), err=True)
