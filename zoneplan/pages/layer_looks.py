"""How layers besides the zones look: a shade and a hatch for each kind of ground, and a legend.

Soils go from pale sand to dark clay, each class with a hatch of its own within its shade, so
that they are told apart in grey too. The colours are our own, and none is one of a margin.
"""

from collections.abc import Mapping

from zoneplan.export.picture import PAPER, MapClass
from zoneplan.harmless import escape
from zoneplan.pages.layer_views import AGREED, NEITHER, NOTHING, UNMARKED, View
from zoneplan.pages.overview import swatch
from zoneplan.pages.words import acres
from zoneplan.soil.texture import GROUP_OF

_FILL_OF = {
    "coarse": "#f8f0d6",
    "moderately coarse": "#e8d3a4",
    "medium": "#d3b37b",
    "moderately fine": "#bd976a",
    "fine": "#a2785a",
}
_HATCH_OF = {
    "sand": "plain",
    "loamy sand": "dots",
    "sandy loam": "rising",
    "loam": "plain",
    "silt loam": "falling",
    "silt": "dots",
    "sandy clay loam": "rising",
    "clay loam": "cross",
    "silty clay loam": "plain",
    "sandy clay": "falling",
    "silty clay": "dots",
    "clay": "cross",
}
_GROUNDS = {
    "organic": ("#c4b8cc", "cross"),
    "water": ("#d3e6ef", "bars"),
    "not soil": ("#dcdcd6", "plus"),
}
_BLANK = {NOTHING: "plus", AGREED: "plain", NEITHER: "plain", UNMARKED: "plain"}
_OTHERS = (  # in turn, for kinds that have no order
    ("#dfe7ea", "dots"),
    ("#cdb38f", "rising"),
    ("#b7c9d3", "falling"),
    ("#e9d9b8", "cross"),
    ("#8fa9b7", "plain"),
    ("#e2cfd3", "bars"),
)


def shades(view: View) -> dict[str, MapClass]:
    """How each kind of ground in a view is drawn, in the order of its legend."""
    return {
        kind: MapClass(f"{kind}, {acres(area_ha)} acres", *_shade(view, kind, place), zones=())
        for place, (kind, area_ha) in enumerate(view.kinds_ha().items())
    }


def layer_legend(view: View, kinds: Mapping[str, MapClass]) -> str:
    """Say what the shades of a view mean, and how much of each there is."""
    rows = "".join(
        f'<li><img alt="" src="{swatch(value)}"><span>{escape(value.label)}</span></li>'
        for value in kinds.values()
    )
    return (
        f'<figure class="zp-legend zp-layers"><figcaption>{escape(view.title)}; dashed: the zones\''
        f" edges</figcaption><ul>{rows}</ul></figure>"
    )


def _shade(view: View, kind: str, place: int) -> tuple[str, str]:
    if kind in _BLANK:
        return PAPER, _BLANK[kind]
    if view.about != "soil":
        return _OTHERS[place % len(_OTHERS)][0], _OTHERS[(place + place // 6) % len(_OTHERS)][1]
    if kind in GROUP_OF:
        return _FILL_OF[GROUP_OF[kind]], _HATCH_OF[kind]
    return _GROUNDS.get(kind, (PAPER, "plus"))
