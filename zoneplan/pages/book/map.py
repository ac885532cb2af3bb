"""All fields of a book on one map, in one fixed scale of shades, as a picture of few bytes.

Fields of one shade are one path, so that two thousand weigh little.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from streamlit.components.v1 import declare_component
from streamlit.components.v1.custom_component import CustomComponent

from zoneplan.book.fields import BookField, State
from zoneplan.export.picture import (
    INK,
    PAPER,
    STEPS,
    WITHOUT,
    MapClass,
    hatch_patterns,
    shade_of,
    shade_words,
    svg_link,
)
from zoneplan.harmless import escape
from zoneplan.pages.book.standing import Listed, Outlines
from zoneplan.pages.map import legend_rows

Shade = tuple[str, str]  # fill and hatch
WIDTH_PX, MOST_HIGH_PX = 640.0, 560.0
_CHANCES = (0.5, 0.7, 0.8, 0.9)  # where one shade ends and the next begins
_LINE_PX, _CHOSEN_PX = 0.7, 3.0
_MOST_PX = 576  # of the picture's height, as the page's style has it
CLICKED = "book_clicked"


@dataclass(frozen=True)
class Scale:
    """What a map is shaded by. Its shades stand for the same in every book and every year."""

    name: str
    about: str
    of: Callable[[BookField], Shade]
    legend: Sequence[tuple[str, str, str]]  # fill, hatch, words


def _chance(field: BookField) -> Shade:
    chance = _planned(field, "right_chance")
    return WITHOUT if chance is None else STEPS[sum(chance >= bound for bound in _CHANCES)]


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
        lambda field: shade_of(_planned(field, "margin_n")),
        shade_words("us"),
    ),
    "chance": Scale(
        "Chance to be right",
        "How likely the wheels stay down and the soil bears them, by area, over the hopper.",
        _chance,
        [
            *((*shade, words) for shade, words in zip(STEPS, _ENDS, strict=True)),
            (*WITHOUT, "no number"),
        ],
    ),
    "state": Scale(
        "State",
        "How far each plan is.",
        lambda field: _STATES[field.state],
        [(*shade, str(state)) for state, shade in _STATES.items()],
    ),
}


def fields_svg(
    listed: Sequence[Listed], outlines: Outlines, scale: Scale, *, shown: Collection[int]
) -> str:
    """Draw the map: fields that are not shown in the list are left white."""
    px = _pixel(outlines)
    paths: dict[Shade, list[str]] = {}
    for one in listed:
        path = outlines.paths.get(one.id)
        if path:
            shade = scale.of(one.field) if one.id in shown else (PAPER, "plain")
            paths.setdefault(shade, []).append(path)
    body = [hatch_patterns(2.6 * px)]
    for number, ((fill, hatch), several) in enumerate(paths.items()):
        # The outlines are written once: what is drawn of them takes its paint from each use.
        body[0] += f'<path id="s{number}" d="{"".join(several)}" fill-rule="evenodd"/>'
        fills = [fill] if hatch == "plain" else [fill, f"url(#{hatch})"]
        body += [f'<use href="#s{number}" fill="{paint}"/>' for paint in fills]
    edges = "".join(f'<use href="#s{number}"/>' for number in range(len(paths)))
    body.append(f'<g fill="none" stroke="{INK}" stroke-width="{_LINE_PX * px:.2f}">{edges}</g>')
    return _svg(outlines, [f"<defs>{body[0]}</defs>", *body[1:]])


def chosen_svg(outlines: Outlines, chosen: int | None) -> str:
    """Draw a ring round one field, to be laid over the map."""
    px, path = _pixel(outlines), outlines.paths.get(chosen or 0)
    rings = [
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width * px:.2f}"/>'
        for colour, width in ((PAPER, 2 * _CHOSEN_PX), (INK, _CHOSEN_PX))
        if path
    ]
    return _svg(outlines, rings)


def _pixel(outlines: Outlines) -> float:
    west, south, east, north = outlines.box
    return max((east - west) / WIDTH_PX, (north - south) / MOST_HIGH_PX, 0.01)


def _svg(outlines: Outlines, body: Sequence[str]) -> str:
    px, (west, south, east, north) = _pixel(outlines), _frame(outlines)
    width, height = east - west, north - south
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width / px:.0f}" '
        f'height="{height / px:.0f}" viewBox="{west:.1f} {-north:.1f} '
        f'{width:.1f} {height:.1f}">{"".join(body)}</svg>'
    )


def _frame(outlines: Outlines) -> tuple[float, float, float, float]:
    west, south, east, north = outlines.box
    edge = 6.0 * _pixel(outlines)
    return west - edge, south - edge, east + edge, north + edge


def clicks(outlines: Outlines, on_change: Callable[[], None]) -> None:
    """Lay over the map what tells where it is clicked: that stands in the session's CLICKED."""
    west, south, east, north = _frame(outlines)
    _component()(
        wide=east - west, high=north - south, mostPx=_MOST_PX, key=CLICKED, on_change=on_change
    )


def clicked_at(outlines: Outlines, click: Mapping[str, float]) -> list[int]:
    """Give the fields that lie where the map was clicked."""
    west, south, east, north = _frame(outlines)
    across, down = click["across"], click["down"]
    return outlines.at(west + across * (east - west), north - down * (north - south))


@cache
def _component() -> CustomComponent:
    """Declared while a page runs, or the server would not serve it."""
    return declare_component("clicks", path=str(Path(__file__).parents[1] / "browser_fields"))


def ring(svg: str) -> str:
    """Put the ring over the map."""
    return f'<div class="zp-fields"><img alt="" src="{svg_link(svg)}"></div>'


def figure(svg: str, scale: Scale, about: str) -> str:
    """Put the map and its legend on the page."""
    rows = legend_rows(
        (MapClass(words, fill, hatch, ()), escape(words)) for fill, hatch, words in scale.legend
    )
    return (
        f'<figure class="zp-legend zp-fields"><img alt="{escape(about)}" src="{svg_link(svg)}">'
        f"<figcaption>{escape(scale.about)}</figcaption>{rows}</figure>"
    )
