"""The boxes of a planter: each with how its number is found, and beside it what is wrong."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from functools import partial
from typing import Any, NamedTuple
from zlib import crc32

import streamlit as st

from zoneplan.forms import Fault, Measure, Number, OneOf, Way, flag
from zoneplan.harmless import escape
from zoneplan.pages.planter_filling import Filling, reader_at, shown, typed, unit_word
from zoneplan.pages.state import desk
from zoneplan.rowunit.machine import SYSTEM_WORDS
from zoneplan.rowunit.machine_file import LISTS, SYSTEM_KEYS
from zoneplan.say.sentences import sentence
from zoneplan.terms import System

TO_GIVE = "Still to give."
_SHARES = ("full", "refill")  # of the hopper: asked in percent
_WIDTH = 212  # of a box, in the page's pixels
_NARROW, _LOAD = 124, 150  # in a list: a phone takes a row of it
_NAME = "Our planter"
_PAUSE = "0.4s"  # of the hand, until the sum follows


def current() -> Filling:
    """The planter that is being filled in."""
    work = desk()
    return work.fillings[work.filling]


def lay(filling: Filling) -> None:
    """Lay another one in its place."""
    work = desk()
    work.fillings = {**work.fillings, work.filling: filling}


def boxes(units: str, faults: Collection[Fault], weights: str) -> None:
    """Draw every box of the planter.

    Parameters
    ----------
    units : str
        "us" or "si".
    faults : collection of Fault
        What is wrong with what is in them.
    weights : str
        HTML: what stands below the last box of a weight.
    """
    form = _Form(current(), units, faults)
    for title, keys in GROUPS.items():
        st.html(f"<h2>{title}</h2>")
        form.group([(key,) for key in keys])
        if "hopper" in keys:
            st.html(weights)
    st.html("<h2>Downforce</h2>")
    form.system()
    with st.expander("More, where you know it", expanded=form.has_fault(MORE)):
        form.group([(key,) for key in MORE])


class _Form:
    """One drawing of the boxes."""

    def __init__(self, filling: Filling, units: str, faults: Collection[Fault]) -> None:
        self.filling, self.units = filling, units
        self.faults: dict[Way, list[Fault]] = defaultdict(list)
        for fault in faults:
            self.faults[fault.way].append(fault)

    def has_fault(self, keys: Collection[str]) -> bool:
        return any(way and way[0] in keys for way in self.faults)

    def system(self) -> None:
        """Ask how the planter makes downforce, and what that system is told by."""
        key = self._key(("kind",))
        st.session_state.setdefault(key, self.filling.kind)
        st.selectbox(
            "How your planter makes downforce",
            list(SYSTEM_KEYS),
            key=key,
            format_func=lambda kind: SYSTEM_WORDS[kind],
            on_change=lambda: lay(current().on(System(st.session_state[key]))),
        )
        self.group([("system", name) for name in SYSTEM_KEYS[self.filling.kind]])

    def group(self, ways: Collection[Way]) -> None:
        """Draw the boxes of single values side by side, and each list below them."""
        single = [way for way in ways if way[-1] not in LISTS]
        if single:
            with st.container(horizontal=True):
                for way in single:
                    self._box(way, str(way[-1]))
        for way in ways:
            if way not in single:
                self._list(way)

    def _list(self, way: Way) -> None:
        """Draw a row for each item of a list; one can be added and each taken out."""
        name = str(way[-1])
        parts = LISTS[name]
        cells: list[tuple[str | int, ...]] = (
            [(part,) for part in parts] if isinstance(parts, Mapping) else [()]
        )
        st.html(f'<p class="zp-change">{ABOUT[name]}</p>')
        items = self.filling.at(way) or []
        for number in range(len(items)):
            with st.container(horizontal=True):
                for cell in cells:
                    named = ".".join([name, *map(str, cell)])
                    self._box((*way, number, *cell), named, number + 1)
                st.button(
                    f"Take row {number + 1} out",  # style.css shows the sign alone
                    key=f"out-{self._key((*way, number))}",
                    icon=":material/close:",
                    help=f"Take row {number + 1} out",
                    on_click=lambda number=number: lay(current().shorter(way, number)),
                    type="tertiary",
                )
            if cells != [()]:
                self._beside((*way, number))
        self._beside(way)
        st.button(
            ADD[name],
            key=f"more-{self._key(way)}",
            icon=":material/add:",
            on_click=lambda: lay(current().longer(way)),
        )

    def _box(self, way: Way, named: str, number: int | None = None) -> None:
        """Draw one box, and what is wrong with what it holds."""
        reader, words = reader_at(way), BOXES[named]
        label, how = words.label.format(number), None if number else words.how
        value, key = self.filling.at(way), self._key(way)
        take = partial(_take, way, key, self.units)
        narrow = _LOAD if isinstance(reader, Measure) and not named.endswith(".0") else _NARROW
        with st.container(width=narrow if number else _WIDTH, gap="xxsmall"):
            if reader is flag:
                st.session_state.setdefault(key, bool(value))
                st.checkbox(label, key=key, on_change=take)
            elif isinstance(reader, OneOf):
                st.session_state.setdefault(key, value if value in reader.words else None)
                st.selectbox(
                    label,
                    list(reader.words),
                    None,
                    key=key,
                    help=how,
                    placeholder="",
                    on_change=take,
                )
            elif isinstance(reader, Number):
                self._number(way, key, label, how, reader)
            else:
                if isinstance(reader, Measure):
                    label = f"{label}, {unit_word(reader, self.units)}"
                st.session_state.setdefault(key, shown(reader, value, self.units))
                st.text_input(
                    label,
                    key=key,
                    help=how,
                    placeholder=_NAME if way == ("name",) else self._typical(way),
                    live=_PAUSE,
                    on_change=take,
                )
            self._beside(way)

    def _number(self, way: Way, key: str, label: str, how: str | None, reader: Number) -> None:
        share = way[-1] in _SHARES
        value, typical = self.filling.at(way), self.filling.typical(way)
        if value is not None and reader.of is not int:
            value = round(100.0 * value, 4) if share else float(value)
        st.session_state.setdefault(key, value)
        st.number_input(
            f"{label}, %" if share else label,
            value=None,
            step=1 if reader.of is int else 5.0 if share else 0.5,
            format=None if reader.of is int else "%g",
            key=key,
            help=how,
            placeholder=None if typical is None or share else f"{typical:g}",
            on_change=_take,
            args=(way, key, self.units),
        )

    def _beside(self, way: Way) -> None:
        for fault in self.faults.get(way, ()):
            empty = self.filling.at(way) in (None, [])
            if empty and not self.filling.asked_for:
                continue
            words = TO_GIVE if empty else sentence(self._words(fault))
            st.html(f'<p class="zp-beside" role="status">{escape(words)}</p>')

    def _words(self, fault: Fault) -> str:
        """Say what is wrong with a value; of a share in percent, as its box has it."""
        reader, value = reader_at(fault.way), self.filling.at(fault.way)
        if fault.way[-1] not in _SHARES or not isinstance(reader, Number):
            return fault.words
        if reader.least <= value <= reader.most:
            return "That is above what it is filled to. The hopper runs from there down."
        limits = f"{100 * reader.least:g} to {100 * reader.most:g} %"
        return f"{100 * value:g} % cannot be. It lies from {limits}."

    def _typical(self, way: Way) -> str:
        return shown(reader_at(way), self.filling.typical(way), self.units)

    def _key(self, way: Way) -> str:
        """A box's key: another once the boxes are filled again. Keys go to the page as they are."""
        filling, place = self.filling, ".".join(map(str, way))
        return f"planter {crc32(filling.base.encode())} {filling.turn} {self.units} {place}"


