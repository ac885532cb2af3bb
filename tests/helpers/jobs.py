"""Jobs on demo fields and on files of one's own, and the plans that come of them."""

from tests.pages.uploads import DEMOS
from zoneplan.request import Request
from zoneplan.run import Job, run
from zoneplan.sources import Sources, Upload


def demo_job(name, machine=None, rules=(), checks=(), **request):
    """A job on a demo field, with its own planter unless another is named."""
    demo = DEMOS[name]
    sources = Sources(
        machine or demo.machine,
        boundary=demo.boundary,
        soils=(demo.survey,),
        rules=tuple(rules),
        checks=tuple(checks),
    )
    return Job(Request(**request), sources)


def job(machine="springs", request=None, **files):
    """A job on files of one's own."""
    return Job(request or Request(), Sources(machine, **files))


def run_of(job):
    """What comes of a job."""
    return run(job.request, job.sources)


def plan_of(job):
    """The plan that comes of it."""
    return run_of(job).plan


def sent(upload):
    """A file as a browser sent it."""
    return Upload(*upload[:2])
