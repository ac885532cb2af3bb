"""Every figure on paper, in US or SI units: rounded and worded here and nowhere else."""

from dataclasses import dataclass

from zoneplan import units
from zoneplan.plan.model import Plan

UNKNOWN = "–"
SYSTEMS = ("us", "si")


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


def setting_quantity(plan: Plan) -> str:
    """Say what a plan's settings are: a load or a pressure."""
    return "pressure" if plan.setting_unit == "kPa" else "load"


def percent(share: float | None) -> str:
    """Write a share.

    >>> percent(0.966)
    '97 %'
    """
    return UNKNOWN if share is None else f"{plain(100 * share)} %"


def without_soil(plan: Plan, system: str) -> str:
    """Say how much of a field no soil layer covers; empty where they cover all of it."""
    if not plan.uncovered_ha:
        return ""
    area = figure(plan.uncovered_ha, "area", system)
    return f"The soil data say nothing of {area} of this field."


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
