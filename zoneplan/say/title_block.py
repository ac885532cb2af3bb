"""Whose plan it is, who made it and of what planter, as sheets and pages say it."""

from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.say.trade import INVENTED


def whose(title: TitleBlock) -> str:
    """Name grower, farm, season and which plan it is; empty where nobody said.

    >>> whose(TitleBlock(farm="Bogwater Farm", season="2027", revision=2))
    'Bogwater Farm, season 2027, plan 2'
    """
    named = [
        title.grower,
        title.farm,
        title.season and f"season {title.season}",
        which(title),
        day(title),
    ]
    return ", ".join(filter(None, named))


def which(title: TitleBlock) -> str:
    """Say which plan of the season it is, and of what numbers where a book knows them.

    >>> which(TitleBlock(revision=2, digest="0a1b2c3d4e"))
    'plan 2 (0a1b2c3d)'
    """
    if not title.revision:
        return ""
    return f"plan {title.revision}" + (f" ({title.digest[:8]})" if title.digest else "")


def day(title: TitleBlock) -> str:
    """Write the day so that no country reads another.

    >>> import datetime
    >>> day(TitleBlock(dated=datetime.date(2027, 4, 1)))
    '1 Apr 2027'
    """
    if title.dated is None:
        return ""
    return f"{title.dated.day} {_MONTHS[title.dated.month - 1]} {title.dated.year}"


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def whom_to_call(title: TitleBlock) -> str:
    """Name who made it, and where to call them; empty where nobody said.

    >>> whom_to_call(TitleBlock(prepared_by="A. Reed", phone="555 0142"))
    'A. Reed, 555 0142'
    """
    return ", ".join(filter(None, [title.prepared_by, title.phone]))


def in_one_line(title: TitleBlock) -> str:
    """Say all of it in one line; empty where nobody said anything.

    >>> in_one_line(TitleBlock(season="2027", prepared_by="A. Reed"))
    'season 2027; prepared by A. Reed'
    """
    call = whom_to_call(title)
    prepared = f"prepared by {call}" if title.prepared_by else call
    return "; ".join(filter(None, [whose(title), prepared]))


def stamp(plan: Plan) -> str:
    """Say that a plan is of a generic planter; empty for one that somebody weighed."""
    return f"Generic planter, {INVENTED}" if plan.machine.generic else ""
