"""How wet each soil of a field is on one usual planting day: drainage and the lie of the land."""

from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Moisture

# Share of the available water beside that of a well drained soil: judged. The classes are
# those of the National Soil Survey Handbook 618.19, but for ground under water.
DRAINAGE_SHIFT = {
    "excessively": -0.25,
    "somewhat excessively": -0.15,
    "well": 0.0,
    "moderately well": 0.0,
    "somewhat poorly": 0.10,
    "poorly": 0.20,
    "very poorly": 0.25,
}
TILED_SHARE = 0.5  # judged: what tile leaves of a wet soil's extra water
GATHERED_SHARE = 0.15  # judged: more where water gathers
SHED_SHARE = 0.10  # judged: less on steep ground


def drainage_shift(drainage: str | None, tiled: bool = False) -> float | None:
    """Share of available water that a drainage class adds or takes on one day. [-0.25 to 0.25].

    `None` where the class is not known.

    Parameters
    ----------
    drainage : str or None
        As a survey writes it: "Somewhat poorly drained".
    tiled : bool
        Whether the ground is said to be tile-drained. Tile takes water away and brings
        none: a class drier than well drained stays as it is.

    Source
    ------
    Judged, no source

    Examples
    --------
    >>> drainage_shift("Poorly drained"), drainage_shift("Poorly drained", tiled=True)
    (0.2, 0.1)
    """
    name = (drainage or "").lower().strip().removesuffix("drained").strip()
    shift = DRAINAGE_SHIFT.get(name)
    if shift is None:
        return None
    return shift * TILED_SHARE if tiled and shift > 0 else shift


def usual_share(
    drainage: str | None,
    *,
    tiled: bool = False,
    gathers_water: bool = False,
    steep: bool = False,
) -> float:
    """Share of the available water that is there on a usual planting day. [0.35 to 1].

    Parameters
    ----------
    drainage, tiled : str or None, bool
        As for `drainage_shift`; where the class is not known it shifts nothing.
    gathers_water, steep : bool
        The lie of the land. The direction is that of the topographic wetness index (Beven &
        Kirkby 1979).

    Source
    ------
    Judged, no source; held between what dry and wet stand for

    Examples
    --------
    >>> round(usual_share("Somewhat poorly drained"), 2)
    0.85
    """
    dry, moist, wet = (AVAILABLE_SHARE[column] for column in Moisture)
    shift = drainage_shift(drainage, tiled) or 0.0
    land = GATHERED_SHARE * gathers_water - SHED_SHARE * steep
    return min(max(moist + shift + land, dry), wet)


def between_columns(available_share: float, dry: float, moist: float, wet: float) -> float:
    """Read a number that is kept for dry, moist and wet at any share in between.

    Parameters
    ----------
    available_share : float
        Share of the available water; past the columns the nearest one holds. [0 to 1]
    dry, moist, wet : float
        The number in the three columns, in one unit.

    Source
    ------
    Derived: straight lines between the shares that the columns stand for

    Examples
    --------
    >>> round(between_columns(0.85, 120, 105, 100), 6)
    103.0
    """
    at_dry, at_moist, at_wet = (AVAILABLE_SHARE[column] for column in Moisture)
    if available_share <= at_moist:
        along = max((available_share - at_dry) / (at_moist - at_dry), 0.0)
        return dry + along * (moist - dry)
    along = min((available_share - at_moist) / (at_wet - at_moist), 1.0)
    return moist + along * (wet - moist)
