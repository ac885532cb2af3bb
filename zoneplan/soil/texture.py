"""What a soil is made of: SoilFacts, its USDA texture class, and whether it is organic ground."""

import re
from dataclasses import dataclass
from typing import Any

from zoneplan.errors import OutOfRangeError
from zoneplan.notices import Notice
from zoneplan.terms import Ground
from zoneplan.units import percent

GROUNDS = tuple(map(str, Ground))

# The twelve USDA classes and the five groups of the Soil Survey Manual, ch. 3 (the
# grouping from memory). Very fine sandy loam is "medium" there; we know no sand sizes, so
# it goes with the other sandy loams.
GROUP_OF = {
    "sand": "coarse",
    "loamy sand": "coarse",
    "sandy loam": "moderately coarse",
    "loam": "medium",
    "silt loam": "medium",
    "silt": "medium",
    "sandy clay loam": "moderately fine",
    "clay loam": "moderately fine",
    "silty clay loam": "moderately fine",
    "sandy clay": "fine",
    "silty clay": "fine",
    "clay": "fine",
}
TEXTURES = tuple(GROUP_OF)

# Class to (sand_frac, clay_frac): the points at which Saxton & Rawls (2006) print their
# Table 3. For soils that are known by class only.
CLASS_POINT = {
    "sand": (0.88, 0.05),
    "loamy sand": (0.80, 0.05),
    "sandy loam": (0.65, 0.10),
    "loam": (0.40, 0.20),
    "silt loam": (0.20, 0.15),
    "silt": (0.10, 0.05),
    "sandy clay loam": (0.60, 0.25),
    "clay loam": (0.30, 0.35),
    "silty clay loam": (0.10, 0.35),
    "sandy clay": (0.50, 0.40),
    "silty clay": (0.10, 0.45),
    "clay": (0.25, 0.50),
}

_CODES_OF = {  # of a survey
    "sand": "S COS FS VFS",
    "loamy sand": "LS LCOS LFS LVFS",
    "sandy loam": "SL COSL FSL VFSL",
    "loam": "L",
    "silt loam": "SIL",
    "silt": "SI",
    "sandy clay loam": "SCL",
    "clay loam": "CL",
    "silty clay loam": "SICL",
    "sandy clay": "SC",
    "silty clay": "SIC",
    "clay": "C",
}
_CLASS_OF = {code: name for name, codes in _CODES_OF.items() for code in codes.split()}
_SIZES = {"very", "extremely", "slightly", "fine", "medium", "coarse"}
_ROCKS = {"gravelly", "cobbly", "stony", "bouldery", "channery", "flaggy", "cherty", "shaly"}
_MODIFIERS = _SIZES | _ROCKS | {"para" + rock for rock in _ROCKS} | {"mucky", "peaty"}
ORGANIC_PCT = 20.0  # of organic matter by weight: from about here it is peat or muck; judged
_ORGANIC_WORDS = re.compile(r"\b(peat|muck|organic|histosols?|humus)\b")
_ORGANIC_CODES = {"muck", "peat", "mpt", "mpm", "spm", "hpm"}  # of a survey, from memory
_SUM_TOLERANCE = 0.01 + 1e-9  # 1 %, and float noise
_DIGITS = 4  # of a percentage: finer than any laboratory, coarser than float noise
_NOISE = 1e-6  # of a sum of such percentages

MOST_OFF_PCT = 5.0  # judged: further from 100, sand, silt and clay are not the parts of one soil


