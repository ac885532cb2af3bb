"""Boxes made from what a request and its sources ask, and a choice of a few; what they hold."""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any, Protocol

import streamlit as st

from zoneplan.ask import Ask, Form, Part, asks, pairs_from
from zoneplan.errors import LayerError
from zoneplan.harmless import in_markdown
from zoneplan.pages.door import TOGETHER
from zoneplan.pages.state import BOXED, TITLED, box_values, desk, label, values_of, without
from zoneplan.pages.words import shortened
from zoneplan.request import TitleBlock, usual_of
from zoneplan.sources import Sources, Upload
from zoneplan.terms import Moisture

_FILES = dict(asks(Sources))
_CHOOSERS = {"machine": "machine_file"}  # keys that another box has


class _Sent(Protocol):
    """A file as the chooser hands it out."""

    name: str

    def getvalue(self) -> bytes: ...


def boxes(parts: Collection[Part], files: Mapping[str, Any]) -> dict[str, Any]:
    """Draw a box for every value of these parts, and give what they hold, by field.

    A box that needs a value or a file is not there without it.
    """
    values: dict[str, Any] = {}
    for name, ask in BOXED.items():
        needed = {**files, **values}.get(ask.needs) if ask.needs else True
        if ask.part in parts and needed:
            value = _box(name, ask)
            values[name] = usual_of(name) if value is None else value
    return values


def title_boxes(title: TitleBlock) -> TitleBlock:
    """Draw a box for every value of a title, and give it as they hold it."""
    for key, value in values_of(title).items():
        st.session_state.setdefault(key, value)
    return replace(title, **{name: _BOXES[ask.form](name, ask) for name, ask in TITLED.items()})


def choice(label: str, options: Mapping[str, str], key: str, default: str) -> str:
    """Let one of a few be chosen, as each is called; what is chosen stays so on other pages."""
    return st.segmented_control(
        label,
        options,
        default=default,
        required=True,
        format_func=options.__getitem__,
        key=key,
        persist_state="session",
    )


def moisture_choice(key: str) -> Moisture:
    """Let a moisture be chosen."""
    return Moisture(
        choice("Soil at planting", {str(one): str(one) for one in Moisture}, key, "moist")
    )


def file_box(role: str, called: str = "") -> Upload | None:
    """Draw a chooser for one file; None while there is none."""
    ask = _FILES[role]
    sent = st.file_uploader(called or ask.label, key=box_key(role), help=ask.help)
    if sent is not None:
        return as_upload(sent)
    return next(iter(_files_before(role)), None)


def files_box(role: str) -> tuple[Upload, ...]:
    """Draw a chooser for files: those kept from before come first."""
    label = _FILES[role].label
    sent = st.file_uploader(label, accept_multiple_files=True, key=box_key(role), help=TOGETHER)
    return (*_files_before(role), *map(as_upload, sent))


def box_key(role: str) -> str:
    """A chooser's key: another once the desk was laid out again, for no chooser can be filled."""
    fresh, key = desk().fresh, _CHOOSERS.get(role, role)
    return f"{key}-{fresh}" if fresh else key


def as_upload(sent: _Sent) -> Upload:
    """Take a file as a chooser hands it out."""
    return Upload(sent.name, sent.getvalue())


# ---- one value ---------------------------------------------------------------------------------


def _box(name: str, ask: Ask) -> Any:
    """Draw one box, or one for each key, and give what it holds."""
    for key, value in box_values(name, ask, usual_of(name)).items():
        st.session_state.setdefault(key, value)
    return _BOXES[ask.form](name, ask)


def _number(name: str, ask: Ask) -> float | None:
    shown: float | None = st.number_input(
        ask.box,
        ask.shown(ask.least),
        ask.shown(ask.most),
        None,
        ask.step,
        "%g",
        name,
        ask.help,
        placeholder=ask.usual or None,
    )
    before: float | None = getattr(desk().laid, name)
    # One that stands as it was laid out is not rounded on its way through the box.
    return before if shown is not None and ask.shown(before) == shown else ask.taken(shown)


def _whole(name: str, ask: Ask) -> int | None:
    least, most = (None if limit is None else int(limit) for limit in (ask.least, ask.most))
    number = st.number_input(
        ask.box, least, most, None, 1, None, name, ask.help, placeholder=ask.usual or None
    )
    return None if number is None else int(number)


def _choice(name: str, ask: Ask) -> str | None:
    return st.selectbox(
        ask.box, ask.choices, None, key=name, help=ask.help, placeholder=ask.usual or None
    )


def _choices(name: str, ask: Ask) -> tuple[str, ...]:
    return tuple(
        st.multiselect(ask.box, ask.choices, key=name, help=ask.help, placeholder=ask.usual or None)
    )


def _text(name: str, ask: Ask) -> str | None:
    return st.text_input(ask.box, key=name, placeholder=ask.example, help=ask.help).strip() or None


def _pairs(name: str, ask: Ask) -> tuple[tuple[str, str], ...]:
    if ask.keys:
        return tuple(_columns(name, ask, ask.keys))
    line = _text(name, ask)
    try:
        return pairs_from(line.split(",") if line else ())
    except LayerError as error:
        desk().box_fault = error
        return ()


_BOXES: dict[Form, Callable[[str, Ask], Any]] = {
    Form.NUMBER: _number,
    Form.WHOLE: _whole,
    Form.FLAG: lambda name, ask: st.checkbox(ask.box, key=name, help=ask.help),
    Form.CHOICE: _choice,
    Form.CHOICES: _choices,
    Form.TEXT: _text,
    Form.DATE: lambda name, ask: st.date_input(ask.box, None, key=name, help=ask.help),
    Form.PAIRS: _pairs,
}


def _columns(name: str, ask: Ask, keys: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for key, what in keys.items():
        called, help_ = label(f"{name}.{key}"), ask.help.format(what)
        if line := st.text_input(called, key=f"{name}_{key}", help=help_).strip():
            yield key, line


# ---- files of before ---------------------------------------------------------------------------


def _files_before(role: str) -> tuple[Upload, ...]:
    """Files that the chooser does not show, for they were sent before; each can be let go."""
    uploads = desk().files.get(role, ())
    for number, upload in enumerate(uploads):
        st.button(
            f"{in_markdown(shortened(upload.name))}, {len(upload.content) / 1000:,.0f} kB",
            key=f"let-go-{role}-{number}",
            icon=":material/close:",
            on_click=_let_go,
            args=(role, number),
            help="Kept from before. Press to let it go.",
            type="tertiary",
        )
    return uploads


def _let_go(role: str, number: int) -> None:
    desk().files[role] = without(desk().files.get(role, ()), number)
