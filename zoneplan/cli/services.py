"""Public services that the options name: what is said before they are asked."""

from pathlib import Path

from zoneplan.cli.terminal import echo
from zoneplan.plain_file import exists
from zoneplan.sources import Sources


def names_services(sources: Sources) -> bool:
    """Whether any is named. A file or folder of such a name comes first, and that is said."""
    named = False
    for option, word, files in (
        ("--soil", "survey", sources.soils),
        ("--elevation", "service", (sources.elevation,)),
    ):
        if Path(word) not in files:
            continue
        if exists(Path(word)):
            echo(
                f"{option} {word}: what is here under that name is read; no service is asked.",
                err=True,
            )
        else:
            named = True
    return named


def disclose(sources: Sources, *, offline: bool) -> None:
    """Say what leaves this machine, and to whom, before it does."""
    from zoneplan.public import disclosure, wants_heights, wants_survey

    if not offline:
        echo(disclosure(wants_survey(sources), wants_heights(sources)), err=True)
