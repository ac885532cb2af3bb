"""The boxes of a planter: each with how its number is found, and beside it what is wrong."""

from collections.abc import Collection, Mapping
from typing import Any
from zlib import crc32

import streamlit as st

from zoneplan.forms import Fault, Measure, Number, OneOf, Way, flag
from zoneplan.harmless import escape
from zoneplan.pages.planter_form.filling import Filling, reader_at, shown, typed, unit_word
from zoneplan.pages.planter_form.words import ABOUT, ADD, BOXES, GROUPS, MORE
from zoneplan.pages.state import desk
from zoneplan.rowunit.machine import SYSTEM_WORDS
from zoneplan.rowunit.machine_file import LISTS, SYSTEM_KEYS
from zoneplan.say.figures import sentence
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
        self.faults: Mapping[Way, list[Fault]] = {}
        for fault in faults:
            self.faults = {**self.faults, fault.way: [*self.faults.get(fault.way, []), fault]}

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
        narrow = _LOAD if isinstance(reader, Measure) and not named.endswith(".0") else _NARROW
        with st.container(width=narrow if number else _WIDTH, gap="xxsmall"):
            if reader is flag:
                st.session_state.setdefault(key, bool(value))
                st.checkbox(label, key=key, on_change=_take, args=(way, key, self.units))
            elif isinstance(reader, OneOf):
                st.session_state.setdefault(key, value if value in reader.words else None)
                st.selectbox(
                    label,
                    list(reader.words),
                    None,
                    key=key,
                    help=how,
                    placeholder="",
                    on_change=_take,
                    args=(way, key, self.units),
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
                    on_change=_take,
                    args=(way, key, self.units),
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
        """Say what is wrong with one place, beside it."""
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
    """Put what a box holds into the planter."""
    value: Any = st.session_state[key]
    filling, reader = current(), reader_at(way)
    if isinstance(value, str):
        if value == shown(reader, filling.at(way), units):
            return
        value = typed(reader, value, units)
    elif way[-1] in _SHARES and value is not None:
        value = round(value / 100, 6)
    lay(filling.put(way, value))
