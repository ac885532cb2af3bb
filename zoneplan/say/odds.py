"""Chances as they are read out: of ten rounds, in tens, one in thirty; and loads as ranges."""

from zoneplan.plan.model import Plan, Setting, Wait
from zoneplan.rowunit.doubt import SHALLOW_M
from zoneplan.rowunit.odds import ROUNDS, of_ten_rounds, one_in
from zoneplan.say.quantities import span
from zoneplan.terms import SettingKind
from zoneplan.units import M_PER_IN

SHALLOW = {"us": f"{SHALLOW_M / M_PER_IN:.1f} in", "si": f"{100 * SHALLOW_M:.0f} cm"}
SELDOM = 1000  # one in more than this is not counted


def right_rounds(setting: Setting) -> int:
    """Count the rounds of ten in which the margin left is right, or is held."""
    return of_ten_rounds(setting.chances)[0]


def rounds_words(plan: Plan, setting: Setting) -> str:
    """Tell ten rounds: how many are right, too light and too heavy, and where in the hopper."""
    right, light, heavy = of_ten_rounds(setting.chances)
    if plan.setting_kind == SettingKind.MARGIN_TARGET:
        parts = [f"held {right}"]
        parts += [f"out of reach, too light {light}"] if light else []
        parts += [f"out of reach, too heavy {heavy}"] if heavy else []
    else:
        parts = [f"right {right}"]
        parts += [f"too light {light} (near refill)"] if light else []
        parts += [f"too heavy {heavy} (hopper full)"] if heavy else []
    return f"of {ROUNDS} rounds: {', '.join(parts)}"


def tens(share: float) -> str:
    """Tell a chance in tens.

    >>> tens(0.28), tens(0.01), tens(0.99)
    ('3 of 10', 'fewer than 1 of 10', 'more than 9 of 10')
    """
    count = out_of_ten(share)
    if count in (0, ROUNDS):
        return f"fewer than 1 of {ROUNDS}" if count == 0 else f"more than 9 of {ROUNDS}"
    return f"{count} of {ROUNDS}"


def out_of_ten(chance: float) -> int:
    """Say a chance as a count out of ten. [0 to 10].

    >>> out_of_ten(0.27)
    3
    """
    return int(10 * chance + 0.5)


def smear_words(instruction: Setting | Wait) -> str:
    """Tell in how many of ten such soils smear."""
    return f"smears in {tens(instruction.wait_chance)}"


def short_tens(instruction: Setting | Wait) -> str:
    """Tell the odds that soil smears where there is hardly room: "3", "<1", ">9"."""
    count = out_of_ten(instruction.wait_chance)
    return {0: "<1", ROUNDS: ">9"}.get(count, str(count))


def seed_words(share: float) -> str:
    """Tell how much of the seed lies more than 10 mm shallow: one in a round number.

    >>> seed_words(0.034), seed_words(0.0001)
    ('1 in 30', 'fewer than 1 in 1,000')
    """
    count = one_in(share)
    return f"fewer than 1 in {SELDOM:,}" if count is None else f"1 in {count}"


def opener_words(setting: Setting, system: str) -> str:
    """Tell the opener load as the range that holds it on 8 of 10 fields, no finer than its doubt.

    >>> from types import SimpleNamespace
    >>> opener_words(SimpleNamespace(opener_least_n=449.0, opener_most_n=992.0), "us")
    '100 to 225'
    """
    return span(setting.opener_least_n, setting.opener_most_n, "rough load", system)
