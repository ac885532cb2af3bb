"""Landowners' answers: what holds, what does not, and what was made to break us."""

import json
import sqlite3
from dataclasses import asdict, replace

import pytest

from tests.book.filled import filled, keep
from tests.book.handed import at, field_plan, given
from tests.export.plans import MACHINE
from zoneplan.book import database
from zoneplan.book.fields import State, find_field
from zoneplan.book.hand_out import By, due, hand_out_due
from zoneplan.book.history import history
from zoneplan.book.look import needs_a_look
from zoneplan.book.plans import record_state
from zoneplan.book.replies import SCHEMA, read_reply, take_replies
from zoneplan.errors import BookError

GIVEN = given(
    "Wilhelmina Oddsock",
    field_plan("Bogwater Farm", "Duckpond piece", -87.10, 42.50),
    field_plan("Bogwater Farm", "Thistle hill", -87.11, 42.52),
)
OTHER = given("Zephyrine 🌽🚜", field_plan("🌽", "Duckpond piece", -86.7, 42.2))
ANSWER = {
    "schema": SCHEMA,
    "grower": "Wilhelmina Oddsock",
    "farm": "Bogwater Farm",
    "field": "Duckpond piece",
    "season": "2027",
    "revision": 1,
    "plan": "0a" * 32,
    "answer": "agree",
    "by": "Wilhelmina",
    "note": "",
    "zones": [],
}


@pytest.fixture
def book(address):
    with filled(address, GIVEN, OTHER) as one:
        yield one


@pytest.fixture
def digest(book, tmp_path):
    """The digest that the pages of the hand-out carry."""
    (one, _) = due(book)
    handed = hand_out_due(book, one, tmp_path / "out", By("a", "Co-op"))
    (page,) = handed.folder.glob("landowner/*Duckpond*.html")
    text = page.read_text("utf-8").partition('data-head="')[2].partition('"')[0]
    return json.loads(text.replace("&#34;", '"'))["plan"]


@pytest.fixture
def taken(book, digest, tmp_path):
    """Take one answer, with some of its parts changed."""

    def take(name="reply.json", **parts):
        file = tmp_path / name
        file.write_text(json.dumps({**ANSWER, "plan": digest, **parts}), "utf-8")
        (one,) = take_replies(book, [file], who="agronomist")
        return one

    return take


def state(book, field="Wilhelmina Oddsock / Duckpond piece"):
    return find_field(book, field).state


def test_an_agreement_is_laid_to_its_plan_and_no_other(book, taken):
    one = taken(note="Looks good.")
    assert one.applied
    assert "Wilhelmina agrees. “Looks good.” The plan is agreed." in one.words
    field = find_field(book, "Wilhelmina Oddsock / Duckpond piece")
    assert (field.state, field.who, field.note) == (State.AGREED, "Wilhelmina", "Looks good.")
    assert state(book, "Thistle hill") is State.PLANNED
    assert state(book, "Zephyrine 🌽🚜 / Duckpond piece") is State.PLANNED
    last = history(book, field.id)[-1]
    assert (last.did, last.who, last.what["by"]) == ("answered", "agronomist", "Wilhelmina")


@pytest.mark.parametrize("answer", ["call", "note"])
def test_who_objects_has_the_plan_looked_at_again(book, taken, answer):
    record_state(book, "Wilhelmina Oddsock / Duckpond piece", State.AGREED, who="a")
    zones = [{"zone": 3, "note": "There is a tile line."}]
    one = taken(answer=answer, note="Else fine", zones=zones)
    assert one.applied
    assert one.words.endswith("It needs a look; its state is planned.")
    field = find_field(book, "Wilhelmina Oddsock / Duckpond piece")
    assert field.state is State.PLANNED
    assert needs_a_look(field)[0].why == "landowner's answer"
    asks = "Please call first. " if answer == "call" else ""
    assert field.note == f"{asks}Else fine; Zone 3: There is a tile line."


def test_what_was_sent_stays_sent_and_the_note_is_there(book, taken):
    record_state(book, "Wilhelmina Oddsock / Duckpond piece", State.SENT, who="a")
    taken(answer="call")
    field = find_field(book, "Wilhelmina Oddsock / Duckpond piece")
    assert (field.state, field.note) == (State.SENT, "Please call first.")
    assert needs_a_look(field)[0].words == "Wilhelmina: please call first"
    record_state(book, field, State.REVIEWED, who="a", note="Called.")
    again = find_field(book, field.path)
    assert "landowner's answer" not in [look.why for look in needs_a_look(again)]


