"""Kriging: against answers found without the library, on real samples, and on noise."""

import numpy as np
import pandas as pd
import pytest
from LimeSoDa import load_dataset
from scipy.interpolate import RBFInterpolator
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist
from shapely.geometry import box

from tests.field.ground import LOCAL, SQUARE, field_of
from tests.telling import sentences
from zoneplan.errors import LayerError
from zoneplan.field.points.kriging import (
    LEAST_NUGGET,
    MANY,
    MOST_POINTS,
    NEIGHBOURS,
    Variogram,
    cross_validate,
    fit_variogram,
    krige,
    noted,
    ordinary,
)
from zoneplan.field.points.read import MARGIN_M, Points

FIELD = field_of(SQUARE)


def points_of(places, values, name="conductivity"):
    places = np.asarray(places, dtype=float)
    return Points("log.csv", LOCAL, places[:, 0], places[:, 1], {name: np.asarray(values, float)})


def lattice(step, width=400.0):
    """Places every `step` metres, from half a step inside the square."""
    along = np.arange(step / 2, 400, step)
    x, y = np.meshgrid(along[along < width], along)
    return np.column_stack((x.ravel(), y.ravel()))


def centres_of(grid, name="conductivity"):
    rows, columns = grid.values[name].shape
    x, y = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    a, _, c, _, e, f, *_ = grid.transform
    return np.stack((a * x + c, e * y + f), axis=-1)


# PUBLISHED. Isaaks & Srivastava (1989), An Introduction to Applied Geostatistics, ch. 12,
# from memory: seven samples of V, kriged at (65, 137) with the covariance 10 exp(-0.3 h).
# Printed: 592.7, to which the printed weights 0.173, 0.318, 0.129, 0.086, 0.151, 0.057 and
# 0.086 come as well (592.6, by their rounding).
SEVEN = [(61, 139), (63, 140), (64, 129), (68, 128), (71, 140), (73, 141), (75, 128)]
V = np.array([477, 696, 227, 646, 606, 791, 783], dtype=float)


def test_the_textbook_example():
    usual = ordinary(
        np.array(SEVEN, dtype=float), V, Variogram(0, 10, 10), np.array([[65.0, 137.0]])
    )
    assert usual[0] == pytest.approx(592.7, abs=0.05)


def test_two_points_by_hand():
    # WORKED. Points at 0 and 30 m, and the place at 10 m. Their variogram is
    # 1 - exp(-h / 10), for 95 % is reached at 30 m: 0.63212 to the first, 0.86466 to the
    # second, 0.95021 between them. The first weighs 1/2 + (0.86466 - 0.63212) /
    # (2 * 0.95021) = 0.62236, so of 10 and 20 comes 20 - 10 * 0.62236 = 13.7764.
    places = np.array([[0.0, 0.0], [30.0, 0.0]])
    usual = ordinary(places, np.array([10.0, 20.0]), Variogram(0, 1, 30), np.array([[10.0, 0.0]]))
    assert usual[0] == pytest.approx(13.7764, abs=5e-5)


def solved_by_all(places, values, model, at):
    """Kriged from all points at once: the system of the test below, in its dual form."""
    count = len(places)

    def unlike(metres):
        return model.nugget + model.partial_sill * (1 - np.exp(-3 * metres / model.range_m))

    system = np.ones((count + 1, count + 1))
    system[:count, :count] = unlike(cdist(places, places))
    np.fill_diagonal(system, 0)
    solved = np.linalg.solve(system, np.append(values, 0))
    return unlike(cdist(at, places)) @ solved[:count] + solved[count]


@pytest.mark.parametrize("seed", range(3))
def test_cells_that_share_points_are_nearer_to_all_points_than_from_the_nearest(seed):
    # A cell by itself is kriged from the points nearest to it, many cells from shared ones.
    rng = np.random.default_rng(seed)
    places = rng.uniform(0, 400, (MANY, 2))
    values = 30 + 8 * np.sin(places[:, 0] / 60) + rng.normal(0, 1, MANY)
    model, cells = fit_variogram(places, values), lattice(8)
    expected = solved_by_all(places, values, model, cells)
    shared = ordinary(places, values, model, cells)
    alone = np.concatenate([ordinary(places, values, model, part) for part in cells[:, None]])
    off = [np.sqrt(np.mean((each - expected) ** 2)) for each in (shared, alone)]
    assert off[0] < 0.8 * off[1]
    assert off[0] < 0.02 * values.std()


