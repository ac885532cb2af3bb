"""What the notices of the soil say: what was assumed of it, and what a blend leaves out."""

from collections.abc import Mapping
from typing import Any

from zoneplan.say.figures import Template

_IS = {
    "soil": "is soil",
    "organic": "is organic",
    "water": "is water",
    "not soil": "is not soil",
    "no data": "has no data",
}


def _by_class(values: Mapping[str, Any]) -> str:
    return (
        f"{{share:small share}} of {_whole(values)} is known by texture class only: left out of "
        "sand, silt and clay"
    )


def _other_ground(values: Mapping[str, Any]) -> str:
    return f"{{share:small share}} of {_whole(values)} {_IS[values['ground']]}"


def _whole(values: Mapping[str, Any]) -> str:
    """The name of what was blended, where it has one."""
    return "it" if values["whole"] is None else "{whole}"


SOIL: dict[str, Template] = {
    "texture-from-class": "only the texture class is known: {sand_frac:share} sand and "
    "{clay_frac:share} clay taken for {texture}",
    "clay-out-of-range": "{clay_frac:share} clay is outside the equations' range: "
    "{taken_sand_frac:share} sand and {taken_clay_frac:share} clay taken for {texture}",
    "organic-unknown": "organic matter is not known: {taken_pct:ratio} % assumed",
    "organic-out-of-range": "organic matter {organic_pct:ratio} % is outside the equations' range: "
    "{taken_pct:ratio} % taken",
    "extensibility-unknown": "linear extensibility is not known: {taken_pct:ratio} % assumed",
    "density-unknown": "bulk density is not known: {taken_mg_m3:ratio} Mg/m³ taken from the "
    "texture",
    "density-out-of-range": "bulk density {density_mg_m3:ratio} Mg/m³ is outside "
    "{least_factor:ratio} to {most_factor:ratio} times the {expected_mg_m3:ratio} expected of the "
    "texture: water worked out as for {taken_mg_m3:ratio}",
    "water-out-of-range": "outside the water equations' range: water taken as for a typical "
    "{texture}",
    "one-strength-model": "only one of the two strength models holds for this soil: how far they "
    "differ here is not known",
    "part-by-class": _by_class,
    "part-other-ground": _other_ground,
}
