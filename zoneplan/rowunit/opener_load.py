"""The soil's push back on the opener discs: one reference load and a ratio for each fact.

    R = R0 · texture · moisture · ground · (depth / 2 in)^0.9 · speed  +  attachments

The weakest number in a plan: check it by hand, see `hand_checks`.
"""

from collections.abc import Iterable, Mapping

from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.machine import Attachment
from zoneplan.terms import Tillage
from zoneplan.units import M_PER_IN, MPS_PER_MPH, to

REFERENCE_LOAD_N = 675.0  # judged, of 450 to 900 N
REFERENCE_DEPTH_M = 2 * M_PER_IN
REFERENCE_SPEED_MPS = 5 * MPS_PER_MPH
DEPTH_EXPONENT = 0.9
SPEED_RATIO_PER_MPS = 0.12 / MPS_PER_MPH

TILLAGE_RATIO: Mapping[Tillage, float] = {
    Tillage.TILLED: 1.0,
    Tillage.STRIP_TILL: 1.1,
    Tillage.NO_TILL: 1.5,
}
TRAFFIC_RATIO = 1.2  # a wheel track or the headland
DENSITY_EXPONENT = 0.93  # of the tenfold, per Mg/m³


def ground_ratio(
    tillage: Tillage, *, traffic: bool = False, excess_density_mg_m3: float = 0.0
) -> float:
    """Opener load on some ground over that on a smooth tilled seedbed. [1 = the same].

    Parameters
    ----------
    tillage : Tillage
        How the ground was prepared.
    traffic : bool
        A wheel track, or the headland: once, though it be both.
    excess_density_mg_m3 : float
        From `soil.density`, of a measured density only. [Mg/m³, 0 or more]

    Source
    ------
    Judged. Order: Badua, Sharda, Strasser & Ciampitti (2021), Precision Agric.,
    doi:10.1007/s11119-020-09775-7 (no-till needs more than strip-till); Ohio State
    University on-farm research (2018) and Jasa (2019), University of Nebraska Extension
    (traffic). Density: Whalley et al. (2007), Geoderma 137:370-377

    Examples
    --------
    >>> ground_ratio(Tillage.NO_TILL), ground_ratio(Tillage.TILLED, traffic=True)
    (1.5, 1.2)
    """
    ratio = TILLAGE_RATIO[tillage] * (TRAFFIC_RATIO if traffic else 1.0)
    return float(ratio * 10 ** (DENSITY_EXPONENT * max(excess_density_mg_m3, 0.0)))


def speed_ratio(speed_mps: float) -> float:
    """Opener load at a speed over that at 5 mph and below. [1 = the same].

    Notes
    -----
    0.12 more per mph above 5: the fall of 119 N per mph that one no-till machine's gauge
    wheels showed at a fixed setting, relative to its own opener load. Judged elsewhere.

    Source
    ------
    Derived, from a journal abstract on a radial gauge-wheel load sensor, authors not shown:
    1148, 1017, 843 and 713 N at 6, 8, 10 and 12 km/h

    Examples
    --------
    >>> round(speed_ratio(7 * MPS_PER_MPH), 2)
    1.24
    """
    return 1 + SPEED_RATIO_PER_MPS * max(speed_mps - REFERENCE_SPEED_MPS, 0.0)


def depth_ratio(depth_m: float) -> float:
    """Opener load at a depth over that at 2 in. [1 = the same].

    Raises
    ------
    OutOfRangeError
        For a depth that is not above 0.

    Source
    ------
    Derived: Xu et al. (2023), Agronomy 13:1336 (abstract): five disc openers, 39 % more
    vertical force at 100 mm than at 70 mm, an exponent of 0.92

    Examples
    --------
    >>> round(depth_ratio(3 * M_PER_IN), 2)
    1.44
    """
    if not depth_m > 0:
        raise OutOfRangeError(
            f"An opener load is not known at a depth of {to(depth_m, 'in', 'length'):.3g} in: "
            "an opener works below the surface. Check the depth."
        )
    return float((depth_m / REFERENCE_DEPTH_M) ** DEPTH_EXPONENT)


def opener_load_n(
    texture_ratio: float,
    moisture_ratio: float,
    ground_ratio: float,
    depth_m: float,
    speed_mps: float,
) -> float:
    """Upward load of the soil on the double disc of one row. [N].

    Parameters
    ----------
    texture_ratio, moisture_ratio : float
        From `soil.strength`.
    ground_ratio : float
        From `ground_ratio`.
    depth_m, speed_mps : float
        Planting depth [m] and speed [m/s].

    Raises
    ------
    OutOfRangeError
        For a depth that is not above 0.

    Notes
    -----
    No published equation ties this load to the soil. The reference is a soil of 25 % clay,
    moist, a smooth tilled seedbed, 2 in, 5 mph: 675 N, judged. Extension says that the
    weight of a unit, 150 to 200 lb, is usually enough to reach depth in normal soil, which
    is an upper bound on opener and closing load together. Every fact enters once.

    Source
    ------
    Derived; upper bound: an Iowa State University extension specialist in the farm press

    Examples
    --------
    >>> round(opener_load_n(1.0, 1.0, 1.0, 2 * M_PER_IN, 5 * MPS_PER_MPH))
    675
    """
    return (
        REFERENCE_LOAD_N
        * texture_ratio
        * moisture_ratio
        * ground_ratio
        * depth_ratio(depth_m)
        * speed_ratio(speed_mps)
    )


def attachments_load_n(
    attachments: Iterable[Attachment], moisture_ratio: float, ground_ratio: float
) -> float:
    """Upward load on what is mounted on the row unit. [N].

    Parameters
    ----------
    attachments : iterable of Attachment
        Each with its reaction in moist tilled soil.
    moisture_ratio, ground_ratio : float
        As for `opener_load_n`: what cuts soil meets a harder one.

    Source
    ------
    Derived: statics

    Examples
    --------
    >>> coulter = Attachment("coulter", 200.0, cuts_soil=True)
    >>> round(attachments_load_n([coulter], 1.0, 1.5))
    300
    """
    harder = moisture_ratio * ground_ratio
    return sum(each.reaction_n * (harder if each.cuts_soil else 1.0) for each in attachments)
