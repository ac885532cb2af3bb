"""Landowners' answers: small files that come back by mail, read as a stranger's, and laid to the
plans that they name.

An answer holds for the numbers that its page showed. One to other numbers is told, not applied.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from zoneplan import forms
from zoneplan.book.database import Book, now
from zoneplan.book.fields import BookField, State, listing
from zoneplan.book.history import record
from zoneplan.book.inputs import season_of
from zoneplan.book.plans import put_state
from zoneplan.book.tables import history, plans
from zoneplan.errors import BookError, in_short, listed, quoted
from zoneplan.export.schema import UnknownFormError, brought_up, strict_json
from zoneplan.forms import Key, Place, Reader, need
from zoneplan.plain_file import read_plain

SCHEMA = "zoneplan-reply/1"
MOST_MB = 0.1  # the page takes 2,000 letters for each of its two notes
_MOST_NAME, _MOST_NOTE = 1000, 2000  # letters; the page asks for fewer in a name
_ASKS_FOR_A_LOOK = (State.REVIEWED, State.AGREED)


class Answer(StrEnum):
    """What a landowner says to a plan."""

    AGREE = "agree"
    CALL = "call"  # before anything is planted by it
    NOTE = "note"


@dataclass(frozen=True)
class Reply:
    """One landowner's answer."""

    grower: str
    farm: str
    field: str
    season: str
    revision: int
    plan: str  # the digest of its numbers
    answer: Answer
    by: str
    note: str = ""
    zones: tuple[tuple[int, str], ...] = ()  # a zone's number, and what is said of it

    @property
    def words(self) -> str:
        """All that is said besides the answer, in one line."""
        notes = [self.note, *(f"Zone {zone}: {note}" for zone, note in self.zones)]
        return "; ".join(" ".join(note.split()) for note in notes if note.strip())


@dataclass(frozen=True)
class Taken:
    """What became of one file."""

    name: str
    reply: Reply | None  # None where it is no answer
    applied: bool
    words: str  # what was done, or why nothing was


def take_replies(book: Book, files: Iterable[Path], *, who: str) -> list[Taken]:
    """Read answers and lay each to the plan that it names.

    *agree* makes a plan agreed. *call* and *note* put a reviewed or agreed plan back to planned, so
    that somebody looks again; one that was sent stays so, with the note. A file is taken once.

    Parameters
    ----------
    files : iterable of Path
        As they came. What is no answer is told and passed over.
    who : str
        Who reads them in.

    Raises
    ------
    BookError
        When the book cannot be written.
    """
    taken = []
    for file in files:
        try:
            content = read_plain(file, MOST_MB, BookError)
            reply = read_reply(content, file.name)
        except BookError as error:
            taken.append(Taken(file.name, None, False, str(error)))
            continue
        taken.append(_take(book, reply, content, file.name, who))
    return taken


def take_reply(book: Book, content: bytes, name: str, *, who: str) -> Taken:
    """Take one answer, whose file a person sent.

    Raises
    ------
    BookError
        When it is none, or the book cannot be written.
    """
    return _take(book, read_reply(content, name), content, name, who)


def _take(book: Book, reply: Reply, content: bytes, name: str, who: str) -> Taken:
    digest = sha256(content).hexdigest()
    with book.write() as connection:
        season_id, season = season_of(connection)
        by_key = {one.key: one for one in listing(connection)}
        field = by_key.get((reply.grower, reply.farm, reply.field))
        if field is None or reply.season != season:
            words = f"The book has no field {_called(reply)}, season {quoted(reply.season)}."
            return Taken(name, reply, False, words)
        if refusal := _refusal(connection, field, reply, digest):
            return Taken(name, reply, False, refusal)
        changes = _changes(field, reply)
        if changes:
            put_state(connection, field.id, season_id, who=reply.by, at=now(), **changes)
        record(
            connection,
            "answered",
            who=who,
            field_id=field.id,
            season_id=season_id,
            revision=reply.revision,
            answer=reply.answer,
            by=reply.by,
            note=reply.note,
            zones=[list(one) for one in reply.zones],
            before=field.stood,
            reply=digest,
        )
    return Taken(name, reply, True, _done(reply, field, changes))


def read_reply(content: bytes, name: str) -> Reply:
    """Read one answer.

    Raises
    ------
    BookError
        When it is none, with every fault.
    """
    if len(content) > MOST_MB * 1e6:
        raise BookError(f"{quoted(name)} is too big for an answer: {len(content):,} bytes.")
    try:
        document = brought_up(strict_json(content), SCHEMA, ())
    except (UnknownFormError, ValueError) as error:
        raise BookError(
            f"{quoted(name)} is no answer to a plan: {quoted(error, 200)}.\n"
            "Give the file that the landowner’s page saved."
        ) from error
    faults: list[str] = []
    reply: Reply | None = _REPLY(document, Place(faults))
    if reply is None or faults:
        raise BookError(
            listed(quoted(name), faults) + "\nNothing of it was taken. Ask for the answer again."
        )
    return reply