def test_places_that_have_the_same_points_nearest_are_told_as_each_by_itself():
    rng = np.random.default_rng(4)
    places, values = rng.uniform(0, 400, (60, 2)), rng.normal(50, 10, 60)
    cells, model = lattice(8), Variogram(20, 80, 150)
    alone = np.concatenate([ordinary(places, values, model, part) for part in cells[:, None]])
    assert ordinary(places, values, model, cells) == pytest.approx(alone, rel=1e-12)


def test_a_nugget_against_the_system_solved_by_itself():
    # WORKED by numpy: the unbiased weights w and the multiplier m of
    #   sum_j w_j g(i, j) + m = g(i, 0) for each i,  sum_j w_j = 1
    # where g(h) = nugget + sill (1 - exp(-3 h / range)) for h > 0, and 0 for h = 0 between
    # points. The second place is one of the points: its value is not just given back.
    rng = np.random.default_rng(3)
    places, values = rng.uniform(0, 100, (6, 2)), rng.normal(50, 10, 6)
    at = np.array([[40.0, 55.0], places[2]])
    model = Variogram(nugget=0.3, partial_sill=0.7, range_m=80.0)

    def unlike(metres):
        return model.nugget + model.partial_sill * (1 - np.exp(-3 * metres / model.range_m))

    left = np.ones((7, 7))
    left[:6, :6] = unlike(cdist(places, places))
    np.fill_diagonal(left, 0)
    right = np.vstack((unlike(cdist(places, at)), np.ones(2)))
    expected = values @ np.linalg.solve(left, right)[:6]
    usual = ordinary(places, values, model, at)
    assert usual == pytest.approx(expected)
    assert abs(usual[1] - values[2]) > 0.1


def test_the_unit_of_the_values_does_not_matter():
    model = Variogram(0, 10e-8, 10)
    usual = ordinary(np.array(SEVEN, dtype=float), V / 1e4, model, np.array([[65.0, 137.0]]))
    assert usual[0] == pytest.approx(0.05927, abs=5e-6)


def test_the_variogram_that_values_were_made_with():
    # WORKED: fields drawn from nugget 0.3, partial sill 0.7, range 150 m by the Cholesky
    # root of their covariance. A fit to one field strays; to eight, it does not by much.
    rng = np.random.default_rng(5)
    fits = []
    for _ in range(8):
        places = rng.uniform(0, 1000, (300, 2))
        covariance = 0.7 * np.exp(-3 * cdist(places, places) / 150) + 0.3 * np.eye(300)
        values = np.linalg.cholesky(covariance) @ rng.normal(size=300)
        fits.append(fit_variogram(places, values))
    assert np.median([fit.nugget for fit in fits]) == pytest.approx(0.3, abs=0.15)
    assert np.median([fit.nugget + fit.partial_sill for fit in fits]) == pytest.approx(1, abs=0.1)
    assert np.median([fit.range_m for fit in fits]) == pytest.approx(150, abs=40)


def test_the_nugget_has_a_floor():
    places = lattice(20)
    values = np.sin(places[:, 0] / 100)  # no noise at all
    assert fit_variogram(places, values).nugget >= LEAST_NUGGET * values.var()


