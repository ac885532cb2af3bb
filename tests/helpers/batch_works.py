"""What a worker may be given to do in place of planning: functions that can be sent to it."""

import os
import signal
import time

from zoneplan.batch import Outcome


def answer(task):
    return Outcome(task.key, document=task.key.encode(), seconds=float(os.getpid()))


def unsendable(task):
    return Outcome(task.key, finished=lambda: None)


def die_of_some(task):
    """As `answer`, but for fields that kill their worker, always or the first time."""
    kind, _, path = task.key.partition(":")
    if kind == "always" or (kind == "once" and _first(path)):
        os.kill(os.getpid(), signal.SIGKILL)
    if kind == "hangs":
        time.sleep(600)
    return answer(task)


def _first(path):
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL))
    except FileExistsError:
        return False
    return True
