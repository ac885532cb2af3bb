"""Load what a command needs, quickly."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def loading() -> Iterator[None]:
    """Import inside without looking for garbage, of which there is none yet.

    What is loaded then is left out when garbage is looked for later, and at the end: together
    that took a fifth of the time of a command.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()
