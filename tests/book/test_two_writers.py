"""Two people write into one book at once, and one is killed: nothing that was said is lost."""

import multiprocessing as mp
import os
import signal
import time
from contextlib import suppress

import pytest

from tests.book.county import book_of, square
from zoneplan.book.fields import State, fields
from zoneplan.book.history import history
from zoneplan.book.opening import open_book
from zoneplan.book.planning import plan_all
from zoneplan.book.plans import record_state
from zoneplan.errors import BookError

pytestmark = pytest.mark.slow  # they start processes
SPAWN = mp.get_context("spawn")
ROUNDS = 15
FOUR = tuple(("Ann", "Home", f"Field {place}", square(place)) for place in range(4))


def say(address, who, rounds, acknowledged):
    """Say something of every field, again and again, and tell what the book took."""
    with open_book(address) as book:
        for number in range(rounds):
            for name in (f"Field {place}" for place in range(4)):
                note = f"{who} {number} {name}"
                state = (State.REVIEWED, State.AGREED)[number % 2]
                record_state(book, name, state, who=who, note=note)
                acknowledged.send(note)


def look_and_say(address, who, rounds, acknowledged):
    """The same, but of what was looked at: a change meanwhile is told, and it is looked again."""
    with open_book(address) as book:
        for number in range(rounds):
            for place in range(4):
                refused = 0
                while True:
                    seen = fields(book)[place]
                    note = f"{who} {number} {seen.name}"
                    try:
                        record_state(book, seen, State.REVIEWED, who=who, note=note)
                    except BookError:
                        refused += 1
                    else:
                        break
                acknowledged.send((note, refused))


@pytest.fixture
def planned(address, tmp_path):
    """A book of four fields with their plans."""
    with book_of(address, tmp_path, *FOUR) as book:
        plan_all(book, who="Ann", workers=0)
    return address


def both(address, work, rounds=ROUNDS):
    """Let two write at once; give what each was told is in the book."""
    ends = [SPAWN.Pipe(duplex=False) for _ in range(2)]
    writers = [
        SPAWN.Process(target=work, args=(address, who, rounds, sender))
        for who, (_, sender) in zip(("Bob", "Cy"), ends, strict=True)
    ]
    for writer in writers:
        writer.start()
    for _, sender in ends:
        sender.close()
    notes = [_all_of(receiver) for receiver, _ in ends]
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0, 0]
    return notes


def _all_of(receiver):
    notes = []
    with suppress(EOFError):
        while True:
            notes.append(receiver.recv())
    return notes


def test_two_who_write_at_once_lose_nothing(planned):
    notes = [note for ones in both(planned, say) for note in ones]
    assert len(notes) == 2 * 4 * ROUNDS
    with open_book(planned) as book:
        in_book = [
            event.what["note"] for event in history(book) if event.did in ("reviewed", "agreed")
        ]
        assert sorted(in_book) == sorted(notes)
        last = {field.name: field.note for field in fields(book)}
        for name, note in last.items():
            assert note == [one for one in in_book if one.endswith(name)][-1]


def test_who_looked_first_never_writes_over_what_came_between(planned):
    looks = [one for ones in both(planned, look_and_say, 5) for one in ones]
    with open_book(planned) as book:
        events = [event.what["note"] for event in history(book) if event.did == "reviewed"]
    assert sorted(events) == sorted(note for note, _ in looks)


def test_a_writer_that_is_killed_leaves_whole_what_it_was_told_is_in_the_book(planned):
    """Twelve times: a writer is killed at some moment; what it acknowledged is there, no half."""
    acknowledged = 0
    for turn in range(12):
        receiver, sender = SPAWN.Pipe(duplex=False)
        who = f"Writer {turn}"
        writer = SPAWN.Process(target=say, args=(planned, who, 1000, sender))
        writer.start()
        sender.close()
        notes = [receiver.recv()]
        time.sleep(0.02 * turn)
        os.kill(writer.pid, signal.SIGKILL)
        notes += _all_of(receiver)
        writer.join()
        with open_book(planned) as book:
            events = [event for event in history(book) if event.who == who]
            in_book = [event.what["note"] for event in events]
            assert in_book[: len(notes)] == notes
            assert len(in_book) <= len(notes) + 1  # one may be in the book and not told yet
            last = in_book[-1]
            (field,) = (one for one in fields(book) if last.endswith(one.name))
            assert field.note == last
        acknowledged += len(notes)
    assert acknowledged >= 12
