"""What the notices of the zones say: how they came about, and what became of a person's changes."""

from collections.abc import Mapping
from typing import Any

from zoneplan.say.figures import Template

_WOULD = {
    "leave gaps": "the zones would no longer tile the field",
    "make thin parts": "some zone would be thinner than asked",
}


def _before(values: Mapping[str, Any], told: str) -> str:
    """Say of what was so before a person changed the zones that it was."""
    return f"before a person changed the zones: {told}" if values["before_edits"] else told


def _keep(values: Mapping[str, Any]) -> str:
    keeps = "1 zone keeps" if values["zones"] == 1 else "{zones:count} zones keep"
    told = f"{keeps} {{share:share kept}} of the variation in the need for downforce"
    others = [
        f"{{{side}:count}} would keep {{{side}_share:share kept}}"
        for side in ("fewer", "more")
        if values[side] is not None
    ]
    return _before(values, "; ".join([told, ", ".join(others)]) if others else told)


def _strays(values: Mapping[str, Any]) -> str:
    return _before(
        values,
        "the need for downforce strays from its mean by {strays_n:load} over the field, less than "
        "the {resolution_n:load} that a row unit shows",
    )


def _more_than_asked(values: Mapping[str, Any]) -> str:
    return _before(
        values,
        "{zones:count} zones, though no more than {asked:count} were asked for: other kinds of "
        "ground, other marks and other moistures to wait at do not join",
    )


def _thin(values: Mapping[str, Any]) -> str:
    return _before(
        values,
        "{share:small share} of the field lies in corners and necks of zones that are thinner "
        "than {width_m:width}: whatever is beside them would get as thin",
    )


def _marked_thin(values: Mapping[str, Any]) -> str:
    return _before(
        values,
        "{share:small share} of the field is marked in parts thinner than {width_m:width}: what "
        "is marked keeps its ground",
    )


def _edges(values: Mapping[str, Any]) -> str:
    return _before(
        values,
        "the edges of the zones are left as the layers have them: straightened, "
        f"{_WOULD[values['would']]}",
    )


def _of_part(values: Mapping[str, Any]) -> str:
    have = "have" if len(values["parted"]) > 1 else "has"
    return (
        f"{{changes:changes}}: now of {{zones:zones}} alone, for {{parted:zones}} {have} been "
        "parted from it since; make the same change there where it is meant"
    )


ZONES: dict[str, Template] = {
    "zones-keep": _keep,
    "need-hardly-strays": _strays,
    "more-zones-than-asked": _more_than_asked,
    "thin-parts-left": _thin,
    "thin-marks-kept": _marked_thin,
    "edges-not-straightened": _edges,
    "edit-outside-field": "change {change:count} ({edit}) is left out: its place is outside the "
    "field. Choose one in the zone that it is meant for",
    "split-parts-none": "change {change:count} (split) is left out: its line crosses no zone from "
    "edge to edge. Draw it on past the edges of the zone that it is meant to part",
    "split-leaves-some": "change {change:count} (split) does not part {zones:zones}, which its "
    "line does not cross from edge to edge. Draw it on past the edge where it is meant to",
    "merge-within-zone": "change {change:count} (merge) is left out: both its places are in "
    "{zones:zones} already. Choose a place in each of two neighbours",
    "merge-without-border": "change {change:count} (merge) is left out: {zones:zones} share no "
    "border. Join what lies between them first, or choose two neighbours",
    "later-edit-stands": "{zones:zones}: change {stands:count} stands, and not change "
    "{falls:count}, for the zones that they were made for have been joined; take back the one "
    "that is not meant",
    "edit-of-part": _of_part,
}
