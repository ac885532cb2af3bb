"""The only place a pound, an inch or an acre is spelled.

Everything inside is SI with the unit in the name. The doors call these, and who tells a fault.

Source: NIST Special Publication 811 (2008), appendix B.8 (exact factors: pound-force,
inch, mile per hour, psi to the digits printed); NIST Handbook 44 for the US bushel.
"""

import re

N_PER_LBF = 4.4482216152605
KG_PER_LB = 0.45359237
M_PER_IN = 0.0254
M_PER_FT = 0.3048
MPS_PER_MPH = 0.44704
KPA_PER_PSI = 6.894757293168
M2_PER_HA = 10_000.0
HA_PER_ACRE = 0.40468564224
M3_PER_BU = 0.03523907016688
STANDARD_GRAVITY_MPS2 = 9.80665

# What a quantity may be written in, and the SI unit zoneplan keeps it in.
_FACTORS: dict[str, dict[str, float]] = {
    "force": {
        "N": 1.0,
        "kN": 1000.0,
        "lb": N_PER_LBF,
        "lbf": N_PER_LBF,
        "kg": STANDARD_GRAVITY_MPS2,
        "kgf": STANDARD_GRAVITY_MPS2,
    },
    "pressure": {"kPa": 1.0, "psi": KPA_PER_PSI, "bar": 100.0, "MPa": 1000.0},
    "speed": {"m/s": 1.0, "mph": MPS_PER_MPH, "km/h": 1 / 3.6},
    "length": {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": M_PER_IN, "ft": M_PER_FT},
    "volume": {"m3": 1.0, "L": 0.001, "bu": M3_PER_BU},
    "density": {"kg/m3": 1.0, "kg/L": 1000.0, "lb/bu": KG_PER_LB / M3_PER_BU},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "share": {"%": 0.01},
    "area": {
        "m2": 1.0,
        "ft2": M_PER_FT**2,
        "ha": M2_PER_HA,
        "ac": HA_PER_ACRE * M2_PER_HA,
        "acres": HA_PER_ACRE * M2_PER_HA,
    },
}
_MOST_SHOWN = 80  # letters of what a message repeats
_QUANTITY = re.compile(r"\s*([-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?)\s*([A-Za-z][A-Za-z0-9/]*)\s*")


def quantity(text: str, kind: str) -> float:
    """Read a number with its unit, as a grower writes it, into SI.

    Parameters
    ----------
    text : str
        A number and a unit: "145 lb", "30 psi", "5 mph", "2 in".
    kind : str
        force [N], pressure [kPa], speed [m/s], length [m], volume [m³], density
        [kg/m³], time [s] or area [m²]. "lb" and "kg" as a force are weights.

    Raises
    ------
    ValueError
        Where there is no number, no unit, or a unit of another kind.

    Examples
    --------
    >>> quantity("2 in", "length")
    0.0508
    >>> round(quantity("250 lb", "force"), 1)
    1112.1
    """
    factors = _FACTORS[kind]
    match = _QUANTITY.fullmatch(text) if isinstance(text, str) else None
    if match is None or match[2] not in factors:
        units = ", ".join(factors)
        raise ValueError(f"{_short(text)} is not a {kind}: write a number and one of {units}")
    return float(match[1]) * factors[match[2]]


def unit_of(text: str) -> str:
    """Name the unit that a quantity is written in; empty where it is none.

    >>> unit_of("250 lb"), unit_of("heavy")
    ('lb', '')
    """
    match = _QUANTITY.fullmatch(text)
    return match[2] if match else ""


def _short(text: object) -> str:
    shown = repr(text)
    return shown if len(shown) <= _MOST_SHOWN else f"{shown[: _MOST_SHOWN - 1]}…"


def to(value: float, unit: str, kind: str) -> float:
    """Turn an SI value into a display unit.

    >>> round(to(556.0, "lb", "force"))
    125
    """
    return value / _FACTORS[kind][unit]


def si(value: float, unit: str, kind: str) -> float:
    """Turn a value in a display unit into SI.

    >>> si(5, "mph", "speed")
    2.2352
    """
    return value * _FACTORS[kind][unit]


def percent(share: float, decimals: int = 0) -> str:
    """Say a share.

    >>> percent(0.968), percent(0.968, 1)
    ('97 %', '96.8 %')
    """
    return f"{100 * share:.{decimals}f} %"


def load(force_n: float) -> str:
    """Say a load.

    >>> load(444.8)
    '100 lb (445 N)'
    """
    return f"{round(to(force_n, 'lb', 'force'))} lb ({round(force_n)} N)"


def downforce(force_n: float) -> str:
    """Say a downforce, which may be a lift.

    >>> downforce(-444.8)
    '100 lb (445 N) of lift'
    >>> downforce(0.0)
    'no downforce'
    """
    if abs(force_n) < 0.5:
        return "no downforce"
    return f"{load(abs(force_n))} {'of lift' if force_n < 0 else 'down'}"


def pressure(pressure_kpa: float) -> str:
    """Say a pressure, as a gauge is read.

    >>> pressure(206.8), pressure(221.3)
    ('30 psi (207 kPa)', '32 psi (221 kPa)')
    """
    return f"{round(to(pressure_kpa, 'psi', 'pressure'))} psi ({round(pressure_kpa)} kPa)"


def distance(distance_m: float) -> str:
    """Say a distance along the ground.

    >>> distance(22.4)
    '73 ft (22 m)'
    """
    return f"{round(to(distance_m, 'ft', 'length'))} ft ({round(distance_m)} m)"


def speed(speed_mps: float) -> str:
    """Say a speed.

    >>> speed(2.2352)
    '5 mph'
    """
    return f"{to(speed_mps, 'mph', 'speed'):.3g} mph"
