"""An air system's chart: from pressure to downforce and back, never past its ends."""

import numpy as np

from zoneplan.errors import OutOfRangeError
from zoneplan.rowunit.machine import Chart
from zoneplan.rowunit.words import load, pressure


def load_at(chart: Chart, pressure_kpa: float) -> float:
    """Downforce at a pressure, on straight lines between the chart's points. [N].

    Raises
    ------
    OutOfRangeError
        For a pressure outside the chart: what lies there is not known.

    Examples
    --------
    >>> load_at(((0, 0), (200, 100)), 50)
    25.0
    """
    pressures, loads = zip(*chart, strict=True)
    if not pressures[0] <= pressure_kpa <= pressures[-1]:
        raise OutOfRangeError(
            f"{pressure(pressure_kpa)} is outside this machine's chart, which runs from "
            f"{pressure(pressures[0])} to {pressure(pressures[-1])}. Past its ends the downforce "
            "is not known: choose a pressure inside, or measure more points."
        )
    return float(np.interp(pressure_kpa, pressures, loads))


def pressure_for(chart: Chart, downforce_n: float) -> float:
    """Pressure that gives a downforce, on straight lines between the points. [kPa].

    Raises
    ------
    OutOfRangeError
        For a downforce the chart does not reach.

    Examples
    --------
    >>> pressure_for(((0, 0), (200, 100)), 25)
    50.0
    """
    pressures, loads = zip(*chart, strict=True)
    if not loads[0] <= downforce_n <= loads[-1]:
        raise OutOfRangeError(
            f"{load(downforce_n)} of downforce cannot be reached: this machine's chart runs from "
            f"{load(loads[0])} to {load(loads[-1])}. Plan for less, or change the weight carried."
        )
    return float(np.interp(downforce_n, loads, pressures))
