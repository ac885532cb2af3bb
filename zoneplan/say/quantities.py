"""Every figure on paper, in US or SI units: rounded and worded here and nowhere else.

Chances are told as they are read out: of ten rounds, in tens, one in thirty.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from zoneplan import units
from zoneplan.plan.model import Plan, Setting, Wait
from zoneplan.rowunit.doubt import SHALLOW_M, Chances
from zoneplan.terms import SettingKind

UNKNOWN = "–"
LEAST_SHARE = 0.01  # a smaller share reads as less than this
SYSTEMS = ("us", "si")
SHALLOW = {"us": f"{SHALLOW_M / units.M_PER_IN:.1f} in", "si": f"{100 * SHALLOW_M:.0f} cm"}
ROUNDS = 10
ONE_IN = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500, 1000)
SELDOM = ONE_IN[-1]  # one in more than this is not counted
_NOISE = 1e-9


@dataclass(frozen=True)
class _Unit:
    """How one quantity is written: its unit, and the decimals that are worth telling."""

    word: str
    name: str  # in zoneplan.units
    kind: str  # there
    decimals: int = 0
    step: float = 0.0  # whole steps of it are told, where it is known no finer


_US = {
    "load": _Unit("lb", "lb", "force"),
    "rough load": _Unit("lb", "lb", "force", step=5),
    "pressure": _Unit("psi", "psi", "pressure"),
    "speed": _Unit("mph", "mph", "speed", 1),
    "length": _Unit("in", "in", "length", 2),
    "distance": _Unit("ft", "ft", "length"),
    "width": _Unit("ft", "ft", "length", 1),
    "area": _Unit("acres", "ac", "area", 2),
    "plot": _Unit("ft²", "ft2", "area"),
    "volume": _Unit("bu", "bu", "volume", 2),
    "density": _Unit("lb/bu", "lb/bu", "density", 1),
}
_SI = {
    "load": _Unit("N", "N", "force"),
    "rough load": _Unit("N", "N", "force", step=20),
    "pressure": _Unit("kPa", "kPa", "pressure"),
    "speed": _Unit("km/h", "km/h", "speed", 1),
    "length": _Unit("cm", "cm", "length", 1),
    "distance": _Unit("m", "m", "length"),
    "width": _Unit("m", "m", "length", 1),
    "area": _Unit("ha", "ha", "area", 2),
    "plot": _Unit("m²", "m2", "area"),
    "volume": _Unit("L", "L", "volume", 1),
    "density": _Unit("kg/L", "kg/L", "density", 2),
}
_SHOWN = {"us": _US, "si": _SI}


def unit(quantity: str, system: str) -> str:
    """Name the unit that a quantity is written in.

    Parameters
    ----------
    quantity : str
        load, rough load (what is known no finer), pressure, speed, length, distance (along the
        ground), width (of passes and cells), area, plot (a small area), volume or density.
    system : str
        "us" or "si".

    Examples
    --------
    >>> unit("load", "us"), unit("load", "si")
    ('lb', 'N')
    """
    return _SHOWN[system][quantity].word


def number(value: float | None, quantity: str, system: str) -> str:
    """Write a figure without its unit; what is not known is a dash.

    Parameters
    ----------
    value : float, optional
        In N, kPa, m/s, m, ha, m³ or kg/m³, as `quantity` is kept inside.
    quantity, system : str
        As for `unit`.

    Examples
    --------
    >>> number(489.3, "load", "us"), number(489.3, "load", "si"), number(None, "load", "us")
    ('110', '489', '–')
    >>> number(0.001, "area", "us")
    'under 0.01'
    """
    if value is None:
        return UNKNOWN
    shown = _SHOWN[system][quantity]
    inside = value * units.M2_PER_HA if quantity in ("area", "plot") else value
    amount = units.to(inside, shown.name, shown.kind)
    if quantity == "area":  # three figures, so that a column of them lines up
        if 0 < amount < 0.005:
            return "under 0.01"
        return f"{amount:.{0 if amount >= 100 else 1 if amount >= 10 else 2}f}"
    if shown.step:
        amount = shown.step * round(amount / shown.step)
    return plain(amount, shown.decimals)


def figure(value: float | None, quantity: str, system: str) -> str:
    """Write a figure with its unit.

    >>> figure(2.2352, "speed", "us"), figure(2.2352, "speed", "si")
    ('5 mph', '8 km/h')
    """
    return f"{number(value, quantity, system)} {unit(quantity, system)}"


def span(one: float | None, other: float | None, quantity: str, system: str) -> str:
    """Write two figures from the lower to the higher; two that read the same are one.

    >>> span(783.0, 440.0, "load", "us"), span(440.0, 440.0, "load", "us")
    ('99 to 176', '99')
    >>> span(449.0, 992.0, "rough load", "us"), span(449.0, 992.0, "rough load", "si")
    ('100 to 225', '440 to 1000')
    """
    known = sorted(value for value in (one, other) if value is not None)
    written = (number(value, quantity, system) for value in known)
    return " to ".join(dict.fromkeys(written)) or UNKNOWN


def range_figure(values: Sequence[float], quantity: str, system: str) -> str:
    """Write many figures as the least and the most of them, with their unit.

    >>> range_figure([783.0, 440.0, 600.0], "load", "us")
    '99 to 176 lb'
    """
    return f"{span(min(values), max(values), quantity, system)} {unit(quantity, system)}"


def setting_quantity(plan: Plan) -> str:
    """Say what a plan's settings are: a load or a pressure."""
    return "pressure" if plan.setting_unit == "kPa" else "load"


