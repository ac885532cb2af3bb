"""The options of `zoneplan plan`: those of a request are made from its fields and its sources."""

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from zoneplan.ask import Ask, Form, Part, asks, pairs_from
from zoneplan.plain_file import exists
from zoneplan.request import Request, TitleBlock, usual_of
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.sources import Sources
from zoneplan.terms import FileKind

if TYPE_CHECKING:
    from zoneplan.export.manifest import Options

PATH = click.Path(path_type=Path)
HEADINGS = {  # in the order that help tells them
    Part.SOIL: "Soil",
    Part.DAY: "Planter and day",
    Part.FIELD: "Field",
    Part.MARKS: "Places in the field",
    Part.ZONES: "Zones",
    Part.TITLE: "Names on the sheets",
}
Command = Callable[..., Any]
Option = Callable[[Command], Command]


class _Range(click.FloatRange):
    """A range that "nan", which is in none, does not slip through."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        number = super().convert(value, param, ctx)
        if math.isnan(number):
            self.fail(f"{value!r} is no number.", param, ctx)
        return float(number)


class _Kinds(click.ParamType[tuple[str, ...]]):
    """Kinds of files, with commas between them: "sheets,page". The plan itself is always one."""

    name = "kinds"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, ...]:
        if not isinstance(value, str):
            return tuple(value)
        asked = [word.strip() for word in value.split(",")]
        for word in asked:
            if word not in ("plan", *FileKind):
                self.fail(f"{word!r} is none of plan, {', '.join(FileKind)}.", param, ctx)
        return tuple(kind for kind in FileKind if kind in asked)


class Headed(click.Command):
    """A command whose help tells its options under headings: fifty in a row are read by nobody."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Tell each heading with its options; last, under a plain one, what has none."""
        options = [param for param in self.get_params(ctx) if isinstance(param, click.Option)]
        headings = dict.fromkeys(getattr(param, "heading", "") for param in options)
        for heading in sorted(headings, key=lambda heading: not heading):
            here = [param for param in options if getattr(param, "heading", "") == heading]
            with formatter.section(heading or "Options"):
                formatter.write_dl([row for param in here if (row := param.get_help_record(ctx))])


