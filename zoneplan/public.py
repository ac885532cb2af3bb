"""What public services give in the place of files, where a person names them in a job's sources.

The words are SURVEY among the soils and SERVICE for the elevation. Only this module and the
doors that call it lead to a service; `run` itself asks nobody.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from zoneplan.errors import ZoneplanError
from zoneplan.field.service.answer import SurveyAnswer
from zoneplan.field.service.cover import GROWN_M
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
    told = []
    if survey:
        told.append(
            f"the outline, grown by {GROWN_M:g} m, goes to {host_of(SOIL_SERVICE.base())} for soils"
        )
    if heights:
        told.append(f"the box around it goes to {host_of(HEIGHT_SERVICE.base())} for heights")
    return f"The field's place leaves this machine: {', and '.join(told)}." if told else ""


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
    fields: dict[int, Field] = {}
    results: list[Sources | ZoneplanError] = [sources for _, sources in jobs]
    for number, (request, sources) in enumerate(jobs):
        if asks_services(sources):
            try:
                fields[number] = read_outline(request, sources)
            except ZoneplanError as error:
                results[number] = error
    surveyed = [number for number in fields if wants_survey(jobs[number][1])]
    answers = (
        SoilService(refresh=refresh, offline=offline).surveys([fields[it] for it in surveyed])
        if surveyed
        else []
    )
    for number, answer in zip(surveyed, answers, strict=True):
        sources = jobs[number][1]
        results[number] = answer if isinstance(answer, ZoneplanError) else _laid(sources, answer)
    if any(wants_heights(jobs[number][1]) for number in fields):
        heights = _height_service(refresh=refresh, offline=offline)
        for number, field in fields.items():
            results[number] = _with_heights(results[number], field, heights)
    return results


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


def _laid(sources: Sources, answer: SurveyAnswer) -> Sources:
    """Put an answer where the word stands, so that layers keep their order."""
    upload = _upload(answer)
    return replace(
        sources, soils=tuple(upload if _is(file, SURVEY) else file for file in sources.soils)
    )


def _with_heights(
    sources: Sources | ZoneplanError, field: Field, heights: "HeightService"
) -> Sources | ZoneplanError:
    """Put heights where the word stands, if nothing kept the job from its sources before."""
    if not isinstance(sources, Sources) or not wants_heights(sources):
        return sources
    try:
        return replace(sources, elevation=_upload(heights.heights(field)))
    except ZoneplanError as error:
        return error


def _upload(answer: "SurveyAnswer | HeightsAnswer") -> Upload:
    return Upload(answer.name, answer.content)


def _is(file: File | None, word: Path) -> bool:
    return file == word and not exists(word)
