"""What kills the worker that plans one field, every time."""

import os
import signal

from zoneplan.book.packed_plan import packed as honest

VICTIM = "Field 007"


def packed(plan, request):
    """Make a plan ready, unless it is the one field's."""
    if plan.field.name == VICTIM:
        os.kill(os.getpid(), signal.SIGKILL)
    return honest(plan, request)