def percent(share: float | None) -> str:
    """Write a share.

    >>> percent(0.966)
    '97 %'
    """
    return UNKNOWN if share is None else f"{plain(100 * share)} %"


def small_percent(share: float) -> str:
    """Write a share of which a little is told as little, and never as none.

    >>> small_percent(0.104), small_percent(0.004)
    ('10 %', 'less than 1 %')
    """
    return percent(share) if share >= LEAST_SHARE else f"less than {percent(LEAST_SHARE)}"


def plain(value: float, decimals: int = 0) -> str:
    """Write a bare number with at most so many decimals and a true minus sign.

    >>> plain(5.50, 2), plain(-0.4), plain(-80.2)
    ('5.5', '0', '−80')
    """
    rounded = round(value, decimals) + 0.0
    written = f"{rounded:.{decimals}f}"
    if "." in written:
        written = written.rstrip("0").rstrip(".")
    return written.replace("-", "−")


# ---- chances -------------------------------------------------------------------------------


def of_ten_rounds(chances: Chances) -> tuple[int, int, int]:
    """Right, too light and too heavy of ten rounds, 10 together.

    Notes
    -----
    Whole tenths first; what is left of ten goes to the largest remainders, right before
    light before heavy where they tie.

    Examples
    --------
    >>> of_ten_rounds(Chances(right=0.467, light=0.346, heavy=0.187))
    (5, 3, 2)
    """
    tenths = [ROUNDS * each for each in (chances.right, chances.light, chances.heavy)]
    counts = [int(each + _NOISE) for each in tenths]
    by_remainder = sorted(range(3), key=lambda at: counts[at] - tenths[at])
    for at in by_remainder[: ROUNDS - sum(counts)]:
        counts[at] += 1
    return counts[0], counts[1], counts[2]


def one_in(share: float) -> int | None:
    """Say a small share as one in a round number; `None` for less than one in a thousand.

    Examples
    --------
    >>> one_in(0.034), one_in(0.007), one_in(0.0001)
    (30, 150, None)
    """
    if share < 1 / SELDOM:
        return None
    return min(ONE_IN, key=lambda count: max(count * share, 1 / (count * share)))


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
    return int(ROUNDS * chance + 0.5)


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
