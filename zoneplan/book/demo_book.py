"""A book to look at: twelve invented growers and the sixty fields of the demo county."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from zoneplan import forms
from zoneplan.book.bring_in import bring_in, look_over
from zoneplan.book.database import Book
from zoneplan.book.fields import BY_HAND, State, fields
from zoneplan.book.opening import new_book
from zoneplan.book.outlines import Columns
from zoneplan.book.planning import Progress, plan_all
from zoneplan.book.plans import record_state
from zoneplan.book.soil import add_soil
from zoneplan.book.supply import add_planter, set_conditions
from zoneplan.demo import demo_folder
from zoneplan.errors import LayerError
from zoneplan.forms import Key, need
from zoneplan.plain_file import toml_file
from zoneplan.terms import Tillage

WHO = "demo"
_GENERIC = "generic "  # before the name of a planter that nobody weighed
_CUT = "The demo county was cut short. Install zoneplan again."


@dataclass(frozen=True)
class _Grower:
    name: str
    planter: str
    tillage: str
    residue_pct: int
    speed_mps: float
    state: str | None = None  # what somebody said of all his plans


@dataclass(frozen=True)
class _County:
    season: str
    prepared_by: str
    grower: tuple[_Grower, ...]


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
    book = new_book(address, county.season)
    try:
        delivery = look_over(book, home / "fields.geojson", Columns("grower", "farm", "field"))
        bring_in(book, delivery, who=WHO)
        add_soil(book, home / "survey.zip", who=WHO)
        for grower in county.grower:
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
    states = {grower.name: grower.state for grower in _county().grower if grower.state}
    for field in fields(book):
        if field.grower in states and field.plan_id is not None:
            record_state(book, field, State(states[field.grower]), who=WHO)


def _set_up(book: Book, grower: _Grower, home: Path) -> None:
    generic = grower.planter.startswith(_GENERIC)
    planter: Path | str = (
        grower.planter.removeprefix(_GENERIC) if generic else home / f"{grower.planter}.toml"
    )
    add_planter(book, planter, who=WHO, grower=grower.name)
    asked = {
        "tillage": grower.tillage,
        "residue_frac": grower.residue_pct / 100,
        "speed_mps": grower.speed_mps,
    }
    set_conditions(book, asked, who=WHO, grower=grower.name)


def _home() -> Path:
    return demo_folder() / "county"


def _county() -> _County:
    file = _home() / "growers.toml"
    county: _County = forms.checked(_COUNTY, toml_file(file, LayerError), file.name, LayerError)
    return county


_COUNTY = forms.table(
    {
        "season": need(forms.text, _CUT),
        "prepared_by": need(forms.text, _CUT),
        "grower": need(
            forms.many(
                forms.table(
                    {
                        "name": need(forms.text, _CUT),
                        "planter": need(forms.text, _CUT),
                        "tillage": need(forms.one_of("tillage", tuple(Tillage)), _CUT),
                        "residue_pct": need(forms.whole(0, 100), _CUT),
                        "speed": Key(forms.measure("speed"), "speed_mps", ask=_CUT),
                        "state": Key(forms.one_of("state", BY_HAND)),
                    },
                    _Grower,
                )
            ),
            _CUT,
        ),
    },
    _County,
)
