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
    "part-by-class": _by_class,
    "part-other-ground": _other_ground,
}
