"""A log of conductivity, read as marks."""

from pathlib import Path

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from tests.bench import data
from tests.bench.measure import MB, Case
from tests.bench.row import Row
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.points.conductivity import read_point_layer

POINTS = (1_000, 10_000, 100_000, 1_000_000)
APART_M = 12.0  # passes


def write_log(points: int, folder: Path) -> None:
    """Write a log along passes twelve metres apart, with noise and a few gross errors."""
    random = np.random.default_rng(29)
    half = data.SIDE_M / 2
    passes = int(2 * half / APART_M)
    along = np.linspace(0, passes, points, endpoint=False)
    number = along.astype(int)
    x = -half + (number + 0.5) * APART_M + random.normal(0, 0.5, points)
    y = -half + (along % 1) * 2 * half
    value = 30 + 12 * np.sin(x / 90) * np.cos(y / 110) + random.normal(0, 1.5, points)
    value[random.random(points) < 0.002] *= 5
    places = move(shapely.MultiPoint(np.column_stack((x, y))), data.CRS, WGS_84)
    east, north = shapely.get_coordinates(places).T
    table = pd.DataFrame({"longitude": east, "latitude": north, "ECa": value})
    table.to_csv(folder / "log.csv", index=False, float_format="%.8f")


def _case(_points: int, folder: Path) -> Case:
    field, path = data.field(), folder / "log.csv"
    return Case(lambda: read_point_layer(path, field), lambda: _read_and_near(path))


def _read_and_near(path: Path) -> object:
    table = pd.read_csv(path)
    places = table[["longitude", "latitude"]].to_numpy() * (82_000, 111_000)
    return cKDTree(places).query(places, k=17)


ROWS = (
    Row(
        name="conductivity",
        against="pandas.read_csv + one KD-tree query",
        today="73 at 10⁶",
        goal=15,
        sizes=POINTS,
        unit="points",
        case=_case,
        files=write_log,
        goal_mb=10 * 40e6 / MB,
        most_times=3,
    ),
)
