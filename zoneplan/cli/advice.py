"""Errors as the command line prints them: with the option that would put them right."""

from zoneplan.errors import ZoneplanError


def advised(error: ZoneplanError) -> str:
    """Tell an error, and which option says what was not clear.

    >>> print(advised(ZoneplanError("It has no system.", parameter="crs", example="EPSG:4326")))
    It has no system.
    Say it with --layer-crs EPSG:4326
    """
    from zoneplan.say.figures import listing
    from zoneplan.sources import ask_of

    if not error.parameters:
        return str(error)
    asks = [ask_of(parameter) for parameter in error.parameters]
    options = [ask.option.format(key) for ask, key in asks]
    return f"{error}\nSay it with {listing(options)} {error.example}".rstrip()
