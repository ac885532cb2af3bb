"""How much of the time the gauge wheels carry load, from the margin and its swing."""

from statistics import NormalDist

_NORMAL = NormalDist()


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
