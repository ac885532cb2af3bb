"""The boxes of the page: what each is called, and which one would put an error right."""

from zoneplan.errors import ZoneplanError
from zoneplan.say.figures import capital, listing
from zoneplan.sources import ask_of


def label(parameter: str) -> str:
    """Name the box of a parameter: a field of Request or Sources.

    >>> label("crs"), label("speed_mps"), label("columns.sand")
    ('Coordinate system', 'Speed, mph', 'Sand column')
    """
    ask, key = ask_of(parameter)
    return capital(ask.box.format(key))


def advice(error: ZoneplanError) -> str:
    """Say which box says what was not clear to an error; empty where none does.

    >>> advice(ZoneplanError("It has no system.", parameter="crs", example="EPSG:4326"))
    'Say it in “Coordinate system”: EPSG:4326'
    """
    if not error.parameters:
        return ""
    boxes = listing([f"“{label(parameter)}”" for parameter in error.parameters])
    return f"Say it in {boxes}: {error.example}" if error.example else f"Say it in {boxes}."
