"""The link of one's work: the page's own address, by which a reload finds it again.

Whoever has it opens a copy of the work. It ends by itself, and can be withdrawn.
"""

import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from ipaddress import IPv6Address, ip_address, ip_network
from pathlib import Path
from threading import Lock
from typing import Any

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from zoneplan.pages.state import OWN_FIELD, Desk, demo_of, desk, put
from zoneplan.run import Job
from zoneplan.sources import Upload, files_of


@dataclass(frozen=True)
class Bounds:
    """How much is kept."""

    things: int = 500
    size: int = 2_000_000_000  # bytes
    things_each: int = 20  # of one person
    size_each: int = 500_000_000
    hours: float = 72.0  # since it was last put here


@dataclass(frozen=True)
class _Entry:
    desk: Desk
    who: str
    size: int
    at_s: float


class Shelf:
    """Desks that a reload may ask for. Threads may share it."""

    def __init__(self, bounds: Bounds, now_s: Callable[[], float] = time.monotonic) -> None:
        self.bounds, self._now_s = bounds, now_s
        self._entries: dict[str, _Entry] = {}  # the longest there first
        self._lock = Lock()

    def keep(self, key: str, desk: Desk, who: str, size: int) -> bool:
        """Keep a desk, in place of what the key stood for; tell whether there is room.

        It counts for the share of `who`, by the memory that it takes. [bytes]
        """
        with self._lock:
            self._end_old()
            self._entries.pop(key, None)
            own = [name for name, entry in self._entries.items() if entry.who == who]
            while own and not self._fits(who, size):
                del self._entries[own.pop(0)]
            if not self._fits(who, size):
                return False
            self._entries[key] = _Entry(desk, who, size, self._now_s())
            return True

    def find(self, key: str) -> Desk | None:
        """Find what a key stands for; None where it ended or was never there."""
        with self._lock:
            self._end_old()
            entry = self._entries.get(key)
            return entry.desk if entry else None

    def withdraw(self, keys: Iterable[str], who: str) -> None:
        """Let one's own keys stand for nothing."""
        with self._lock:
            for key in keys:
                if key in self._entries and self._entries[key].who == who:
                    del self._entries[key]

    def _fits(self, who: str, size: int) -> bool:
        sizes = [value.size for value in self._entries.values()]
        own = [value.size for value in self._entries.values() if value.who == who]
        return (
            len(sizes) < self.bounds.things
            and sum(sizes) + size <= self.bounds.size
            and len(own) < self.bounds.things_each
            and sum(own) + size <= self.bounds.size_each
        )

    def _end_old(self) -> None:
        oldest_s = self._now_s() - 3600 * self.bounds.hours
        for key in [name for name, entry in self._entries.items() if entry.at_s < oldest_s]:
            del self._entries[key]


_HERE = Path(__file__).parent
LINK = "work"  # in the page's address
BOUNDS = Bounds()
MOST_HISTORY = 300_000_000  # bytes that the steps to be undone may hold
_MOST_LINKS = 20  # that one session's work had and are remembered, to be withdrawn
_A_HOME = 64  # bits of an address that one home or office has
_ABOUT = (
    "The address of this page is a link to your work on this server: whoever has it opens a copy. "
    f"It ends by itself {BOUNDS.hours / 24:.0f} days after you last worked here."
)
WITHDRAWN = (
    "The link is withdrawn: it opens nothing now, and this page has a new one. Who opened the old "
    "one before keeps what they opened."
)
NO_ROOM = (
    "This server has no room to keep your work for a reload. Take it with you: “Save the plan”, "
    "under “Sheets and files”."
)


def keep() -> None:
    """Keep this session's work under its link, so that a reload finds it.

    Call it at every run. Nothing is kept of a visitor who only looks.
    """
    work = desk()
    while work.past and weight(work) > MOST_HISTORY:
        del work.past[0]
    work.link = _put_on_shelf(work) if _is_own(work) else None
    if work.link is None:
        st.query_params.pop(LINK, None)
    elif (there := st.query_params.get(LINK)) != work.link and (there or not _goes_on_back()):
        st.query_params[LINK] = work.link


def carried() -> dict[str, str]:
    """What a turn to another page takes along in the address: there a reload finds the work too."""
    work = desk()
    return {LINK: work.link} if work.link else {}


def page_link(page: str, label: str, icon: str) -> None:
    """Draw a link to another page by the name of its file, which takes the work along."""
    st.page_link(
        _HERE / f"{page}.py", label=label, icon=f":material/{icon}:", query_params=carried()
    )


