"""A disk that takes no more, for a test: this process may write no file longer than so much."""

from contextlib import contextmanager

import pytest


@contextmanager
def full_disk(most_bytes):
    """Let every file end at so many bytes; a system that cannot do so skips the test."""
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
