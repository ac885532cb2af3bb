"""How much of a sample's own error lies in each texture class: rules meet without a step.

Sand and clay are known to a few per cent. A number that is kept by texture class is the mean
over the classes that the soil may be, so that no line of the triangle is a step in a plan.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zoneplan.soil.texture import TEXTURES, class_rules

SAND_ERROR_FRAC = 0.06  # judged: as far as a sample or a map may be off, either way
CLAY_ERROR_FRAC = 0.04
POINTS = 17  # along each: with 9, ceilings 40 lb apart step by 7 lb in half a per cent
_DIGITS = 6  # of a share: finer than any laboratory, coarser than float noise
_STEPS = np.linspace(-1.0, 1.0, POINTS)
_SAND_OFF, _CLAY_OFF = (
    off.ravel() for off in np.meshgrid(SAND_ERROR_FRAC * _STEPS, CLAY_ERROR_FRAC * _STEPS)
)


def class_shares(sand_frac: ArrayLike, clay_frac: ArrayLike) -> NDArray[np.float64]:
    """Share of each texture class within the error of sand and clay. [0 to 1].

    Parameters
    ----------
    sand_frac, clay_frac : array of shape (n,)
        Shares of the fine earth by weight. [0 to 1]

    Returns
    -------
    array of shape (n, 12)
        In the order of `TEXTURES`; each row is 1 together. Of the 17 × 17 points within ± 6 %
        sand and ± 4 % clay, those outside the triangle are left out.

    Source
    ------
    Judged

    Examples
    --------
    >>> shares = class_shares([0.44, 0.39], [0.18, 0.27])  # a loam, and one on the line
    >>> [round(float(share), 2) for share in shares[:, TEXTURES.index("loam")]]
    [1.0, 0.47]
    """
    sand = np.round(np.atleast_1d(np.asarray(sand_frac, float))[:, None] + _SAND_OFF, _DIGITS)
    clay = np.round(np.atleast_1d(np.asarray(clay_frac, float))[:, None] + _CLAY_OFF, _DIGITS)
    silt = np.round(1 - sand - clay, _DIGITS)
    inside = (sand >= 0) & (clay >= 0) & (silt >= 0)
    counts = np.stack(
        [np.count_nonzero(holds & inside, axis=1) for holds in _holds(sand, silt, clay)], axis=1
    )
    return np.asarray(counts / counts.sum(axis=1, keepdims=True), float)


def shares_of_point(sand_frac: float, clay_frac: float) -> tuple[tuple[str, float], ...]:
    """Give one soil's classes and their shares, the largest first; see `class_shares`.

    Examples
    --------
    >>> [name for name, share in shares_of_point(0.39, 0.27)]
    ['clay loam', 'loam']
    """
    shares = zip(TEXTURES, class_shares(sand_frac, clay_frac)[0].tolist(), strict=True)
    return tuple(sorted((each for each in shares if each[1]), key=lambda each: -each[1]))


def texture_classes(
    sand_frac: NDArray[np.float64], silt_frac: NDArray[np.float64], clay_frac: NDArray[np.float64]
) -> NDArray[np.intp]:
    """Name the class of many soils at once, by its place in `TEXTURES`; see `texture_class`.

    >>> TEXTURES[texture_classes(np.array([0.2]), np.array([0.65]), np.array([0.15]))[0]]
    'silt loam'
    """
    total = sand_frac + silt_frac + clay_frac
    silt, clay = (np.round(part / total, _DIGITS) for part in (silt_frac, clay_frac))
    return np.asarray(np.argmax(_holds(1 - silt - clay, silt, clay), axis=0), np.intp)


def _holds(*fractions: NDArray[np.float64]) -> list[Any]:
    """Whether each class holds for sand, silt and clay, in the order of `TEXTURES`."""
    rules = class_rules(*(np.round(100 * share, _DIGITS - 2) for share in fractions))
    return [rules[name] for name in TEXTURES]
