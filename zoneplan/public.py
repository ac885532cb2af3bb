"""What public services give in the place of files, where a person names them in a job's sources.

The words are SURVEY among the soils and SERVICE for the elevation. Only this module and the
doors that call it lead to a service; `run` itself asks nobody.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from zoneplan.errors import ZoneplanError
from zoneplan.field.service.answer import SurveyAnswer
from zoneplan.field.service.ground import GROWN_M
from zoneplan.field.service.manners import HEIGHT_SERVICE, SOIL_SERVICE, host_of
from zoneplan.field.service.soil import SoilService
from zoneplan.field.shapes import Field
from zoneplan.plain_file import exists
from zoneplan.request import Request
from zoneplan.run import read_outline
from zoneplan.sources import File, Sources, Upload

if TYPE_CHECKING:
    from zoneplan.field.service.elevation import HeightsAnswer, HeightService

SURVEY, SERVICE = Path("survey"), Path("service")  # a file of that name here comes first


def asks_services(sources: Sources) -> bool:
    """Whether a job names a public service."""
    return wants_survey(sources) or wants_heights(sources)


def wants_survey(sources: Sources) -> bool:
    """Whether it names the soil survey."""
    return any(_is(file, SURVEY) for file in sources.soils)


def wants_heights(sources: Sources) -> bool:
    """Whether it names the elevation service."""
    return _is(sources.elevation, SERVICE)


def disclosure(survey: bool, heights: bool) -> str:
    """Say what would be sent, to whom, and that it leaves this machine.

    Raises
    ------
    ServiceError
        For an address of a service that is none.
    """
    parts = []
    if survey:
        parts.append(
            f"the outline (or its box), grown by {GROWN_M:g} m, goes to "
            f"{host_of(SOIL_SERVICE.base())} for soils"
        )
    if heights:
        parts.append(f"the box around it goes to {host_of(HEIGHT_SERVICE.base())} for heights")
    return f"The field's place leaves this machine: {', and '.join(parts)}." if parts else ""


def with_services(
    jobs: Sequence[tuple[Request, Sources]], *, refresh: bool = False, offline: bool = False
) -> list[Sources | ZoneplanError]:
    """Put what services answer in the place of the words that name them.

    All fields are asked about together, so that they share what they have in common.

    Parameters
    ----------
    jobs : sequence of (Request, Sources)
        Those that name no service come back as they are.
    refresh, offline : bool
        Ask again for what is in the cache; ask for nothing that is not.

    Returns
    -------
    list
        For each job, in order, its sources or the error that keeps it from them.
    """
    results: dict[int, Sources | ZoneplanError] = {}
    grounds: dict[int, tuple[Field, Sources]] = {}
    for number, (request, sources) in enumerate(jobs):
        results[number] = sources
        if asks_services(sources):
            try:
                grounds[number] = read_outline(request, sources), sources
            except ZoneplanError as error:
                results[number] = error
    results |= services_on(grounds, refresh=refresh, offline=offline)
    return [results[number] for number in range(len(jobs))]


def services_on(
    grounds: Mapping[int, tuple[Field, Sources]], *, refresh: bool = False, offline: bool = False
) -> dict[int, Sources | ZoneplanError]:
    """Do the same for fields that have been read, each by a number of its own."""
    results: dict[int, Sources | ZoneplanError] = {}
    surveyed = {
        number: field for number, (field, sources) in grounds.items() if wants_survey(sources)
    }
    surveys = surveys_of([*surveyed.values()], refresh=refresh, offline=offline)
    answers = dict(zip(surveyed, surveys, strict=True))
    heights = (
        _height_service(refresh=refresh, offline=offline)
        if any(wants_heights(sources) for _, sources in grounds.values())
        else None
    )
    for number, (field, sources) in grounds.items():
        answer = answers.get(number)
        if isinstance(answer, ZoneplanError):
            results[number] = answer
            continue
        laid = sources if answer is None else _laid(sources, answer)
        results[number] = laid if heights is None else _with_heights(laid, field, heights)
    return results


def without_words(sources: Sources) -> Sources:
    """Leave the words out, as of what many fields share before each has its own."""
    return replace(
        sources,
        soils=tuple(file for file in sources.soils if not _is(file, SURVEY)),
        elevation=None if wants_heights(sources) else sources.elevation,
    )


def surveys_of(
    fields: Sequence[Field], *, refresh: bool = False, offline: bool = False
) -> list[Upload | ZoneplanError]:
    """Ask the public soil survey about many fields at once; for each its answer or an error."""
    if not fields:
        return []
    answers = SoilService(refresh=refresh, offline=offline).surveys(fields)
    return [answer if isinstance(answer, ZoneplanError) else _upload(answer) for answer in answers]


def survey_for(field: Field, *, refresh: bool = False, offline: bool = False) -> Upload:
    """Ask the public soil survey about one field.

    Raises
    ------
    ServiceError
        When it gives none.
    """
    return _upload(SoilService(refresh=refresh, offline=offline).survey(field))


def heights_for(field: Field, *, refresh: bool = False, offline: bool = False) -> Upload:
    """Ask the public elevation service about one field.

    Raises
    ------
    ServiceError
        When it gives none.
    """
    return _upload(_height_service(refresh=refresh, offline=offline).heights(field))


def _height_service(*, refresh: bool, offline: bool) -> "HeightService":
    from zoneplan.field.service.elevation import HeightService  # noqa: PLC0415 it brings rasterio

    return HeightService(refresh=refresh, offline=offline)


def _laid(sources: Sources, upload: Upload) -> Sources:
    """Put an answer where the word stands, so that layers keep their order."""
    return replace(
        sources, soils=tuple(upload if _is(file, SURVEY) else file for file in sources.soils)
    )


def _with_heights(
    sources: Sources, field: Field, heights: "HeightService"
) -> Sources | ZoneplanError:
    """Put heights where the word stands, if it does."""
    if not wants_heights(sources):
        return sources
    try:
        return replace(sources, elevation=_upload(heights.heights(field)))
    except ZoneplanError as error:
        return error


def _upload(answer: "SurveyAnswer | HeightsAnswer") -> Upload:
    return Upload(answer.name, answer.content)


def _is(file: File | None, word: Path) -> bool:
    return file == word and not exists(word)
