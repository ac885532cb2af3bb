"""How soil feels in the hand when it is dry, moist or wet: what picks a column of the plan.

Source
------
USDA Natural Resources Conservation Service (1998), Estimating Soil Moisture by Feel and
Appearance, in fewer words and partly from memory. Its rows are shares of available water:
dry here is below 50 %, moist 50 to below 100 %, wet 100 % or more. It names fine sand and
loamy fine sand; sandy loam; sandy clay loam, loam and silt loam; clay, clay loam and silty
clay loam. That the other classes go with the nearest of these is judged. The two tests for
"wait" are those of Jasa, University of Nebraska Extension.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Feel:
    """What soils of like texture do when squeezed, and when pressed out between the fingers."""

    textures: tuple[str, ...]
    dry: str
    moist: str


FEELS = (
    Feel(
        ("sand", "loamy sand"),
        "Loose, or a very weak ball.",
        "Weak ball, wet stain, no ribbon.",
    ),
    Feel(
        ("sandy loam",),
        "Weak ball at most, no stain.",
        "Ball, light to medium stain.",
    ),
    Feel(
        ("loam", "silt loam", "silt", "sandy clay loam"),
        "Crumbles or weak ball, no stain.",
        "Pliable ball, stains, may ribbon.",
    ),
    Feel(
        ("clay loam", "silty clay loam", "sandy clay", "silty clay", "clay"),
        "Hard clods or weak ball, no stain.",
        "Smooth ball, stains, ribbons.",
    ),
)
WET = "Wet outline of the ball on the hand."
SQUEEZE = "squeeze soil from planting depth"
TOO_WET = "sticks to the palm, or a ball of it dropped from the waist stays whole"
LANDOWNER = {  # the same for any texture; that a moist ball breaks when dropped is Jasa's
    "dry": "A handful of soil from where the seed goes falls apart, or makes a weak ball at most.",
    "moist": "A handful of soil makes a ball when squeezed, and the ball breaks when dropped.",
    "wet": "A squeezed ball of soil leaves a wet outline on the hand.",
}


def feels_for(textures: Iterable[str | None]) -> list[tuple[str, Feel]]:
    """Find the rows that a field needs, each with the textures of the field it is for.

    >>> [name for name, _ in feels_for(["loam", "clay", "silt loam", None])]
    ['loam, silt loam', 'clay']
    """
    here = set(textures)
    rows = (
        (", ".join(texture for texture in feel.textures if texture in here), feel) for feel in FEELS
    )
    return [(name, feel) for name, feel in rows if name]
