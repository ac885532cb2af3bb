"""A book to look at: twelve invented growers and the sixty fields of the demo county."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from zoneplan import forms
from zoneplan.batch import Progress
from zoneplan.book.bring_in import bring_in, look_over
from zoneplan.book.database import Book
from zoneplan.book.fields import State, fields
from zoneplan.book.opening import new_book
from zoneplan.book.outlines import Columns
from zoneplan.book.planning import plan_all
from zoneplan.book.plans import record_state
from zoneplan.book.soil import add_soil
from zoneplan.book.supply import add_planter, set_conditions
from zoneplan.demo import demo_folder
from zoneplan.errors import LayerError
from zoneplan.plain_file import toml_file

WHO = "demo"
_GENERIC = "generic "  # before the name of a planter that nobody weighed


def new_demo_book(address: str | Path) -> Book:
    """Make a book of the demo county, with everything that its fields are planned from.

    Raises
    ------
    BookError
        When something is there already.
    LayerError
        When the demo county was not installed with the program.
    """
    county, home = _county(), _home()
    book = new_book(address, county["season"])
    try:
        delivery = look_over(book, home / "fields.geojson", Columns("grower", "farm", "field"))
        bring_in(book, delivery, who=WHO)
        add_soil(book, home / "survey.zip", who=WHO)
        for grower in county["grower"]:
            _set_up(book, grower, home)
    except BaseException:
        book.close()
        raise
    return book


def plan_demo_book(
    book: Book, workers: int | None = None, watch: Callable[[Progress], None] = lambda _: None
) -> None:
    """Plan its fields, and say of some plans what people would."""
    plan_all(book, who=WHO, workers=workers, watch=watch)
    states = {grower["name"]: grower.get("state") for grower in _county()["grower"]}
    for field in fields(book):
        state = states[field.grower]
        if state and field.plan_id is not None:
            record_state(book, field, State(state), who=WHO)


def _set_up(book: Book, grower: dict[str, Any], home: Path) -> None:
    name, planter = grower["name"], grower["planter"]
    generic = planter.startswith(_GENERIC)
    file = planter.removeprefix(_GENERIC) if generic else home / f"{planter}.toml"
    add_planter(book, file, who=WHO, grower=name)
    speed_mps = forms.checked(forms.measure("speed"), grower["speed"], name, LayerError)
    asked = {
        "tillage": grower["tillage"],
        "residue_frac": grower["residue_pct"] / 100,
        "speed_mps": speed_mps,
    }
    set_conditions(book, asked, who=WHO, grower=name)


def _home() -> Path:
    return demo_folder() / "county"


def _county() -> dict[str, Any]:
    return toml_file(_home() / "growers.toml", LayerError)
