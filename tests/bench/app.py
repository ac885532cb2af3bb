"""The app on a server of its own: a touch beside a run of the whole page, and ten people."""

import atexit
import tempfile
import threading
from contextlib import ExitStack
from pathlib import Path

from tests.bench.measure import Case
from tests.bench.row import Row
from tests.pages.line import Line
from tests.pages.visit import served

PEOPLE = 10


def _address():
    """Where the app is served, until this process ends."""
    stack = ExitStack()
    atexit.register(stack.close)
    home = stack.enter_context(tempfile.TemporaryDirectory())
    return stack.enter_context(served(Path(home, "book")))


def _opened(address):
    line = Line(address)
    line.run()
    line.run()
    return line


def touch(_size, _folder):
    """Another zone, moisture and fill, against the whole page three times."""
    line = _opened(_address())
    zones = line.element("zone").options
    turn = 0

    def touches():
        nonlocal turn
        turn += 1
        line.touch("zone", string_value=zones[turn % len(zones)])
        line.touch("shown_moisture", string_array_value=[("dry", "wet", "moist")[turn % 3]])
        line.touch("fill", double_array_value=[60.0 + turn % 40])

    def whole():
        for _ in range(3):
            line.run()

    return Case(touches, whole)


def ten(_size, _folder):
    """Ten people who each plan again at once, against one who does it ten times."""
    address = _address()
    lines = [_opened(address) for _ in range(PEOPLE + 1)]
    turn = 0

    def plan_again(line, turn, person):  # each at a speed far from the last: nothing is known yet
        speed = 3 + (7 * turn + 13 * person) % 61 / 10 + turn / 10_000
        line.touch("speed_mps", double_value=speed)

    def at_once():
        nonlocal turn
        turn += 1
        people = [
            threading.Thread(target=plan_again, args=(line, turn, person))
            for person, line in enumerate(lines[:PEOPLE])
        ]
        for one in people:
            one.start()
        for one in people:
            one.join()

    def one_by_one():
        nonlocal turn
        turn += 1
        for person in range(PEOPLE):
            plan_again(lines[PEOPLE], turn, person)

    return Case(at_once, one_by_one)


ROWS = (
    Row(
        "a touch in the app that changes no plan",
        "a run of the whole page",
        "306 kB, 130 ms",
        0.25,
        (7,),
        "zones",
        touch,
    ),
    Row(
        "ten people at once in the app",
        "one of them ten times",
        "0.39 s each, one after another",
        1.1,
        (PEOPLE,),
        "people",
        ten,
        most_times=5,
    ),
)
