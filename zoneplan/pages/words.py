"""Loads, areas and soils as the pages say them, and heads and lists in HTML. Unknown is a dash."""

from collections.abc import Iterable, Sequence

from zoneplan.harmless import escape
from zoneplan.say.quantities import UNKNOWN, figure
from zoneplan.say.summary import soil_word
from zoneplan.units import M2_PER_HA, to
from zoneplan.zones.zone import Zone

UNITS = {"us": "lb, psi, acres", "si": "N, kPa, ha"}
_LONGEST = 60


def pounds(load_n: float | None) -> str:
    """Say a load; lift is negative.

    >>> pounds(556.0), pounds(-89.0), pounds(None)
    ('125 lb', '−20 lb', '–')
    """
    return UNKNOWN if load_n is None else figure(load_n, "load", "us")


def about(load_n: float | None) -> str:
    """Say a load that is not known closely, to 5 lb.

    >>> about(561.0), about(-15.0), about(None)
    ('125 lb', '−5 lb', '–')
    """
    return UNKNOWN if load_n is None else figure(load_n, "rough load", "us")


def over(first_n: float, last_n: float, quantity: str = "load") -> str:
    """Say two loads as one stretch, in the order they come in: from a full hopper to refill.

    >>> over(890.0, 445.0), over(445.0, 445.0), over(450.0, 890.0, "rough load")
    ('200 to 100 lb', '100 lb', '100 to 200 lb')
    """
    first, last = (figure(load_n, quantity, "us") for load_n in (first_n, last_n))
    return first if first == last else f"{first.removesuffix(' lb')} to {last}"


def over_the_hopper(full_n: float | None, refill_n: float | None) -> str:
    """Say a load from a full hopper to refill, to 5 lb.

    >>> over_the_hopper(445.0, 890.0), over_the_hopper(445.0, 445.0)
    ('100 lb with the hopper full, 200 lb at refill', '100 lb from a full hopper to refill')
    """
    first, last = about(full_n), about(refill_n)
    if first == last:
        return f"{first} from a full hopper to refill"
    return f"{first} with the hopper full, {last} at refill"


def setting(value: float | None, unit: str) -> str:
    """Say what to set, kept in N or kPa.

    >>> setting(206.8, "kPa"), setting(556.0, "N")
    ('30 psi', '125 lb')
    """
    if value is None or unit == "N":
        return pounds(value)
    return figure(value, "pressure", "us")


def acres(area_ha: float) -> str:
    """Say an area in acres, without the word.

    >>> acres(16.19)
    '40.0'
    """
    return f"{to(area_ha * M2_PER_HA, 'ac', 'area'):.1f}"


def called(zone: Zone) -> str:
    """Say what a zone is: by the name that a person gave it, and by its soil."""
    return f"{zone.name}, {soil_word(zone.facts)}" if zone.name else soil_word(zone.facts)


def shortened(name: str) -> str:
    """Cut a file's name that is too long for its place, and keep its ending.

    >>> shortened("field.geojson"), len(shortened(200 * "x" + ".geojson"))
    ('field.geojson', 60)
    """
    return name if len(name) <= _LONGEST else f"{name[: _LONGEST - 16]}…{name[-15:]}"


def header(title: str, facts: Iterable[str] = ()) -> str:
    """Head a page, as HTML: its title, and some facts in a line below."""
    line = f"<ul>{items(facts)}</ul>" if facts else ""
    return f'<header class="zp-head"><h1>{escape(title)}</h1>{line}</header>'


def bullets(lines: Sequence[str]) -> str:
    """List some lines, as HTML; nothing where there are none."""
    return f"<ul>{items(lines)}</ul>" if lines else ""


def items(lines: Iterable[str]) -> str:
    """Write the items of a list, as HTML."""
    return "".join(f"<li>{escape(line)}</li>" for line in lines)


def pairs(facts: Iterable[tuple[str, str]]) -> str:
    """Write the pairs of a description list: a name in words, and what goes with it as HTML."""
    return "".join(f"<div><dt>{escape(name)}</dt><dd>{value}</dd></div>" for name, value in facts)


def table(kind: str, caption: str, heads: Iterable[str], rows: Iterable[Sequence[str]]) -> str:
    """Write a table, all of it given as HTML; the first cell of a row heads it."""
    columns = "".join(f'<th scope="col">{head}</th>' for head in heads)
    body = "".join(
        f'<tr><th scope="row">{first}</th>{"".join(f"<td>{cell}</td>" for cell in cells)}</tr>'
        for first, *cells in rows
    )
    return (
        f'<table class="{kind}"><caption>{caption}</caption>'
        f"<thead><tr>{columns}</tr></thead><tbody>{body}</tbody></table>"
    )


def count_of(count: int, what: str) -> str:
    """Say how many.

    >>> count_of(1, "part"), count_of(3, "hole")
    ('1 part', '3 holes')
    """
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"


def still_to_give(missing: Sequence[str]) -> str:
    """Say what is still to give; nothing where nothing is.

    >>> still_to_give(["why", "your initials"])
    'Still to give: why, your initials.'
    """
    return f"Still to give: {', '.join(missing)}." if missing else ""
