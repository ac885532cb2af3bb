"""Ask the public soil survey for fields of a book, once for all, and keep each field's answer."""

from pathlib import Path

from zoneplan.book.conditions import scope_of_field
from zoneplan.book.database import Book
from zoneplan.book.fields import BookField, boundaries_of, fields
from zoneplan.book.supply import Added, add_soil
from zoneplan.errors import ZoneplanError
from zoneplan.field.outline import field_of
from zoneplan.field.shapes import Field
from zoneplan.plain_file import scratch
from zoneplan.public import surveys_of

FILE = "public soil survey.json"  # one name, so that a later answer takes the place of it


def add_public_soil(
    book: Book,
    *,
    who: str,
    refresh: bool = False,
    offline: bool = False,
    grower: str | None = None,
    farm: str | None = None,
    field: str | None = None,
) -> list[tuple[BookField, Added | ZoneplanError]]:
    """Ask for the soils of fields, and keep each field's answer as a layer of its own.

    Parameters
    ----------
    refresh, offline : bool
        Ask again for what is in the cache; ask for nothing that is not.
    grower, farm, field : str, optional
        Only theirs; names as the book has them.

    Returns
    -------
    list
        Each field, with what was put into the book or what kept it from its soils.

    Raises
    ------
    BookError
        When there is no such grower, farm or field.
    """
    listed = fields(book, grower=grower, farm=farm, field=field)
    shapes = boundaries_of(book, [one.id for one in listed])
    grounds: dict[int, Field] = {}  # as a service is asked about them
    results: dict[int, Added | ZoneplanError] = {}
    for one in listed:
        try:
            grounds[one.id] = field_of(shapes[one.id], one.path, one.path)
        except ZoneplanError as error:
            results[one.id] = error
    asked = [one for one in listed if one.id in grounds]
    answers = surveys_of([*grounds.values()], refresh=refresh, offline=offline)
    with scratch() as room:
        path = Path(room, FILE)
        for one, answer in zip(asked, answers, strict=True):
            if isinstance(answer, ZoneplanError):
                results[one.id] = answer
                continue
            path.write_bytes(answer.content)
            results[one.id] = add_soil(book, path, who=who, scope=scope_of_field(one))
    return [(one, results[one.id]) for one in listed]