def turn_to(page: str) -> None:
    """Turn to another page, and take the work along."""
    st.switch_page(_HERE / f"{page}.py", query_params=carried())


def _goes_on_back() -> bool:
    """Whether the browser's own arrows were pressed twice: a link put there would trap them."""
    running = get_script_run_ctx()
    back = running is not None and running.is_history_navigation
    before, st.session_state["went_back"] = st.session_state.get("went_back", False), back
    return back and before


def find_again() -> None:
    """At a session's first run, lay out what its link stands for."""
    if "desk" in st.session_state:
        return
    link = st.query_params.get(LINK, "")
    copy = _shelf().find(link)
    if copy is None:
        return
    # A desk of its own: whoever opens the link too does not work on the same.
    links = (*copy.links, link)[-_MOST_LINKS:]
    st.session_state["desk"] = _copy(copy, seen={**copy.seen}, link=None, links=links)
    st.session_state.update(copy.seen)
    if job := copy.draft or copy.now:
        put(job)
        desk().ground = copy.ground  # where another outline came and nobody said yet what it is
    elif copy.drawn or copy.rules or copy.edits or copy.beside:  # more is still to be given
        st.session_state["field"] = OWN_FIELD


def link_block() -> None:
    """Say what the page's address opens, and offer to withdraw it."""
    if desk().link is None:
        return
    st.html(f"<h2 class='zp-sheets'>The link to this work</h2><p class='zp-sheets'>{_ABOUT}</p>")
    st.button("Withdraw the link", key="withdraw", on_click=withdraw, icon=":material/link_off:")


def withdraw() -> None:
    """Let every link to this work stand for nothing; it has another at the next run."""
    work = desk()
    _shelf().withdraw([*work.links, *([work.link] if work.link else [])], _who())
    work.link, work.links, work.message = None, (), WITHDRAWN


def weight(desk: Desk) -> int:
    """How much memory the files and drawings of a desk take; what is there twice counts once."""
    files = {id(file.content): len(file.content) for file in _files(desk)}
    drawn_bytes = sum(len(one.shape) for job in _jobs(desk) for one in job.request.drawn)
    begun_bytes = sum(len(filling.base) for filling in desk.fillings.values())
    drawn_now_bytes = sum(len(one.shape) for one in desk.drawn)
    return sum(files.values()) + drawn_bytes + drawn_now_bytes + begun_bytes


def _put_on_shelf(desk: Desk) -> str | None:
    """Put a copy on the shelf; its link, or None where there is no room."""
    link = desk.link or secrets.token_urlsafe(16)
    if _shelf().keep(link, _copy(desk, link=link, opened=None), _who(), weight(desk)):
        return link
    if not desk.told_no_room:
        desk.told_no_room, desk.message = True, NO_ROOM
    return None


def _copy(desk: Desk, **others: Any) -> Desk:
    """A desk that what is done at the first does not change."""
    past, future, beside = [*desk.past], [*desk.future], {**desk.beside}
    return replace(desk, past=past, future=future, beside=beside, **others)


@st.cache_resource(show_spinner=False)
def _shelf() -> Shelf:
    """The desks of this server, by their links."""
    return Shelf(BOUNDS)


def _is_own(desk: Desk) -> bool:
    """Whether a person has done anything here."""
    changed = desk.now is not None and (not demo_of(desk.now.sources) or desk.past or desk.future)
    sent = desk.draft is not None and any(_sent(desk.draft))
    by_hand = desk.drawn or desk.rules or desk.edits or desk.beside
    touched = any(filling.touched for filling in desk.fillings.values())
    return bool(changed or sent or by_hand or desk.planters or touched)


def _jobs(desk: Desk) -> Iterator[Job]:
    queued = desk.queue.left.values() if desk.queue else ()
    yield from (*desk.past, *desk.future, *desk.beside.values(), *queued)
    yield from (job for job in (desk.now, desk.draft) if job)


def _files(desk: Desk) -> Iterator[Upload]:
    for sent in desk.files.values():
        yield from sent
    yield from (*desk.rules, *desk.planters)
    for job in _jobs(desk):
        yield from _sent(job)


def _sent(job: Job) -> Iterator[Upload]:
    return (file for _, file in files_of(job.sources) if isinstance(file, Upload))


def _who() -> str:
    """Whose share of the shelf this is: a machine's, or a home's.

    Behind a server that passes requests on, everybody may be one.
    """
    name = st.context.ip_address
    if name is None:
        return "this machine"
    try:
        address = ip_address(name)
    except ValueError:
        return name
    if isinstance(address, IPv6Address):
        return str(ip_network((address, _A_HOME), strict=False))
    return name