@dataclass(frozen=True)
class SoilFacts:
    """What is known of the seed zone of one piece of ground; `None` where unknown.

    Fractions run 0 to 1 by weight of the fine earth; `fragments_frac` is rock by volume.
    """

    ground: str = "soil"  # one of GROUNDS; only "soil" ever gets numbers
    texture: str | None = None  # USDA class, "silt loam"; see TEXTURES
    sand_frac: float | None = None
    silt_frac: float | None = None
    clay_frac: float | None = None
    organic_pct: float | None = None  # organic matter by weight
    density_mg_m3: float | None = None  # moist bulk density at 33 kPa
    density_measured: bool = False  # on this field; a survey's density is not what a disc meets
    fragments_frac: float | None = None
    extensibility_pct: float | None = None  # linear extensibility
    liquid_limit_pct: float | None = None  # the survey's, by weight; 0 is non-plastic
    plasticity_index_pct: float | None = None  # the survey's, by weight
    third_bar_pct: float | None = None  # the survey's water at 33 kPa, by weight of fine earth
    drainage: str | None = None  # drainage class, dominant condition
    hydrologic_group: str | None = None  # dominant condition
    rated_share: float = 0.0  # share of this ground with texture data, 0 to 1
    named: str | None = None  # what the source calls it, "L138B Clarion loam, 2 to 6 % slopes"
    notes: tuple[Notice, ...] = ()  # what a reader must know: gaps, flags, assumptions

    def __hash__(self) -> int:
        """By what tells most soils apart: they are looked up by the thousand."""
        return hash((self.named, self.texture, self.sand_frac, self.clay_frac, self.drainage))


def texture_class(sand_frac: float, silt_frac: float, clay_frac: float) -> str:
    """Name the USDA texture class of a soil.

    Parameters
    ----------
    sand_frac, silt_frac, clay_frac : float
        Shares of the fine earth by weight, 1 together. [0 to 1]

    Raises
    ------
    OutOfRangeError
        Where one is negative, or they miss 1 together by more than 0.01.

    Notes
    -----
    A soil on a line belongs to the class above it or to its right: the finer one. So the
    three are scaled to 1 together and rounded to where 0.1 + 0.2 is 0.3. Exactly one rule
    holds for any soil: their order does not matter.

    Source
    ------
    USDA Soil Survey Manual, ch. 3 (rules from memory), checked against the particle-size
    logic of the National Soil Information System; Benham, Ahrens & Nettleton, "Clarification
    of Soil Texture Class Boundaries", NRCS National Soil Survey Center.

    Examples
    --------
    >>> texture_class(0.20, 0.65, 0.15)
    'silt loam'
    >>> texture_class(0.85, 0.15, 0.0)  # on the line between sand and loamy sand
    'loamy sand'
    """
    total = sand_frac + silt_frac + clay_frac
    if not (min(sand_frac, silt_frac, clay_frac) >= 0 and abs(total - 1) <= _SUM_TOLERANCE):
        raise OutOfRangeError(
            f"Sand {percent(sand_frac, 1)}, silt {percent(silt_frac, 1)} and clay "
            f"{percent(clay_frac, 1)} are not the parts of one soil: together they make "
            f"{percent(total, 1)}. We won't guess which is wrong. "
            "Check the columns and whether they hold fractions or percentages."
        )
    silt = round(100 * silt_frac / total, _DIGITS)
    clay = round(100 * clay_frac / total, _DIGITS)
    rules = class_rules(round(100 - silt - clay, _DIGITS), silt, clay)
    return next(name for name, holds in rules.items() if holds)


