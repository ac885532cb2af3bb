"""Which form a file of ours is in: today's, an earlier one that is read too, or one we do not know.

Every file of ours names its form, as in "zoneplan-plan/1". The number rises when an older zoneplan
would read the file wrongly; a key that it may leave out is added without. For each earlier form a
lift brings what the file holds up to the next.
"""

import json
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from zoneplan import release
from zoneplan.errors import quoted

Document = dict[str, Any]
Lift = Callable[[Document], Document]
_MOST_DIGITS = 4


class UnknownFormError(ValueError):
    """A file is in a form that this zoneplan does not know; the first line tells all."""


def strict_json(content: bytes) -> Document:
    """Read a table from JSON as we write it: each name once, every number finite.

    Raises
    ------
    ValueError
        Saying what is wrong, after "it".
    """
    try:
        document = json.loads(
            content, object_pairs_hook=_once, parse_constant=_finite, parse_float=_finite
        )
    except RecursionError as error:
        raise ValueError("it goes too deep") from error
    if not isinstance(document, dict):
        raise ValueError("it holds no parts that are named")
    return document


def number_of(document: Mapping[str, Any], newest: str) -> int:
    """Tell which form a file is in.

    Parameters
    ----------
    document : mapping
        What the file holds.
    newest : str
        The newest form that is known, as in "zoneplan-plan/2".

    Raises
    ------
    UnknownFormError
        When it is none of these.

    Examples
    --------
    >>> number_of({"schema": "zoneplan-plan/1"}, "zoneplan-plan/2")
    1
    """
    name, _, last = newest.partition("/")
    form = document.get("schema")
    kind, _, digits = form.partition("/") if isinstance(form, str) else ("", "", "")
    if kind != name or not (digits.isascii() and digits.isdecimal()) or digits[0] == "0":
        raise UnknownFormError(
            f"it does not begin as ours do, with {newest}: its schema is {quoted(form)}"
        )
    if len(digits) > _MOST_DIGITS or int(digits) > int(last):
        by = (
            f", written by zoneplan {quoted(document['zoneplan'], 20)}"
            if "zoneplan" in document
            else ""
        )
        raise UnknownFormError(
            f"it is in the form {quoted(form)}{by}; this zoneplan, {release()}, "
            f"knows forms up to {newest}. Install the newer zoneplan and open it there"
        )
    return int(digits)


def brought_up(document: Document, newest: str, lifts: Sequence[Lift]) -> Document:
    """Bring what a file holds up to the newest form, one lift for each form that came after its.

    Raises
    ------
    UnknownFormError
        When its form is none that we know, or it is not whole.
    """
    number = number_of(document, newest)
    try:
        for lift in lifts[number - 1 :]:
            document = lift(document)
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise UnknownFormError(
            f"it is damaged: its form, {quoted(document['schema'])}, has more than is there "
            f"({type(error).__name__}: {quoted(error)})"
        ) from error
    return {**document, "schema": newest}


def _once(pairs: list[tuple[str, Any]]) -> Document:
    document = dict(pairs)
    if len(document) < len(pairs):
        raise ValueError("a name stands twice in one place")
    return document


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text[:20]} is no number")
    return number
