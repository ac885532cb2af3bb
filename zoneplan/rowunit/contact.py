"""How much of the time the gauge wheels carry load, from the margin and its swing."""

from dataclasses import dataclass
from statistics import NormalDist

from zoneplan.notices import Notice, notice
from zoneplan.rowunit.machine import Machine
from zoneplan.units import MPS_PER_MPH, N_PER_LBF

SWING_N = {"tilled": 60 * N_PER_LBF, "strip-till": 60 * N_PER_LBF, "no-till": 100 * N_PER_LBF}
SWING_SPEED_MPS = 5 * MPS_PER_MPH
SWING_PER_MPS = 0.07 / MPS_PER_MPH
MOST_SLOPE_FRAC = 0.10  # judged: the swing grows no further on steeper ground
WANTED_SHARES = (0.96, 0.98)  # common practice, no source: 1.75 and 2.05 swings of margin
MOST_SWINGS = 3.0  # beyond this contact is as good as whole

_NORMAL = NormalDist()


@dataclass(frozen=True)
class Swing:
    """Standard deviation of the gauge-wheel load about its mean, and where it is from."""

    load_n: float
    known_n: float  # what it is taken from
    known_at_mps: float  # the speed that is known at
    measured: bool
    slope_share: float  # how much wider the slope makes it
    speed_mps: float  # that it is at


def swing(
    machine: Machine, tillage: str, speed_mps: float, slope_frac: float | None = None
) -> Swing:
    """How far the gauge-wheel load swings at a speed.

    Parameters
    ----------
    machine : Machine
        Its `swing_n`, measured at its `speed_mps`, replaces the assumed one.
    tillage : str
        "tilled", "strip-till" or "no-till", which stands for rough ground.
    speed_mps : float
        Planned speed. [m/s]
    slope_frac : float, optional
        Slope of the ground, rise over run; where unknown it is taken as level.

    Notes
    -----
    The assumed swing is judged: 60 lb on smooth tilled ground, 100 lb on rough or no-till
    ground, both at 5 mph. A swing grows 7 % per mph of speed above the one it is known
    at, and shrinks as much below. The working: standard deviations of 459, 417, 523 and
    506 N at 6, 8, 10 and 12 km/h. The slow pair averages 438 N, the fast pair 514.5 N:
    17.5 % more over 4 km/h (2.49 mph), which is 7 % per mph.

    Source
    ------
    Derived, from means and coefficients of variation in a journal abstract on a radial
    gauge-wheel load sensor (one machine, no-till, authors not shown).
    """
    known_n, known_mps = SWING_N[tillage], SWING_SPEED_MPS
    if machine.swing_n is not None:
        known_n, known_mps = machine.swing_n, machine.speed_mps
    sloping = swing_factor(slope_frac or 0.0)
    return Swing(
        load_n=known_n * (1 + SWING_PER_MPS * (speed_mps - known_mps)) * sloping,
        known_n=known_n,
        known_at_mps=known_mps,
        measured=machine.swing_n is not None,
        slope_share=sloping - 1,
        speed_mps=speed_mps,
    )


def steady_speed_mps(machine: Machine, tillage: str, margin_n: float, swung: Swing) -> float:
    """Speed at which a margin keeps contact the least that is wanted. [m/s]; below 0 for none.

        Parameters
        ----------
        machine, tillage : Machine, str
            As for `swing`.
        margin_n : float
            The margin that is held. [N]
        swung : Swing
            The swing at the planned speed.

        Source
        ------
        Derived: the swing grows in a straight line with speed; see `swing`.

        Examples
        --------
        >>> from zoneplan.notices import Notice, notice
    from zoneplan.rowunit.machine_file import read_machine
        >>> there = swing(read_machine("springs"), "tilled", 5 * MPS_PER_MPH)
        >>> at = steady_speed_mps(read_machine("springs"), "tilled", 100 * N_PER_LBF, there)
        >>> round(at / MPS_PER_MPH, 1)  # 100 lb is 1.75 swings of 57.1 lb, 4.8 % less than 60
        4.3
    """
    wanted_n = margin_n / _NORMAL.inv_cdf(WANTED_SHARES[0])
    at_rest_n, moving_n, level_n = (
        swing(machine, tillage, speed_mps).load_n for speed_mps in (0.0, 1.0, swung.speed_mps)
    )
    return (wanted_n * level_n / swung.load_n - at_rest_n) / (moving_n - at_rest_n)


def swing_factor(slope_frac: float) -> float:
    """How much wider the gauge-wheel load swings on a slope than on level ground. [factor, from 1].

    Source
    ------
    Judged, no source: 1 % more for every percent of slope, 10 % at the most, as a planter
    across a slope hangs to one side and one along it pitches.

    Examples
    --------
    >>> swing_factor(0.06), swing_factor(0.25)
    (1.06, 1.1)
    """
    return 1 + min(slope_frac, MOST_SLOPE_FRAC)


def contact_share(margin_n: float, swing_n: float) -> float:
    """Share of the time the gauge wheels carry load. [0 to 1].

    Parameters
    ----------
    margin_n : float
        Mean load on the gauge wheels. [N]
    swing_n : float
        Its standard deviation. [N]

    Notes
    -----
    That the load swings normally is an assumption.

    Source
    ------
    Derived: Φ(margin / swing), the normal distribution's share above zero.

    Examples
    --------
    >>> round(contact_share(105, 60), 2)
    0.96
    """
    return _NORMAL.cdf(margin_n / swing_n)


def margin_window_n(swing_n: float) -> tuple[float, float]:
    """Give the margins that keep contact 96 and 98 % of the time. [N].

    Examples
    --------
    >>> [round(margin) for margin in margin_window_n(60)]
    [105, 123]
    """
    least, most = (swing_n * _NORMAL.inv_cdf(share) for share in WANTED_SHARES)
    return least, most


def bought_with_load(margin_n: float, swing_n: float) -> Notice | None:
    """Tell where whole contact is paid for with load that only packs; else None.

    Parameters
    ----------
    margin_n, swing_n : float
        Mean load on the gauge wheels and its standard deviation. [N]
    """
    enough_n = margin_window_n(swing_n)[1]
    if margin_n <= MOST_SWINGS * swing_n:
        return None
    return notice(
        "contact-bought-with-load",
        contact_share=contact_share(margin_n, swing_n),
        enough_n=enough_n,
        beyond_n=margin_n - enough_n,
    )