class _Headed(click.Option):
    """An option with the heading that it is told under."""

    def __init__(self, *args: Any, heading: str = "", **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.heading = heading


def _option(*names: str, **settings: Any) -> Option:
    return click.option(*names, cls=_Headed, **settings)


# ---- what a request and its sources ask --------------------------------------------------------


def request_options(
    nouns: Sequence[type] = (Sources, Request, TitleBlock), without: Collection[str] = ()
) -> list[Option]:
    """Make the options of every value that a request, its title or its sources can be given."""
    return [
        option
        for part in HEADINGS
        for noun in nouns
        for name, ask in asks(noun)
        if ask.part is part and ask.option and name not in without
        for option in _options_of(name, ask)
    ]


def values_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """Give what the options say of a request, as a request's JSON has it, and nothing else."""
    from zoneplan.store.request_json import request_document

    values = {
        name: _value(name, ask, given)
        for name, ask in asks(Request)
        if ask.option and (name in given or ask.keys)
    }
    values = {name: value for name, value in values.items() if value not in (None, ())}
    document = request_document(replace(Request(), **values))
    return {name: document[name] for name in values}


def request_of(given: Mapping[str, Any], base: Request) -> Request:
    """Lay the options that were given over a request."""
    return replace(
        base, **_given(Request, given), title=replace(base.title, **_given(TitleBlock, given))
    )


def _given(noun: type, given: Mapping[str, Any]) -> dict[str, Any]:
    """What the options say of a noun's fields; those that nobody gave are not there."""
    values = {name: _value(name, ask, given) for name, ask in asks(noun) if ask.option}
    return {name: value for name, value in values.items() if value not in (None, ())}


def sources_of(boundary: Path | None, given: Mapping[str, Any]) -> Sources:
    """Take the files that were named; a machine may be a generic one's name."""
    files = {name: given[name] for name, ask in asks(Sources) if ask.option}
    if given["machine"] not in SYSTEMS and exists(path := Path(given["machine"])):
        files["machine"] = path
    return Sources(boundary=boundary, **files)


def files_of(given: Mapping[str, Any], request: Request) -> "Options":
    """What the options ask of the files of a plan."""
    from zoneplan.export.manifest import Options

    return Options(
        moisture=request.moisture,
        all_moistures=given["all_moistures"],
        paper=given["paper"],
        units=given["units"],
        taskset_version=int(given["taskset_version"]),
        taskset_grid=given["taskset_grid"],
        taskset_value="margin" if given["taskset_margin"] else "downforce",
        files=given["files"],
        title=request.title,
    )


def _options_of(name: str, ask: Ask) -> Iterator[Option]:
    if ask.form is Form.PAIRS and ask.keys:
        for key, what in ask.keys.items():
            knob, words = ask.option.format(key), ask.help.format(what)
            yield _option(
                knob, f"{name}_{key}", metavar="NAME", help=words, heading=HEADINGS[ask.part]
            )
        return
    usual = usual_of(name) if name in dict(asks(Request)) else None
    usual_words = ask.usual or (str(usual) if ask.form is Form.CHOICE else "")
    words = f"{ask.help} {usual_words.capitalize()}, unless given." if usual_words else ask.help
    several = ask.form in (Form.CHOICES, Form.FILES, Form.PAIRS)
    settings: dict[str, Any] = {"help": words, "multiple": several, "heading": HEADINGS[ask.part]}
    if ask.form is Form.FLAG:
        settings |= {"is_flag": True, "default": None}
    elif ask.form in (Form.FILE, Form.FILES):
        kind = str if ask.choices else PATH
        settings |= {"type": kind, "metavar": ask.example or "FILE", "required": bool(ask.choices)}
    elif ask.form in (Form.CHOICE, Form.CHOICES):
        settings["type"] = click.Choice([str(choice) for choice in ask.choices])
    elif ask.form in (Form.NUMBER, Form.WHOLE):
        limits = click.IntRange if ask.form is Form.WHOLE else _Range
        settings["type"] = limits(ask.shown(ask.least), ask.shown(ask.most))
        settings["metavar"] = ask.unit.replace("%", "pct").upper() or "N"
    elif ask.form is Form.PAIRS:
        settings["metavar"] = "PART=BAND"
    elif ask.form is Form.DATE:
        settings |= {"type": click.DateTime(["%Y-%m-%d"]), "metavar": "YYYY-MM-DD"}
    yield _option(ask.option, name, **settings)


def _value(name: str, ask: Ask, given: Mapping[str, Any]) -> Any:
    """What the options say of one value; nothing where they do not."""
    if ask.form is Form.DATE:
        return given[name] and given[name].date()
    if ask.form is not Form.PAIRS:
        return ask.taken(given[name])
    if ask.keys:
        named = {key: given[f"{name}_{key}"] for key in ask.keys}
        return tuple((key, column) for key, column in named.items() if column)
    return pairs_from(given[name])


# ---- what is asked of the files and of the screen ----------------------------------------------

_written = partial(_option, heading="Files to write")
_printed = partial(_option, heading="What is printed")
_services = partial(_option, heading="Public services")

_OF_FILES = (
    _written(
        "--all-moistures",
        is_flag=True,
        help="In the zone files all three moistures, in columns of their own.",
    ),
    _written(
        "--paper",
        type=click.Choice(["letter", "a4"]),
        default="letter",
        show_default=True,
        help="Paper of the sheets.",
    ),
    _written(
        "--units",
        type=click.Choice(["us", "si"]),
        default="us",
        show_default=True,
        help="Units on the sheets and the landowner's page. Zone files are in SI.",
    ),
    _written(
        "--taskset-version",
        type=click.Choice(["3", "4"]),
        default="4",
        show_default=True,
        help="Version of the task set for the cab (ISO 11783-10).",
    ),
    _written(
        "--taskset-grid",
        is_flag=True,
        help="In the task set zones as a grid of cells, not as polygons.",
    ),
    _written(
        "--taskset-margin",
        is_flag=True,
        help="In the task set margin targets in place of downforce, labelled as such. Ask your "
        "terminal's manual first: it may take them for downforce.",
    ),
)


def file_options(usual: Sequence[FileKind] = tuple(FileKind)) -> tuple[Option, ...]:
    """Make the options of what is written, where and how; of kinds these, unless given."""
    return (
        _written("--out", required=True, type=PATH, metavar="DIR", help="Folder for the results."),
        _written(
            "--files",
            type=_Kinds(),
            default=tuple(usual),
            metavar="KINDS",
            help=f"Kinds of files, with commas between: {','.join(FileKind)}. "
            f"{'All' if usual else 'None'}, unless given; plan.json always.",
        ),
        *_OF_FILES,
    )


FILES = file_options()
BASE = (
    _option(
        "--request",
        "request_file",
        type=PATH,
        metavar="FILE",
        help="Begin from a request (JSON, in SI, with what was drawn and changed by hand) or from "
        "the work.json of a saved plan. Options that are given count before it.",
    ),
)
SAVE = (
    _written(
        "--save",
        type=PATH,
        metavar="FILE",
        help="Also save the plan as one zip, to be opened again here or in the app.",
    ),
)
SERVICES = (
    _services(
        "--refresh",
        is_flag=True,
        help="Ask public services again, also for what they answered before.",
    ),
    _services("--offline", is_flag=True, help="Ask no service: take what was answered before."),
)
SAYING = (
    _printed("--why", is_flag=True, help="Print the rule and source behind each setting."),
    _printed(
        "--timings",
        is_flag=True,
        help="Print on standard error what each step took: processor time, and the most memory.",
    ),
    _printed(
        "--json",
        "as_json",
        is_flag=True,
        help="Print one summary for programs on standard output, and nothing else there.",
    ),
)


def options(*groups: Sequence[Option]) -> Option:
    """Give a command several groups of options, so that its help keeps their order."""

    def given(command: Command) -> Command:
        for option in reversed([option for group in groups for option in group]):
            command = option(command)
        return command

    return given
