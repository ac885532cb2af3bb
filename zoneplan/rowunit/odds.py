"""Chances as they are printed: of ten rounds, one in thirty; and where to fill the hopper."""

from zoneplan.rowunit.doubt import Chances, Row, window_n

ROUNDS = 10
ONE_IN = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500, 1000)
HOPPER_RIGHT_SHARE = 0.6  # judged: less of the hopper inside the window is the hopper's fault
_NOISE = 1e-9


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
    if share < 1 / ONE_IN[-1]:
        return None
    return min(ONE_IN, key=lambda count: max(count * share, 1 / (count * share)))


def hopper_right_share(row: Row, downforce_n: float, least_n: float, most_n: float) -> float:
    """Share of the way from full to refill that lies inside the window, were R known. [0 to 1].

    Parameters
    ----------
    row, downforce_n, least_n, most_n : Row, float, float, float
        As for `doubt.setting_chances_at`.

    Source
    ------
    Derived: the margin falls in a straight line with the seed
    """
    least_n, most_n = window_n(least_n, most_n)
    full_n, refill_n = (row.resting_n(way) + downforce_n - row.opener_load_n for way in (1.0, 0.0))
    seed_n = full_n - refill_n
    if seed_n <= _NOISE:
        return float(least_n <= full_n <= most_n)
    return max(0.0, min(full_n, most_n) - max(refill_n, least_n)) / seed_n


def refill_fill(
    fill_full: float,
    fill_refill: float,
    full_hopper_n: float,
    margin_full_n: float,
    least_n: float,
    most_n: float,
) -> float | None:
    """Fill at which to refill, so that one setting stays inside the window. [0 to 1].

    `None` where the window bears all the seed between full and refill, where there is no window,
    or where the margin is inside it at no fill.

    Parameters
    ----------
    fill_full, fill_refill : float
        Shares of the hopper that the machine file plans with. [0 to 1]
    full_hopper_n : float
        Weight of the seed in a whole hopper, per row. [N]
    margin_full_n : float
        What the setting leaves with the hopper full. [N]
    least_n, most_n : float
        The target's limits. [N]

    Notes
    -----
    The margin is `least_n` at this fill. Where it is more than `most_n` from full, filling to the
    fill that leaves `most_n` and refilling here keeps it inside: full − refill ≤ (most − least) /
    seed weight.

    Source
    ------
    Derived: the margin falls in a straight line with the seed

    Examples
    --------
    >>> round(refill_fill(1.0, 0.0, 90.0, 160.0, 96.0, 160.0), 2)  # 64 of 90 N may go
    0.29
    """
    if least_n >= most_n or most_n - least_n >= (fill_full - fill_refill) * full_hopper_n:
        return None
    wanted = fill_full - (margin_full_n - least_n) / full_hopper_n
    return wanted if fill_refill + _NOISE < wanted < fill_full - _NOISE else None
