"""All fields of a book on one map, in one fixed scale of shades, as a picture of few bytes.

Fields of one shade are one path, so that two thousand weigh little.
"""

import base64
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from zoneplan.book.fields import BookField, State
from zoneplan.export.fields_map import WITHOUT, shade_of, shade_words
from zoneplan.export.picture import INK, PAPER, STEPS, MapClass, hatch_patterns, swatch_svg
from zoneplan.harmless import escape
from zoneplan.pages.given_book import Listed, Outlines

Shade = tuple[str, str]  # fill and hatch
WIDTH_PX, MOST_HIGH_PX = 640.0, 560.0
_CHANCES = (0.5, 0.7, 0.8, 0.9)  # where one shade ends and the next begins
_LINE_PX, _CHOSEN_PX = 0.7, 3.0


@dataclass(frozen=True)
class Scale:
    """What a map is shaded by. Its shades stand for the same in every book and every year."""

    name: str
    about: str
    of: Callable[[BookField], Shade]
    legend: Sequence[tuple[str, str, str]]  # fill, hatch, words


def _margin(field: BookField) -> Shade:
    return shade_of(_planned(field, "margin_n"))


def _chance(field: BookField) -> Shade:
    chance = _planned(field, "right_chance")
    return WITHOUT if chance is None else STEPS[sum(chance >= bound for bound in _CHANCES)]


def _state(field: BookField) -> Shade:
    return _STATES[field.state]


def _planned(field: BookField, what: str) -> float | None:
    """What a plan comes to, at the moisture that it is planned for."""
    if not field.totals or field.state is State.OUT_OF_DATE:
        return None
    value: float | None = field.totals["moistures"][field.totals["planned"]][what]
    return value


_STATES: dict[State, Shade] = {
    State.TO_PLAN: WITHOUT,
    State.OUT_OF_DATE: (PAPER, "plus"),
    State.PLANNED: STEPS[0],
    State.REVIEWED: STEPS[1],
    State.AGREED: STEPS[3],
    State.SENT: STEPS[4],
}
_ENDS = ("below 50 %", "50 to 70 %", "70 to 80 %", "80 to 90 %", "90 % and more")
SCALES = {
    "margin": Scale(
        "Margin",
        "Mean margin target by area, at the moisture that is planned for.",
        _margin,
        shade_words("us"),
    ),
    "chance": Scale(
        "Chance to be right",
        "How likely the margin left lies inside the window, by area, over the hopper.",
        _chance,
        [
            *((*shade, words) for shade, words in zip(STEPS, _ENDS, strict=True)),
            (*WITHOUT, "no number"),
        ],
    ),
    "state": Scale(
        "State",
        "How far each plan is.",
        _state,
        [(*shade, str(state)) for state, shade in _STATES.items()],
    ),
}


def fields_svg(
    listed: Sequence[Listed],
    outlines: Outlines,
    scale: Scale,
    *,
    shown: Collection[int],
    chosen: int | None,
) -> str:
    """Draw the map: fields that are not shown in the list are left white, the chosen one ringed."""
    west, south, east, north = outlines.box
    px = max((east - west) / WIDTH_PX, (north - south) / MOST_HIGH_PX, 0.1)  # metres to a pixel
    edge = 6.0 * px
    paths: dict[Shade, list[str]] = {}
    for one in listed:
        path = outlines.paths.get(one.id)
        if path:
            shade = scale.of(one.field) if one.id in shown else (PAPER, "plain")
            paths.setdefault(shade, []).append(path)
    body = [f"<defs>{hatch_patterns(2.6 * px)}</defs>"]
    for (fill, hatch), several in paths.items():
        path = "".join(several)
        body.append(
            f'<path d="{path}" fill="{fill}" fill-rule="evenodd" stroke="{INK}" '
            f'stroke-width="{_LINE_PX * px:.1f}"/>'
        )
        if hatch != "plain":
            body.append(f'<path d="{path}" fill="url(#{hatch})" fill-rule="evenodd"/>')
    if chosen in outlines.paths:
        for colour, width in ((PAPER, 2 * _CHOSEN_PX), (INK, _CHOSEN_PX)):
            body.append(
                f'<path d="{outlines.paths[chosen]}" fill="none" stroke="{colour}" '
                f'stroke-width="{width * px:.1f}"/>'
            )
    width, height = east - west + 2 * edge, north - south + 2 * edge
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width / px:.0f}" '
        f'height="{height / px:.0f}" viewBox="{west - edge:.0f} {-north - edge:.0f} '
        f'{width:.0f} {height:.0f}">{"".join(body)}</svg>'
    )


def figure(svg: str, scale: Scale, about: str) -> str:
    """Put the map and its legend on the page."""
    swatches = "".join(
        f'<li><img alt="" src="{_address(swatch_svg(MapClass(words, fill, hatch, ())))}">'
        f"{escape(words)}</li>"
        for fill, hatch, words in scale.legend
    )
    return (
        f'<figure class="zp-legend zp-fields"><img alt="{escape(about)}" src="{_address(svg)}">'
        f"<figcaption>{escape(scale.about)}</figcaption><ul>{swatches}</ul></figure>"
    )


def _address(svg: str) -> str:
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"
