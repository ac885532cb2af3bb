"""The links of a chain in words: what each does to the number, and why, by kind and sign."""

from collections.abc import Sequence

from zoneplan.plan.model import OVERRIDE
from zoneplan.rules.rule import Reason
from zoneplan.say.quantities import UNKNOWN, figure, number, percent, plain
from zoneplan.units import N_PER_LBF

STEP_N = 5 * N_PER_LBF  # targets are whole steps of it


def link_amount(reason: Reason, system: str) -> str:
    """Tell what a link does to a load, with its factor and its share where it has one.

    >>> link = Reason("bounce-no-till", "swing", 155.7, "", "", "judged", factor=1.318)
    >>> link_amount(link, "us"), link_amount(link, "si")
    ('× 1.32, +35', '× 1.32, +156')
    """
    if reason.adds is None:
        return "wait"
    amount = number(reason.adds, "load", system)
    if reason.kind != "base" and reason.adds > 0 and amount != "0":
        amount = f"+{amount}"
    if reason.factor is not None:
        return f"× {plain(reason.factor, 2)}, {amount}"
    return amount


def link_words(reason: Reason, system: str) -> str:
    """Tell why a link is there, so that its words agree with the sign of its number.

    >>> link = Reason("rounding", "rounding", -4.4, "", "", "judged")
    >>> link_words(link, "us"), link_words(link, "si")
    ('Rounded down to a whole 5 lb.', 'Rounded down to a whole 22 N.')
    """
    adds = reason.adds or 0.0
    if reason.kind == "rounding":
        way = "down" if adds < 0 else "up"
        return f"Rounded {way} to a whole {figure(STEP_N, 'load', system)}."
    return f"{_lead(reason, adds)}{reason.why}"


def shown_links(reasons: Sequence[Reason], system: str) -> list[Reason]:
    """Leave out a rounding that reads as nothing."""
    return [
        reason
        for reason in reasons
        if reason.kind != "rounding" or number(reason.adds, "load", system) not in ("0", UNKNOWN)
    ]


def link_name(reason: Reason) -> str:
    """Name the rule that made a link, with the share of the soil that it speaks for."""
    return f"{percent(reason.share)} of {reason.rule}" if reason.share is not None else reason.rule


def _lead(reason: Reason, adds: float) -> str:
    if reason.share is not None:
        return f"Between texture classes, {percent(reason.share)} of it by this rule. "
    leads = {
        "swing": ("Swings less, so less is aimed for. ", "Swings more, so more is aimed for. "),
        "least": ("", "Lifted to the least that keeps the wheels down. "),
        "most": ("Held at the most that the soil bears. ", ""),
        "adjust": ("Takes away. ", "Adds. "),
        "cap": ("Held down. ", "Held up. "),
        OVERRIDE: ("A person’s number, which is less. ", "A person’s number, which is more. "),
    }
    return leads.get(reason.kind, ("", ""))[adds > 0]
