"""What needs a look, and why: the worst first."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from zoneplan.book.fields import BookField
from zoneplan.units import percent

LEAST_SHARE = 0.05  # of a field's acres: less is a corner, and no reason to open it; judged
MOST_WAIT = 1 / 3  # of the acres
LEAST_CHANCE = 0.5  # that the margin left lies inside its window
_ANSWERS = {"call": "please call first", "note": "has a note on it"}


@dataclass(frozen=True)
class Look:
    """One reason to look at a field."""

    why: str  # one of a closed set, for lists and filters
    words: str  # with its amount
    weight: float  # the worst has the most


def needs_a_look(field: BookField) -> tuple[Look, ...]:
    """Say why a field needs a look, the worst first; nothing where it does not."""
    return tuple(sorted(_reasons(field), key=lambda look: -look.weight))


def by_need(fields: list[BookField]) -> list[BookField]:
    """Put fields in order of how much they need a look; those that need none come last."""
    return sorted(fields, key=_weights, reverse=True)


def in_common(fields: Iterable[BookField]) -> tuple[str, ...]:
    """Find what is the reason for every one of several fields, in the same words: told once."""
    words = [[look.words for look in needs_a_look(field)] for field in fields]
    if len(words) < 2:
        return ()
    return tuple(one for one in words[0] if all(one in others for others in words))


def _weights(field: BookField) -> tuple[float, ...]:
    return tuple(look.weight for look in needs_a_look(field))


def _reasons(field: BookField) -> Iterator[Look]:
    if field.fault:
        yield Look("could not be planned", field.fault.partition("\n")[0], 100)
    if field.voided and (answer := field.voided.get("answer")):
        yield Look("landowner's answer", f"{field.voided['who']}: {_ANSWERS[answer]}", 95)
    elif field.voided:
        what = f"{field.voided['state']} at revision {field.voided['revision']}"
        yield Look("changed since agreed", f"{what}, with other numbers since", 90)
    if not field.totals:
        return
    totals = field.totals
    planned = totals["moistures"][totals["planned"]]
    blank = max(planned["blank_share"], totals["uncovered_share"])
    if blank >= LEAST_SHARE:
        yield Look("no soil data", f"no numbers on {percent(blank)} of it", 70 + 10 * blank)
    yield from _waits(totals)
    for why, share, words in (
        ("target out of reach", planned["out_of_reach_share"], "target out of reach on"),
        ("too light or too heavy", planned["outside_share"], "too light or too heavy on"),
    ):
        if share >= LEAST_SHARE:
            yield Look(why, f"{words} {percent(share)} of it", 50 + 10 * share)
    chance = planned["right_chance"]  # of all its acres with a number
    if chance is not None and chance < LEAST_CHANCE:
        words = f"a chance of {percent(chance)} to be right, over its acres"
        yield Look("chance under a half", words, 50 - 20 * chance)
    if totals["generic"]:
        yield Look("generic planter", "its planter's weights are invented ones", 40)
    if totals["overrides"]:
        count = totals["overrides"]
        yield Look("overrides", f"{count} {'number' if count == 1 else 'numbers'} by hand", 20)


def _waits(totals: Any) -> Iterator[Look]:
    """The moisture at which most of it waits."""
    shares = {name: one["wait_share"] for name, one in totals["moistures"].items()}
    worst = max(shares, key=lambda name: shares[name])
    if shares[worst] > MOST_WAIT:
        words = f"waits on {percent(shares[worst])} of it when {worst}"
        yield Look("wait over a third", words, 60 + 10 * shares[worst])
