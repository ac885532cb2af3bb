"""The soil's push back on the opener discs. The weakest number in a plan: calibrate it."""

import math

from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.machine import DISC_DIAMETER_M
from zoneplan.units import M_PER_IN, MPS_PER_MPH, to

REFERENCE_LOAD_N = 675.0
REFERENCE_DEPTH_M = 2 * M_PER_IN
TILLAGE_FACTOR = {"tilled": 1.0, "strip-till": 1.0, "no-till": 1.5}
SPEED_LOAD_N_PER_MPS = 119.0 / MPS_PER_MPH
SLOW_MPS = 5 * MPS_PER_MPH  # the reference load holds up to here
UNCERTAIN_SHARE = 1 / 3  # k of 0.5 to 1.0 about 0.75


def chord_m(depth_m: float, disc_diameter_m: float) -> float:
    """Length of a disc at the soil surface. [m].

    Raises
    ------
    OutOfRangeError
        For a depth that is not between 0 and half the disc.

    Source
    ------
    Derived: a chord at depth d of a circle D across is 2·√(d·(D - d)).

    Examples
    --------
    >>> round(chord_m(0.0508, 0.381), 5)
    0.25903
    """
    if not 0 < depth_m < disc_diameter_m / 2:
        raise OutOfRangeError(
            f"An opener load is not known at a depth of {to(depth_m, 'in', 'length'):.3g} in: "
            f"a disc {to(disc_diameter_m, 'in', 'length'):.3g} in across works between 0 and "
            "half of that. Check the depth."
        )
    return 2 * math.sqrt(depth_m * (disc_diameter_m - depth_m))


def opener_load_n(
    strength_ratio: float,
    depth_m: float,
    speed_mps: float,
    tillage: str,
    disc_diameter_m: float = DISC_DIAMETER_M,
) -> float:
    """Upward load of the soil on the double disc of one row. [N].

    Parameters
    ----------
    strength_ratio : float
        Soil strength over that of the reference: tilled, moist, loam-like. [1 = the same]
    depth_m : float
        Planting depth. [m]
    speed_mps : float
        Planting speed. [m/s]
    tillage : str
        "tilled", "strip-till" or "no-till".
    disc_diameter_m : float
        Across one disc. [m]

    Raises
    ------
    OutOfRangeError
        For a depth the disc cannot work at.

    Notes
    -----
    No published equation ties this load to soil strength, speed and residue. Ours takes
    675 N (150 lb, the middle of 450 to 900 N) for tilled moist soil at 2 in with 15 in
    discs, and scales it by strength and by how much disc is in the ground. No-till counts
    1.5 times: judged. Speed adds 119 N per mph above 5 mph: one no-till study of one
    machine, in which the gauge wheels lost that much at a fixed setting. It is good to
    about a third either way (`UNCERTAIN_SHARE`) between fields, better between the zones
    of one. One weighing replaces its level: see `calibrate`.

    Source
    ------
    Derived. Scale: an Iowa State University extension specialist in the farm press (150 to
    200 lb of row unit usually reach planting depth in normal soil). Speed: a journal
    abstract on a radial gauge-wheel load sensor, authors not shown: 1148, 1017, 843 and
    713 N at 6, 8, 10 and 12 km/h, a slope of -74.0 N per km/h.

    Examples
    --------
    >>> round(opener_load_n(1.0, 0.0508, 2.2352, "tilled"))
    675
    >>> round(opener_load_n(1.0, 0.0508, 2.2352, "no-till"))
    1012
    """
    in_the_ground = chord_m(depth_m, disc_diameter_m) / chord_m(REFERENCE_DEPTH_M, DISC_DIAMETER_M)
    standing = REFERENCE_LOAD_N * strength_ratio * in_the_ground * TILLAGE_FACTOR[tillage]
    return standing + SPEED_LOAD_N_PER_MPS * max(0.0, speed_mps - SLOW_MPS)