@pytest.mark.parametrize("field", ["BB.250", "MG.112", "BB.72"])
def test_real_samples_against_other_ways(field):
    # Clay of three fields, LimeSoDa (CC BY-SA 4.0), cross-validated by the folds that come
    # with them, by the nearest sample and by a thin-plate spline of scipy.
    data = load_dataset(field)
    places = data["Coordinates"].to_numpy(dtype=float)
    clay_pct = data["Dataset"]["Clay_target"].to_numpy(dtype=float)
    folds = np.asarray(data["Folds"])
    nearest, spline = np.empty_like(clay_pct), np.empty_like(clay_pct)
    for fold in np.unique(folds):
        out, rest = folds == fold, folds != fold
        nearest[out] = clay_pct[rest][cKDTree(places[rest]).query(places[out])[1]]
        spline[out] = RBFInterpolator(places[rest], clay_pct[rest], smoothing=1)(places[out])

    def off(estimated):
        return np.sqrt(np.mean((estimated - clay_pct) ** 2))

    rmse, bias, r2 = cross_validate(places, clay_pct)
    assert rmse < 0.85 * off(nearest)
    assert rmse < 1.02 * off(spline)
    assert abs(bias) < 0.1 * rmse
    assert r2 == pytest.approx(1 - rmse**2 / clay_pct.var(), abs=0.02)
    assert r2 > 0.5


def test_points_left_out_are_left_out():
    # Noise cannot be foretold: did a point help to tell itself, R² would be far above 0.
    rng = np.random.default_rng(1)
    r2 = [cross_validate(rng.uniform(0, 400, (80, 2)), rng.normal(size=80))[2] for _ in range(6)]
    assert np.median(r2) < 0.02


def test_a_plane_comes_back():
    places = lattice(20)
    grid, checked = krige(points_of(places, places @ [0.02, 0.01]), "conductivity", FIELD, 5.0)
    value = grid.values["conductivity"]
    assert value.shape == (80, 80)
    assert np.isfinite(value).all()
    assert (grid.crs, grid.transform[0], grid.transform[4]) == (LOCAL, 5.0, -5.0)
    expected = centres_of(grid) @ [0.02, 0.01]
    inner = np.abs(centres_of(grid) - 200).max(axis=-1) < 180
    assert value[inner] == pytest.approx(expected[inner], abs=0.1)  # of 12 from end to end
    assert checked.r2 > 0.99
    assert (checked.count, checked.block_m) == (400, None)


def test_noise_gives_its_mean_and_no_map():
    rng = np.random.default_rng(7)
    values = rng.normal(12, 3, 100)
    grid, checked = krige(points_of(lattice(40), values), "conductivity", FIELD, 10.0)
    assert not checked.varies
    assert np.unique(grid.values["conductivity"][:40, :40]) == pytest.approx([values.mean()])
    [sentence] = sentences([noted("conductivity", checked)])
    assert sentence.startswith("Conductivity shows no pattern over 100 points (kriged, R² −0.")
    assert f"their mean, {values.mean():.1f}, is taken" in sentence


def test_values_all_the_same():
    grid, checked = krige(points_of(lattice(40), np.full(100, 0.1)), "conductivity", FIELD, 10.0)
    assert (checked.varies, checked.r2) == (False, 0.0)
    assert checked.rmse == pytest.approx(0)
    assert np.nanmax(grid.values["conductivity"]) == pytest.approx(0.1)


def test_ground_far_from_any_point_is_unknown():
    # WORKED: 20 m apart, the usual distance to the nearest point is some 7.7 m (half of a
    # square of side 20 lies within sqrt(200 / pi) = 8.0 m of its middle), and 4 times that
    # is 31 m. The points end 110 m from the west edge.
    places = lattice(20, width=120)
    grid, checked = krige(points_of(places, places[:, 0]), "conductivity", FIELD, 5.0)
    assert checked.reach_m == pytest.approx(4 * 8.0, abs=2)
    away = cKDTree(places).query(centres_of(grid))[0]
    unknown = np.isnan(grid.values["conductivity"])
    inside = (np.abs(centres_of(grid) - 200) < 200).all(axis=-1)
    assert (unknown[inside] == (away > checked.reach_m)[inside]).all()
    [sentence] = sentences([noted("conductivity", checked)])
    assert f"ground more than {checked.reach_m:.0f} m from any is unknown" in sentence


def test_a_dense_log_reaches_as_far_as_points_may_lie_outside():
    _, checked = krige(points_of(lattice(12), lattice(12)[:, 0]), "conductivity", FIELD, 5.0)
    assert checked.reach_m == MARGIN_M + 5