def test_an_answer_to_other_numbers_is_told_and_not_applied(book, taken):
    one = taken(plan="0b" * 32)
    assert not one.applied
    assert "plan 1 (0b0b0b0b), and plan 1 holds now" in one.words
    assert state(book) is State.PLANNED
    assert [event.did for event in history(book)][-1] != "answered"


def test_an_answer_to_a_plan_before_is_not_applied(book, taken):
    field = GIVEN.fields[0]
    heavier = replace(
        at(-87.10, 42.50, field.field), machine=replace(MACHINE, name="another"), best={}
    )
    keep(book, GIVEN.grower, field, heavier)
    one = taken()
    assert not one.applied
    assert "plan 2 holds now" in one.words
    assert state(book) is State.PLANNED


def test_an_answer_is_taken_once(book, taken):
    assert taken().applied
    record_state(book, "Wilhelmina Oddsock / Duckpond piece", State.SENT, who="a")
    again = taken("copy.json")
    assert not again.applied
    assert "taken before" in again.words
    assert state(book) is State.SENT


@pytest.mark.parametrize(
    "parts",
    [
        {"grower": "Zephyrine"},
        {"farm": ""},
        {"field": "Nowhere"},
        {"season": "2026"},
        {"grower": "Wilhelmina Oddsock' OR 1=1 --"},
    ],
)
def test_an_answer_to_no_field_of_the_book_is_told(book, taken, parts):
    one = taken(**parts)
    assert not one.applied
    assert "has no field" in one.words
    assert state(book) is State.PLANNED


HOSTILE = {
    "nothing": b"",
    "no json": b"{agree}",
    "a list": b"[]",
    "another form": json.dumps({**ANSWER, "schema": "zoneplan-plan/2"}).encode(),
    "a newer form": json.dumps({**ANSWER, "schema": "zoneplan-reply/2"}).encode(),
    "twice": json.dumps(ANSWER).replace('"by"', '"by": "x", "by"').encode(),
    "too deep": b'{"schema": ' + b"[" * 50_000,
    "not utf-8": json.dumps(ANSWER).encode().replace(b"Wilhelmina", b"\xff"),
    "no name": json.dumps({**ANSWER, "by": " "}).encode(),
    "no answer": json.dumps({**ANSWER, "answer": "agreed"}).encode(),
    "a number for a name": json.dumps({**ANSWER, "grower": 5}).encode(),
    "a digest that is none": json.dumps({**ANSWER, "plan": "x" * 64}).encode(),
    "a long note": json.dumps({**ANSWER, "note": "x" * 2001}).encode(),
    "no such zone": json.dumps({**ANSWER, "zones": [{"zone": -1, "note": "x"}]}).encode(),
    "a part of its own": json.dumps({**ANSWER, "state": "sent"}).encode(),
    "many": json.dumps({**ANSWER, "zones": [{"zone": 1, "note": "x"}] * 9000}).encode(),
    "infinity": json.dumps({**ANSWER, "revision": float("inf")}).encode(),
}


@pytest.mark.parametrize("content", HOSTILE.values(), ids=HOSTILE)
def test_what_is_no_answer_is_refused_with_its_reason(content):
    with pytest.raises(BookError) as refused:
        read_reply(content, "reply\x1b[2J.json")
    assert "\x1b" not in str(refused.value)
    assert len(str(refused.value)) < 3000


def test_one_that_is_no_answer_does_not_stop_the_others(book, tmp_path, digest):
    bad, good = tmp_path / "bad.json", tmp_path / "good.json"
    bad.write_bytes(b"{")
    good.write_text(json.dumps({**ANSWER, "plan": digest}))
    replies = take_replies(book, [bad, tmp_path / "gone.json", tmp_path, good], who="a")
    assert [reply.applied for reply in replies] == [False, False, False, True]


def test_a_book_that_cannot_be_written_stops_the_taking_of_answers(book, taken, monkeypatch):
    if book.path is None:
        return  # what locks a file is another program's
    monkeypatch.setattr(database, "_WAIT_S", 0.1)
    book.close()
    other = sqlite3.connect(book.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(BookError, match="is locked"):
        taken()
    other.close()


def test_an_answer_is_read_as_it_was_written():
    document = {**ANSWER, "zones": [{"zone": 2, "note": "x"}]}
    reply = read_reply(json.dumps(document).encode(), "r")
    zones = [{"zone": zone, "note": note} for zone, note in reply.zones]
    assert {"schema": SCHEMA, **asdict(reply), "zones": zones} == document


def test_every_fault_is_told_at_once():
    with pytest.raises(BookError, match="3 faults"):
        read_reply(json.dumps({**ANSWER, "by": "", "answer": "x", "revision": 0}).encode(), "r")
