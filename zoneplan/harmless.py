"""Words from outside, made harmless for where they are shown: one function for each place.

Names, notes, reasons and file names come from files that strangers sent. To a sheet they go as
data; for every other place there is a function here.
"""

import html
import logging
import re
import unicodedata
import warnings
from hashlib import sha256

# All that steers a terminal or turns the direction of what follows, and what no encoding can write:
# control characters but line ends and tabs, marks of direction, line separators, halves of a pair.
_STEERING = re.compile(
    r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)
_PUNCTUATION = re.compile(r"([!-/:-@\[-`{-~])")
_JOINER = "\u2060"  # takes no room, and nothing is broken at it
# What Markdown and the page find in the finished text, whatever is escaped: emoji, icons and
# colours by their names, addresses, and signs that become others.
_FOUND_IN_TEXT = re.compile(r"(?<=[:@])|(?<=\bwww)|(?<=[-<>~])(?=[-<>=])", re.IGNORECASE)


def escape(text: str) -> str:
    r"""Make text look in HTML as it was typed, and change no word beside it.

    >>> escape("<b>40</b>"), escape("40 \u202e")  # which would turn the numbers after it
    ('&lt;b&gt;40&lt;/b&gt;', '40 \\u202e')
    """
    return html.escape(on_terminal(text))


def on_terminal(text: str) -> str:
    r"""Write out every character that would steer a terminal.

    >>> print(on_terminal("North \x1b[2J40"))
    North \x1b[2J40
    """
    return _STEERING.sub(_written_out, text)


def guard_terminal() -> None:
    """Write out what steers a terminal in all that libraries warn of and log: they repeat names.

    Call it at a door, before anything is read.
    """
    warnings.formatwarning = _warning
    if logging.lastResort:
        logging.lastResort.setFormatter(_OnTerminal())


def in_json_line(line: str) -> str:
    r"""Do the same in a line of JSON, which reads as it did.

    >>> import json
    >>> json.loads(in_json_line('"North \x9b2J40"')) == "North \x9b2J40"
    True
    """
    return _STEERING.sub(lambda match: f"\\u{ord(match[0]):04x}", line)


def in_markdown(text: str) -> str:
    r"""Make text look in Markdown as it was typed, in one line: for labels, hints and headings.

    >>> print(in_markdown("north_40*"))
    north\_40\*
    """
    line = " ".join(on_terminal(text).split())
    return _PUNCTUATION.sub(r"\\\1", _FOUND_IN_TEXT.sub(_JOINER, line))


_NOT_IN_NAMES = re.compile(r"[^\w .,()&+'-]")  # of a file, on any disk
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\.|$)")  # names that Windows keeps
_LEFT_ON_DISK = 60  # letters; four bytes each still fit any disk


def in_file_name(text: str, most: int = _LEFT_ON_DISK) -> str:
    """Make text a file's name, or a part of one, on any disk; unlike texts give unlike names.

    Where letters had to go, a mark of the whole text takes their place.

    >>> in_file_name("Creek field, 40 acres"), in_file_name("A/B"), in_file_name("A:B")
    ('Creek field, 40 acres', 'A B-998d3e', 'A B-5a33e1')
    """
    whole = unicodedata.normalize("NFC", text)
    words = " ".join(_NOT_IN_NAMES.sub(" ", whole).split()).strip(" .-")[:most].rstrip(" .-")
    if _DEVICES.match(words):
        words = words.replace(".", " ")
    elif words and words == whole:
        return words
    mark = sha256(whole.encode("utf-8", "surrogatepass")).hexdigest()[:6]
    return f"{words}-{mark}" if words else mark


_LEFT_IN_SHORT = 24  # letters: farm, field and season make one name, on any disk


def in_short_name(text: str) -> str:
    """Make text a part of a file's short name: small letters, figures and hyphens alone.

    >>> in_short_name("Crêt-du-Noyer, 40 acres"), in_short_name("../..")
    ('crêt-du-noyer-40-acres', '')
    """
    words = re.sub(r"[\W_]+", "-", unicodedata.normalize("NFC", text).casefold())
    return unicodedata.normalize("NFC", words).strip("-")[:_LEFT_IN_SHORT].strip("-")


class _OnTerminal(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        return on_terminal(super().format(record))


def _warning(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    line: str | None = None,
) -> str:
    del line  # a line of the program says nothing to who uses it
    return on_terminal(f"{filename}:{lineno}: {category.__name__}: {message}\n")


def _written_out(letter: re.Match[str]) -> str:
    code = ord(letter[0])
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