def test_many_points_are_thinned_to_block_medians():
    # WORKED: 100 x 100 points every 4 m. Blocks of a cell, 5 m, hold 80 x 80 = 6,400; of
    # 5 * 1.25 = 6.25 m, 64 x 64 = 4,096; of 7.8125 m, 52 x 52 = 2,704; of 9.765625 m,
    # 41 x 41 = 1,681, which will do. One reading of a thousand is lost in a median.
    places = lattice(4)
    values = places[:, 0] / 10
    values[5050] = 1000.0
    grid, checked = krige(points_of(places, values), "conductivity", FIELD, 5.0)
    assert checked.count == 1681 <= MOST_POINTS
    assert checked.block_m == pytest.approx(9.765625)
    inner = np.abs(centres_of(grid) - 200).max(axis=-1) < 190
    expected = centres_of(grid)[..., 0] / 10
    assert grid.values["conductivity"][inner] == pytest.approx(expected[inner], abs=0.5)
    [sentence] = sentences([noted("conductivity", checked)])
    assert "the medians of 1,681 blocks of 9.8 m" in sentence


def test_points_without_the_value_do_not_count():
    values = np.where(np.arange(100) < 91, np.nan, 0.2)
    with pytest.raises(LayerError) as text:
        krige(points_of(lattice(40), values, "clay_frac"), "clay_frac", FIELD, 5.0)
    assert str(text.value).startswith("log.csv: 9 points have clay, once cleaned.\n")
    assert "We want at least 10" in str(text.value)


def test_points_in_one_line():
    places = np.column_stack((np.arange(10, 400, 20.0), np.full(20, 200.0)))
    grid, checked = krige(points_of(places, places[:, 0]), "conductivity", FIELD, 5.0)
    assert checked.reach_m == MARGIN_M + 5  # no cell lies among them
    assert np.isfinite(grid.values["conductivity"][40]).all()
    assert np.isnan(grid.values["conductivity"][:30]).all()


def test_points_beside_the_field_reach_its_edge():
    places = np.column_stack((np.full(12, -19.9), np.arange(100, 340, 20.0)))
    grid, _ = krige(points_of(places, places[:, 1]), "conductivity", FIELD, 5.0)
    assert np.isfinite(grid.values["conductivity"]).any(axis=0).sum() == 1  # of 80 columns


def test_a_millimetre_moves_nothing():
    places = lattice(25)
    values = np.sin(places[:, 0] / 60) + places[:, 1] / 200
    one, _ = krige(points_of(places, values), "conductivity", FIELD, 5.0)
    other, _ = krige(
        points_of(places + 0.001, values),
        "conductivity",
        field_of(box(0.001, 0.001, 400.001, 400.001)),
        5.0,
    )
    tables = [
        pd.Series(
            grid.values["conductivity"].ravel(),
            index=map(tuple, centres_of(grid).reshape(-1, 2).round(3)),
        )
        for grid in (one, other)
    ]
    apart = (tables[0] - tables[1]).dropna()
    assert len(apart) > 6000
    assert np.abs(apart).max() < 0.01  # of 3: of points as far as each other, others are taken


def test_kriging_in_batches_agrees_with_pykrige():
    # An implementation of somebody else's, with the same model and the same neighbours.
    from pykrige.ok import OrdinaryKriging

    random = np.random.default_rng(3)
    places, at = random.uniform(0, 500, (300, 2)), random.uniform(0, 500, (400, 2))
    values = 30 + np.sin(places[:, 0] / 60) * 8 + random.normal(0, 1, 300)
    at[0] = places[0]  # a place that was measured gets what all about it say
    theirs = OrdinaryKriging(
        *places.T,
        values,
        variogram_model="exponential",
        variogram_parameters={"psill": 30.0, "range": 200.0, "nugget": 1.5},
        nlags=1,
        exact_values=False,
    ).execute("points", *at.T, backend="loop", n_closest_points=NEIGHBOURS)[0]
    ours = ordinary(places, values, Variogram(1.5, 30.0, 200.0), at)
    assert ours == pytest.approx(np.asarray(theirs), abs=1e-6)
