"""Whether a soil is packed so tight that roots begin to be held back."""

from zoneplan.soil.texture import SoilFacts, texture_class

# By particle-size family. [Mg/m³] National Soil Survey Handbook 618.7, figure 618-A2.
RESTRICTION_STARTS_MG_M3 = {
    "sandy": 1.69,
    "coarse-loamy": 1.63,
    "fine-loamy": 1.60,
    "coarse-silty": 1.60,
    "fine-silty": 1.54,
    "clayey, 35 to 45 % clay": 1.49,
    "clayey, over 45 % clay": 1.39,
}
_NOISE = 1e-9


def particle_size_family(sand_frac: float, silt_frac: float, clay_frac: float) -> str:
    """Name the particle-size family of a soil.

    Parameters
    ----------
    sand_frac, silt_frac, clay_frac : float
        Shares of the fine earth by weight. [0 to 1]

    Raises
    ------
    OutOfRangeError
        Where the three are not the parts of one soil.

    Notes
    -----
    Sands and loamy sands are sandy; 35 % clay and more is clayey; of the rest, under 15 %
    sand is silty and 18 % clay parts coarse from fine. Soil Taxonomy counts very fine sand
    with the silt. Its share is not known here, so all sand counts as sand, and a soil rich
    in very fine sand is called loamy: its limit then lies up to 0.06 Mg/m³ too high.

    Source
    ------
    Soil Taxonomy, particle-size classes (from memory)

    Examples
    --------
    >>> particle_size_family(0.10, 0.65, 0.25)
    'fine-silty'
    """
    if texture_class(sand_frac, silt_frac, clay_frac) in ("sand", "loamy sand"):
        return "sandy"
    if clay_frac > 0.45 + _NOISE:
        return "clayey, over 45 % clay"
    if clay_frac >= 0.35 - _NOISE:
        return "clayey, 35 to 45 % clay"
    fineness = "coarse" if clay_frac < 0.18 - _NOISE else "fine"
    return f"{fineness}-silty" if sand_frac < 0.15 - _NOISE else f"{fineness}-loamy"


def restriction_starts_mg_m3(sand_frac: float, silt_frac: float, clay_frac: float) -> float:
    """Bulk density at which roots begin to be restricted, of a soil as above. [Mg/m³].

    Source
    ------
    National Soil Survey Handbook 618.7, figure 618-A2
    """
    return RESTRICTION_STARTS_MG_M3[particle_size_family(sand_frac, silt_frac, clay_frac)]


def dense(facts: SoilFacts) -> bool | None:
    """Whether bulk density is at or past where roots begin to be restricted.

    `None` where the density or the fractions are not known: nothing is filled here.

    Examples
    --------
    >>> dense(SoilFacts(sand_frac=0.10, silt_frac=0.65, clay_frac=0.25, density_mg_m3=1.60))
    True
    """
    sand, silt, clay = facts.sand_frac, facts.silt_frac, facts.clay_frac
    if facts.density_mg_m3 is None or sand is None or silt is None or clay is None:
        return None
    return facts.density_mg_m3 >= restriction_starts_mg_m3(sand, silt, clay) - _NOISE


def excess_density_mg_m3(density_mg_m3: float, sand_frac: float, clay_frac: float) -> float:
    """How far a measured density lies above where roots begin to be held back. [Mg/m³].

    Parameters
    ----------
    density_mg_m3 : float
        Measured on this field: a survey's density says nothing of what a disc meets.
    sand_frac, clay_frac : float
        Shares of the fine earth by weight. [0 to 1]

    Examples
    --------
    >>> round(excess_density_mg_m3(1.60, 0.10, 0.25), 2)  # fine-silty: starts at 1.54
    0.06
    """
    silt_frac = max(1 - sand_frac - clay_frac, 0.0)
    return max(density_mg_m3 - restriction_starts_mg_m3(sand_frac, silt_frac, clay_frac), 0.0)
