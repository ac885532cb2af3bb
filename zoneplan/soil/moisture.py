"""How wet a soil is when it is dry, moist or wet, and whether it smears then."""

from zoneplan.soil.complete import complete
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Moisture

GATHERED_SHARE = 0.15  # judged
SHED_SHARE = 0.10  # judged


def water_content(facts: SoilFacts, wetness: Moisture, shift: float = 0.0) -> float:
    """Water in a soil at a wetness, by volume. [m³/m³].

    Parameters
    ----------
    facts : SoilFacts
        The soil; what is missing is filled by `complete`.
    wetness : str
        "dry", "moist" or "wet".
    shift : float
        Share of the available water that lies here beside what the wetness means, see
        `moisture_shift`. No ground is drier than the wilting point or wetter than field
        capacity. [-1 to 1]

    Raises
    ------
    OutOfRangeError
        Where neither fractions nor a texture class are known.

    Source
    ------
    Derived: wilting point plus the share of available water in `AVAILABLE_SHARE`, shifted

    Examples
    --------
    >>> round(water_content(SoilFacts(texture="loam"), "moist"), 3)  # 0.137 + 0.75 x 0.143
    0.244
    """
    soil = complete(facts)
    share = min(max(AVAILABLE_SHARE[wetness] + shift, 0.0), 1.0)
    return soil.wilting + share * (soil.capacity - soil.wilting)


def moisture_shift(gathers_water: bool, steep: bool) -> float:
    """Share of the available water that the lie of the land adds or takes. [-1 to 1].

    Source
    ------
    Judged, no source: 0.15 more where water gathers, 0.10 less on steep ground, which
    sheds it. The direction is that of the topographic wetness index (Beven & Kirkby 1979).

    Examples
    --------
    >>> moisture_shift(gathers_water=True, steep=False)
    0.15
    """
    return GATHERED_SHARE * gathers_water - SHED_SHARE * steep


def organic_carbon_pct(organic_pct: float) -> float:
    """Organic carbon in a soil's organic matter, by weight of soil. [%].

    Source
    ------
    National Soil Survey Handbook 618.44

    Examples
    --------
    >>> round(organic_carbon_pct(2.5), 2)
    1.45
    """
    return organic_pct / 1.724


def liquid_limit_pct(
    wilting_pct: float, carbon_pct: float, extensibility_pct: float, clay_frac: float
) -> float:
    """Water by weight at which a soil begins to flow; 0 below 15 %. [%].

    Parameters
    ----------
    wilting_pct : float
        Water at 1500 kPa by weight of dry soil. [%]
    carbon_pct : float
        Organic carbon by weight. [%]
    extensibility_pct : float
        Linear extensibility. [%]
    clay_frac : float
        Clay by weight, without carbonates. [0 to 1]

    Source
    ------
    National Soil Survey Handbook 618.86
    """
    limit = (
        11.60
        + 1.49 * wilting_pct
        + 1.35 * carbon_pct
        + 0.6 * extensibility_pct
        + 0.26 * 100 * clay_frac
    )
    return limit if limit >= 15 else 0.0


def plasticity_index_pct(
    wilting_pct: float, carbon_pct: float, extensibility_pct: float, clay_frac: float
) -> float:
    """Range of water by weight in which a soil can be moulded; 0 below 0.5 %. [%].

    Parameters
    ----------
    wilting_pct, carbon_pct, extensibility_pct, clay_frac : float
        As for `liquid_limit_pct`.

    Source
    ------
    National Soil Survey Handbook 618.86
    """
    index = (
        -1.86
        + 0.69 * wilting_pct
        - 1.19 * carbon_pct
        + 0.13 * extensibility_pct
        + 0.47 * 100 * clay_frac
    )
    return index if index >= 0.5 else 0.0


def plastic_limit_pct(
    wilting_pct: float, carbon_pct: float, extensibility_pct: float, clay_frac: float
) -> float | None:
    """Water by weight past which a soil smears rather than crumbles. [%].

    `None` for a soil that cannot be moulded at any water content.

    Parameters
    ----------
    wilting_pct, carbon_pct, extensibility_pct, clay_frac : float
        As for `liquid_limit_pct`.

    Source
    ------
    Derived: liquid limit less plasticity index

    Examples
    --------
    >>> round(plastic_limit_pct(16.6, 2.0, 5.0, 0.35), 2)
    26.82
    """
    liquid = liquid_limit_pct(wilting_pct, carbon_pct, extensibility_pct, clay_frac)
    index = plasticity_index_pct(wilting_pct, carbon_pct, extensibility_pct, clay_frac)
    return liquid - index if liquid and index else None


def past_plastic_limit(facts: SoilFacts, wetness: Moisture, shift: float = 0.0) -> bool:
    """Whether a soil at this wetness holds more water than its plastic limit: it smears.

    Parameters
    ----------
    facts : SoilFacts
        The soil; what is missing, linear extensibility above all, is filled by `complete`.
    wetness : str
        "dry", "moist" or "wet".
    shift : float
        As for `water_content`.

    Raises
    ------
    OutOfRangeError
        Where neither fractions nor a texture class are known.

    Notes
    -----
    Water by volume is turned to weight by the soil's bulk density. All of a soil's clay is
    taken as free of carbonates. The limit is an estimate: a hand test overrules it.

    Examples
    --------
    >>> past_plastic_limit(SoilFacts(texture="clay loam"), "moist")
    False
    >>> past_plastic_limit(SoilFacts(texture="clay loam"), "wet")
    True
    """
    soil = complete(facts)
    limit_pct = plastic_limit_pct(
        100 * soil.wilting / soil.density_mg_m3,
        organic_carbon_pct(soil.organic_pct),
        soil.extensibility_pct,
        soil.clay_frac,
    )
    water_pct = 100 * water_content(facts, wetness, shift) / soil.density_mg_m3
    return limit_pct is not None and water_pct > limit_pct
