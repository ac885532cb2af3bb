"""Which release this is, looked up once: what it plans is marked with it."""

from functools import cache
from importlib.metadata import version


@cache
def release() -> str:
    """Give the number of this zoneplan, as it was installed: "1.2.0"."""
    return version("zoneplan")