def class_rules(sand: Any, silt: Any, clay: Any) -> dict[str, Any]:
    """Whether each USDA class holds, of a soil or of arrays of soils; exactly one does.

    Parameters
    ----------
    sand, silt, clay : float or array
        Shares of the fine earth by weight, 100 together, rounded as `texture_class` has it. [%]

    Source
    ------
    As `texture_class`
    """
    silt_and_15_clay = silt + 1.5 * clay + _NOISE
    silt_and_2_clay = silt + 2 * clay + _NOISE
    return {
        "sand": silt_and_15_clay < 15,
        "loamy sand": (silt_and_15_clay >= 15) & (silt_and_2_clay < 30),
        "sandy loam": (silt_and_2_clay >= 30)
        & (((clay >= 7) & (clay < 20) & (sand > 52)) | ((clay < 7) & (silt < 50))),
        "loam": (clay >= 7) & (clay < 27) & (silt >= 28) & (silt < 50) & (sand <= 52),
        "silt loam": ((silt >= 50) & (clay >= 12) & (clay < 27))
        | ((silt >= 50) & (silt < 80) & (clay < 12)),
        "silt": (silt >= 80) & (clay < 12),
        "sandy clay loam": (clay >= 20) & (clay < 35) & (silt < 28) & (sand > 45),
        "clay loam": (clay >= 27) & (clay < 40) & (sand > 20) & (sand <= 45),
        "silty clay loam": (clay >= 27) & (clay < 40) & (sand <= 20),
        "sandy clay": (clay >= 35) & (sand > 45),
        "silty clay": (clay >= 40) & (silt >= 40),
        "clay": (clay >= 40) & (sand <= 45) & (silt < 40),
    }


def texture_point(facts: SoilFacts) -> tuple[float, float]:
    """Sand and clay that stand for what is known of a soil. [0 to 1, 0 to 1].

    Parameters
    ----------
    facts : SoilFacts
        A soil known by sand and clay, or at least by its texture class.

    Raises
    ------
    OutOfRangeError
        Where neither is known.

    Notes
    -----
    Sand, silt and clay that miss 1 together by a rounding are scaled to it. A soil that is
    known by class only stands at the class point of Saxton & Rawls (2006), Table 3.

    Examples
    --------
    >>> texture_point(SoilFacts(texture="clay loam"))
    (0.3, 0.35)
    """
    if facts.sand_frac is not None and facts.clay_frac is not None:
        total = 1.0
        if facts.silt_frac is not None:
            total = facts.sand_frac + facts.silt_frac + facts.clay_frac
        return facts.sand_frac / total, facts.clay_frac / total
    if facts.texture in CLASS_POINT:
        return CLASS_POINT[facts.texture]
    raise OutOfRangeError(
        f"{facts.named or 'This ground'} has no texture, so neither its water nor its "
        "strength can be worked out. Give it a USDA texture class, or sand, silt and clay."
    )


def textures_of(group: str) -> tuple[str, ...]:
    """Name the texture classes of a group.

    >>> textures_of("medium")
    ('loam', 'silt loam', 'silt')
    """
    return tuple(texture for texture, own_group in GROUP_OF.items() if own_group == group)


def texture_name(text: str) -> str | None:
    """Find the USDA class behind what a map writes: a name or a survey code.

    Sizes of sand and rock or muck modifiers are dropped. `None` where no single mineral
    class is left.

    >>> texture_name("Fine sandy loam"), texture_name("SICL"), texture_name("GRV-LCOS")
    ('sandy loam', 'silty clay loam', 'loamy sand')
    >>> texture_name("mucky peat") is None
    True
    """
    modifier, _, code = text.strip().upper().rpartition("-")
    stratified = modifier.startswith("SR")  # more than one texture
    if code in _CLASS_OF and not stratified:
        return _CLASS_OF[code]
    words = text.lower().replace("-", " ").replace("_", " ").split()
    name = " ".join(word for word in words if word not in _MODIFIERS)
    return name if name in GROUP_OF else None


def is_organic(organic_pct: float | None) -> bool:
    """Whether ground with so much organic matter is peat or muck, and no mineral soil.

    >>> is_organic(22), is_organic(19.9), is_organic(None)
    (True, False, False)
    """
    return organic_pct is not None and organic_pct >= ORGANIC_PCT


def names_organic(text: str) -> bool:
    """Whether a word that is no texture class means peat or muck.

    >>> names_organic("Sapric muck"), names_organic("mucky peat"), names_organic("gravel")
    (True, True, False)
    """
    plain = text.strip().lower()
    return plain in _ORGANIC_CODES or _ORGANIC_WORDS.search(plain) is not None
