"""Words that a landowner never reads: whoever plants knows them, and others have plainer ones."""

import re

TRADE = (
    "margin",
    "downforce",
    "gauge wheel",
    "opener",
    "plastic limit",
    "refill",
    "swing",
    "judged",
    "digest",
    "checksum",
    "krig",
    "coarse",
    "texture",
    "treatment",
    "override",
    "steady",
    "residue",
    "setpoint",
    "polygon",
    "raster",
    "kpa",
    "newton",
)


def trade_in(text: str) -> list[str]:
    """Find the words of the trade in a text."""
    return [word for word in TRADE if re.search(rf"\b{word}", text.lower())]