def _take(way: Way, key: str, units: str) -> None:
    value: Any = st.session_state[key]
    filling, reader = current(), reader_at(way)
    if isinstance(value, str):
        if value == shown(reader, filling.at(way), units):
            return
        value = typed(reader, value, units)
    elif way[-1] in _SHARES and value is not None:
        value = round(value / 100, 6)
    lay(filling.put(way, value))


# ---- what they are called, and how each number is found ------------------------------------------


class Words(NamedTuple):
    """A box in words. In a list's labels `{}` is the item's number or name."""

    label: str
    how: str


GROUPS: Mapping[str, tuple[str, ...]] = {  # keys of a machine file, in the order of the form
    "The planter": ("name", "rows", "row_spacing", "speed", "depth"),
    "Weight of one row unit": ("unit_weight", "attachments", "disc_diameter"),
    "Seed in one hopper": ("hopper", "full", "refill", "test_weight"),
    "Closing wheels": ("closing_wheel", "notches"),
}
MORE = ("attachment", "swing", "swing_tillage", "light_to_heavy")
ABOUT: Mapping[str, str] = {  # said once, above a list
    "notches": (
        "The load that the pair of closing wheels carries at each notch of its lever, the lightest "
        "first. Hold the row unit at working height on blocks, put a scale's plate under the "
        "closing wheels alone, and read it at every notch."
    ),
    "positions": (
        "What one row unit gains at each position of its springs, the lightest first. Put it on "
        "the scale with its links level, and take off what it weighs with the springs slack."
    ),
    "chart": (
        "What one row unit gains at some pressures, from the lowest to the highest that you run. "
        "Put it on the scale with its links level, let the gauge stand still at each, stand clear, "
        "and take off what it weighs at no pressure."
    ),
    "attachment": (
        "What the soil itself pushes up, each by itself: a coulter, a fertiliser disc (they cut "
        "soil), a row cleaner or a firmer (they ride). In moist, tilled soil, from its manual; "
        "leave it out where you do not know it."
    ),
}
ADD: Mapping[str, str] = {
    "notches": "Add a notch",
    "positions": "Add a position",
    "chart": "Add a pressure",
    "attachment": "Add one",
}
BOXES: Mapping[str, Words] = {
    "name": Words("Name of the planter", "It stands on every sheet."),
    "rows": Words("Rows", "How many the planter has."),
    "row_spacing": Words("Row spacing", "From the middle of one row to the middle of the next."),
    "speed": Words(
        "Usual speed",
        "What you plant at. A plan that is there keeps its own until you say otherwise.",
    ),
    "depth": Words(
        "Usual seed depth",
        "Dug up behind the planter. A plan that is there keeps its own until you say otherwise.",
    ),
    "unit_weight": Words(
        "Row unit, hopper empty",
        "Set one row unit down on a scale so that it rests there whole, its links level, springs "
        "slack or pressure off. Without seed and without what is weighed beside. 150 to 200 lb "
        "(70 to 90 kg) is common: an extension specialist, Iowa State.",
    ),
    "attachments": Words(
        "Attachments on it",
        "Row cleaner, coulter, brackets, what rides on the unit: weigh it taken off, or the unit "
        "again with it on. 0 for none.",
    ),
    "disc_diameter": Words(
        "Opener discs, across",
        "Measured. Worn discs are smaller. They plant to less than half of it.",
    ),
    "hopper": Words(
        "Seed in a full hopper",
        "From the manual; or fill it from bags whose weight is printed on them: 90 lb of corn at "
        "56 lb a bushel are 1.6 bu. 0 where seed comes to the rows by air.",
    ),
    "full": Words("Filled to", "How full you fill it, in percent."),
    "refill": Words("Filled again at", "How much is left when you fill again, in percent."),
    "test_weight": Words(
        "Weight of the seed",
        "56 lb a bushel is corn's by US grain standards. Weigh a dry quart and take it 32 times; "
        "or a litre, in kg.",
    ),
    "closing_wheel": Words("Kind of wheels", "Rules may ask for it."),
    "notches.name": Words("Notch {}", "As it is marked on the lever."),
    "notches.load": Words("Load at notch {}", ABOUT["notches"]),
    "positions": Words("At position {}", ABOUT["positions"]),
    "chart.0": Words("Pressure {}", ABOUT["chart"]),
    "chart.1": Words("Downforce {}", ABOUT["chart"]),
    "retrim": Words("Set again every", "How long it runs between two looks at the gauge."),
    "drift_per_hour": Words(
        "Drift in an hour", "Watch the gauge for an hour: what it loses by leaks or gains by sun."
    ),
    "sections": Words("Sections", "Groups of rows that share one pressure."),
    "sensors": Words("Rows with a load sensor", "How many rows measure the load."),
    "delay": Words(
        "Time until it answers",
        "From a change that is asked for to the first that can be seen. From the manual, or by a "
        "watch.",
    ),
    "time_constant": Words(
        "Time to most of it",
        "From there to two thirds of the change. From the manual, or by a watch.",
    ),
    "least": Words(
        "Lightest downforce",
        "What the cylinder gives at the least, on the scale or by the manual. Lift is negative; 0 "
        "where it only pushes.",
    ),
    "most": Words(
        "Heaviest downforce",
        "What the cylinder gives at the most, on the scale or by the manual. The frame's weight "
        "may end it sooner.",
    ),
    "attachment.name": Words("Attachment {}", ABOUT["attachment"]),
    "attachment.reaction": Words("Its push {}", ABOUT["attachment"]),
    "attachment.cuts_soil": Words("{} cuts soil", ABOUT["attachment"]),
    "swing": Words(
        "Swing of the load",
        "Standard deviation of the load on the gauge wheels about its mean, at the usual speed, "
        "where a monitor has recorded it. "
        "Empty: the rules' own.",
    ),
    "swing_tillage": Words(
        "Swing recorded on", "The ground it was recorded on. Empty: as planned."
    ),
    "light_to_heavy": Words(
        "Too light to too heavy",
        "How many pounds too heavy are as bad as one too light. 2 is our judgement: shallow seed "
        "costs about twice what a packed furrow does.",
    ),
}