def _refusal(connection: sa.Connection, field: BookField, reply: Reply, digest: str) -> str:
    """Say why an answer is not applied; empty where it is."""
    stands = sa.select(plans.c.numbers_sha256).where(plans.c.id == field.plan_id)
    if connection.scalar(stands) != reply.plan:
        now_there = f"plan {field.revision} holds now" if field.revision else "there is no plan now"
        return (
            f"{_called(reply)}: {_who(reply)} answered to plan {reply.revision} "
            f"({reply.plan[:8]}), and {now_there}. What was said of other numbers does not hold "
            "for these: send the page of today."
        )
    before = sa.select(history.c.what).where(
        (history.c.field_id == field.id) & (history.c.did == "answered")
    )
    if any(digest in what for what in connection.scalars(before)):
        return f"{_called(reply)}: this answer was taken before."
    if field.state is State.OUT_OF_DATE:
        return (
            f"{_called(reply)}: what the plan is made from has changed since. Plan it again; where "
            "the numbers stay, take this answer then."
        )
    return ""


def _changes(field: BookField, reply: Reply) -> Mapping[str, Any]:
    """What an answer changes in the state of a field."""
    if reply.answer is Answer.AGREE:
        agreed = {"state": State.AGREED, "note": reply.words or None, "voided": None}
        return {} if field.stood is State.SENT else agreed
    back = {"state": State.PLANNED} if field.stood in _ASKS_FOR_A_LOOK else {}
    answered = {
        "answer": reply.answer,
        "state": field.stood,
        "who": reply.by,
        "at": now(),
        "revision": reply.revision,
        "moved": [],
    }
    return {**back, "note": _note(reply), "voided": json.dumps(answered, ensure_ascii=False)}


def _note(reply: Reply) -> str:
    asks = "Please call first. " if reply.answer is Answer.CALL else ""
    return f"{asks}{reply.words}".strip()


def _done(reply: Reply, field: BookField, changes: Mapping[str, Any]) -> str:
    what = {
        Answer.AGREE: "agrees",
        Answer.CALL: "asks to be called first",
        Answer.NOTE: "has a note",
    }[reply.answer]
    state = changes.get("state", field.stood)
    words = f" “{reply.words}”" if reply.words else ""
    then = (
        f"The plan is {state}."
        if reply.answer is Answer.AGREE
        else f"It needs a look; its state is {state}."
    )
    return f"{_called(reply)}: {_who(reply)} {what}.{words} {then}"


def _called(reply: Reply) -> str:
    return quoted(" / ".join(filter(None, (reply.grower, reply.farm, reply.field))))


def _who(reply: Reply) -> str:
    return quoted(reply.by) or "the landowner"


# ---- its form ------------------------------------------------------------------------------------


def _words(most: int, *, needed: bool = False) -> Reader:
    def read(value: Any, place: Place) -> str | None:
        text: str | None = forms.any_text(value, place)
        if text is not None and len(text) > most:
            place.fault(f"{len(text):,} letters are there, and {most:,} may be.")
        elif needed and text is not None and not text.strip():
            place.fault("it is empty.")
        else:
            return text
        return None

    return read


def _digest(value: Any, place: Place) -> str | None:
    if isinstance(value, str) and len(value) == 64 and not set(value) - set("0123456789abcdef"):
        return value
    place.fault(f"{in_short(value)} is no digest of a plan.")
    return None


_MISSING = "It was cut short, or somebody changed it."
_NAME, _NOTE = _words(_MOST_NAME), _words(_MOST_NOTE)
_ZONE = forms.table(
    {
        "zone": need(forms.whole(1, 9999), _MISSING),
        "note": need(_words(_MOST_NOTE, needed=True), _MISSING),
    },
    lambda zone, note: (zone, note),
)


def _reply(schema: str, answer: str, **parts: Any) -> Reply:
    del schema  # which was looked at before
    return Reply(answer=Answer(answer), **parts)


_REPLY = forms.table(
    {
        "schema": need(forms.one_of("form of ours", (SCHEMA,)), _MISSING),
        "grower": need(_NAME, _MISSING),
        "farm": need(_NAME, _MISSING),
        "field": need(_NAME, _MISSING),
        "season": need(_NAME, _MISSING),
        "revision": need(forms.whole(1), _MISSING),
        "plan": need(_digest, _MISSING),
        "answer": need(forms.one_of("answer", tuple(Answer)), _MISSING),
        "by": need(_words(_MOST_NAME, needed=True), _MISSING),
        "note": Key(_NOTE, usual=""),
        "zones": Key(forms.many(_ZONE), usual=()),
    },
    _reply,
)
