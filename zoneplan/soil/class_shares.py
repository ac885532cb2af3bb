"""How much of a sample's own error lies in each texture class: rules meet without a step.

Sand and clay are known to a few per cent. A number that is kept by texture class is the mean
over the classes that the soil may be, so that no line of the triangle is a step in a plan.
"""

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zoneplan.soil.texture import TEXTURES

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
        [np.count_nonzero(holds & inside, axis=1) for holds in _rules(sand, silt, clay)], axis=1
    )
    return np.asarray(counts / counts.sum(axis=1, keepdims=True), float)


@lru_cache(maxsize=4096)
def shares_of_point(sand_frac: float, clay_frac: float) -> Mapping[str, float]:
    """Give one soil's classes and their shares, the largest first; see `class_shares`.

    Examples
    --------
    >>> list(shares_of_point(0.39, 0.27))
    ['clay loam', 'loam']
    """
    shares = dict(zip(TEXTURES, class_shares(sand_frac, clay_frac)[0].tolist(), strict=True))
    largest_first = sorted(shares, key=lambda name: -shares[name])
    return MappingProxyType({name: shares[name] for name in largest_first if shares[name]})


def shares_of_class(texture: str) -> Mapping[str, float]:
    """Shares of a soil that is known by its class only: all of it is that class.

    Its class point stands near a line for some classes, and nobody measured it: what the
    rule says of the class is what is known.

    >>> shares_of_class("sand")
    {'sand': 1.0}
    """
    return {texture: 1.0}


def texture_classes(
    sand_frac: NDArray[np.float64], silt_frac: NDArray[np.float64], clay_frac: NDArray[np.float64]
) -> NDArray[np.intp]:
    """Name the class of many soils at once, by its place in `TEXTURES`; see `texture_class`.

    >>> TEXTURES[texture_classes(np.array([0.2]), np.array([0.65]), np.array([0.15]))[0]]
    'silt loam'
    """
    total = sand_frac + silt_frac + clay_frac
    silt, clay = (np.round(part / total, _DIGITS) for part in (silt_frac, clay_frac))
    return np.asarray(np.argmax(_rules(1 - silt - clay, silt, clay), axis=0), np.intp)


def _rules(
    sand_frac: NDArray[np.float64], silt_frac: NDArray[np.float64], clay_frac: NDArray[np.float64]
) -> list[NDArray[Any]]:
    """Whether each class holds, in the order of `TEXTURES`: the rules of `texture_class`."""
    sand, silt, clay = (
        np.round(100 * share, _DIGITS - 2) for share in (sand_frac, silt_frac, clay_frac)
    )
    silt_and_15_clay = np.round(silt + 1.5 * clay, _DIGITS - 2)
    silt_and_2_clay = np.round(silt + 2 * clay, _DIGITS - 2)
    return [
        silt_and_15_clay < 15,
        (silt_and_15_clay >= 15) & (silt_and_2_clay < 30),
        (silt_and_2_clay >= 30)
        & (((clay >= 7) & (clay < 20) & (sand > 52)) | ((clay < 7) & (silt < 50))),
        (clay >= 7) & (clay < 27) & (silt >= 28) & (silt < 50) & (sand <= 52),
        ((silt >= 50) & (clay >= 12) & (clay < 27)) | ((silt >= 50) & (silt < 80) & (clay < 12)),
        (silt >= 80) & (clay < 12),
        (clay >= 20) & (clay < 35) & (silt < 28) & (sand > 45),
        (clay >= 27) & (clay < 40) & (sand > 20) & (sand <= 45),
        (clay >= 27) & (clay < 40) & (sand <= 20),
        (clay >= 35) & (sand > 45),
        (clay >= 40) & (silt >= 40),
        (clay >= 40) & (sand <= 45) & (silt < 40),
    ]
