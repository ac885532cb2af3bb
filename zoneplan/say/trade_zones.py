"""What the notices of the zones say: how they came about, and what became of a person's changes."""

from collections.abc import Mapping
from typing import Any

from zoneplan.say.figures import Template

_WOULD = {
    "would not tile": "the zones would no longer tile the field",
    "would be narrow": "some zone would be thinner than asked",
}


def _keep(values: Mapping[str, Any]) -> str:
    told = (
        "{zones:count} zones in {treatments:count} treatments keep {kept_share:share kept} of the "
        "variation in the need for downforce; inside them it strays by about {rms_n:load}"
    )
    if values["fewer"] is not None:
        told += "; {fewer:count} would keep {fewer_share:share kept}"
    return told


def _of_part(values: Mapping[str, Any]) -> str:
    have = "have" if len(values["parted"]) > 1 else "has"
    return (
        f"{{changes:changes}}: now of {{zones:zones}} alone, for {{parted:zones}} {have} been "
        "parted from it since; make the same change there where it is meant"
    )


ZONES: dict[str, Template] = {
    "zones-keep": _keep,
    "one-treatment": "one treatment: what the soils need differs by about {rms_n:load}, and one "
    "setting serves them all. The plan's worth lies in the right level, the three moistures and "
    "the hand check",
    "uniform-ground": "the ground is uniform: a finer soil map would draw no other zones. The "
    "plan's worth lies in the right level, the three moistures and the hand check",
    "more-zones-than-asked": "{zones:count} zones, though no more than {asked:count} were asked "
    "for: other kinds of ground and zones that a person drew do not join",
    "thin-parts-left": "{share:small share} of the field lies in parts of zones that are thinner "
    "than asked: whatever is beside them would get as thin",
    "edges-not-straightened": lambda values: (
        "the edges of the zones are left as the layers have "
        f"them: straightened, {_WOULD[values['would']]}"
    ),
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
