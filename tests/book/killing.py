"""What kills the worker that plans one field, every time."""

import os
import signal

from zoneplan.book.plans import made as honest

VICTIM = "Field 07"


def made(plan, request):
    """Make a plan ready, unless it is the one field's."""
    if plan.field.name == VICTIM:
        os.kill(os.getpid(), signal.SIGKILL)
    return honest(plan, request)
