"""Organic ground: peat and muck, whatever the source that tells of it."""

import re

ORGANIC_PCT = 20.0  # of organic matter by weight: from about here it is peat or muck; judged
_WORDS = re.compile(r"\b(peat|muck|organic|histosols?|humus)\b")
_CODES = {"muck", "peat", "mpt", "mpm", "spm", "hpm"}  # of a survey, from memory


def is_organic(organic_pct: float | None) -> bool:
    """Whether ground with so much organic matter is peat or muck, and no mineral soil.

    >>> is_organic(22), is_organic(19.9), is_organic(None)
    (True, False, False)
    """
    return organic_pct is not None and organic_pct >= ORGANIC_PCT


def names_organic(text: str) -> bool:
    """Whether a word that is no texture class means peat or muck.

    >>> names_organic("Sapric muck"), names_organic("mucky peat"), names_organic("gravel")
    (True, True, False)
    """
    plain = text.strip().lower()
    return plain in _CODES or _WORDS.search(plain) is not None
