"""Sentences: a template's `{margin_n:load}` becomes "100 lb"; rows of things, zones by number."""

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from itertools import groupby
from string import Formatter
from typing import Any

from zoneplan.say.quantities import (
    ROUNDS,
    figure,
    number,
    out_of_ten,
    percent,
    plain,
    small_percent,
    unit,
)
from zoneplan.units import N_PER_LBF

Template = str | Callable[[Mapping[str, Any]], str]  # of a notice: see `trade`
BOTH = "both"  # pounds, with newtons in brackets: for files, which anybody may open
NOISE_N = 0.5  # a smaller load reads as none
ROUGH_N = 2.5 * N_PER_LBF  # a smaller gap is no gap, where loads are told to 5 lb


@lru_cache(maxsize=4096)
def _parts(template: str) -> tuple[tuple[str, str | None, str], ...]:
    """Take a template apart: each text, with the name and the kind of the figure after it."""
    return tuple(
        (text, name, kind or "text") for text, name, kind, _ in Formatter().parse(template)
    )


class Figures:
    """Fills a template's fields, each by its kind after the colon, in one unit system.

    A value may be a pair: the span of several notices that are told as one.

    >>> Figures("us").fill("needs {needed_n:load}", {"needed_n": 444.8})
    'needs 100 lb'
    >>> Figures("both").fill("needs {needed_n:load}", {"needed_n": (444.8, 889.6)})
    'needs 100 to 200 lb (445 to 890 N)'
    """

    def __init__(self, units: str) -> None:
        self.units = units

    def fill(self, template: str, values: Mapping[str, Any]) -> str:
        """Fill a template."""
        return "".join(
            text if name is None else text + self.format_field(values[name], kind)
            for text, name, kind in _parts(template)
        )

    def format_field(self, value: Any, kind: str) -> str:
        """Write one value; kinds that are no quantity are listed in `_KINDS`."""
        if isinstance(value, tuple) and kind not in _LISTS:
            low, high = value
            if low == high or isinstance(low, str):
                return self.format_field(low, kind)
            return self._span(low, high, kind)
        if kind in _KINDS:
            return _KINDS[kind](self, value)
        return self.quantity(value, kind)

    def quantity(self, value: float | None, kind: str) -> str:
        """Write a figure with its unit, in one system or in both."""
        if self.units != BOTH:
            return figure(value, kind, self.units)
        return f"{figure(value, kind, 'us')} ({figure(value, kind, 'si')})"

    def _span(self, low: float, high: float, kind: str) -> str:
        if kind in _SIGNED and low * high > 0:  # "427 to 500 lb down"
            least, most = sorted((abs(low), abs(high)))
            load = "rough load" if kind == "gap" else "load"
            return f"{self._span(least, most, load)} {_SIGNED[kind][low > 0]}"
        if kind in _KINDS:
            one, other = (_KINDS[kind](self, end) for end in (low, high))
            return one if one == other else f"{one} to {other}"
        systems = ("us", "si") if self.units == BOTH else (self.units,)
        spans = []
        for system in systems:
            ends = dict.fromkeys(number(end, kind, system) for end in (low, high))
            spans.append(f"{' to '.join(ends)} {unit(kind, system)}")
        return spans[0] if len(spans) == 1 else f"{spans[0]} ({spans[1]})"


def _downforce(figures: Figures, force_n: float) -> str:
    """A downforce, which may be a lift."""
    if abs(force_n) < NOISE_N:
        return "no downforce"
    return f"{figures.quantity(abs(force_n), 'load')} {_SIGNED['downforce'][force_n > 0]}"


def _gap(figures: Figures, gap_n: float) -> str:
    """What a margin misses its target by; nothing where nobody could tell."""
    if abs(gap_n) < ROUGH_N:
        return "as wanted"
    return f"{figures.quantity(abs(gap_n), 'rough load')} {_SIGNED['gap'][gap_n > 0]}"


def _rounded_down(share: float) -> str:
    """A share that is rounded down, so that all is all.

    >>> _rounded_down(0.968), _rounded_down(0.9996), _rounded_down(1.0)
    ('96 %', '99 %', 'all')
    """
    return "all" if share > 1 - 1e-9 else f"{int(100 * share)} %"


def counted(noun: str, numbers: Sequence[int]) -> str:
    """Name things by their numbers.

    >>> counted("zone", [3]), counted("change", [1, 2, 5]), counted("zone", [1, 3, 4, 5, 6])
    ('zone 3', 'changes 1, 2 and 5', 'zones 1 and 3 to 6')
    """
    return f"{noun}{'s' if len(numbers) > 1 else ''} {listing(runs(numbers))}"


def runs(numbers: Sequence[int]) -> list[str]:
    """Tell runs of more than two numbers by their ends.

    >>> runs([1, 2, 4, 5, 6])
    ['1', '2', '4 to 6']
    """
    words: list[str] = []
    for _, grouped in groupby(enumerate(numbers), lambda pair: pair[1] - pair[0]):
        run = [number for _, number in grouped]
        words += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run)
    return words


def named(numbers: Sequence[int]) -> str:
    """Name zones by their numbers.

    >>> named([3]), named([1, 4, 5, 6])
    ('zone 3', 'zones 1, 4 to 6')
    """
    return f"zone{'s' if len(numbers) > 1 else ''} {listed_numbers(numbers)}"


def listed_numbers(numbers: Sequence[int]) -> str:
    """List numbers, runs of more than two by their ends.

    >>> listed_numbers([1, 2, 4, 5, 6])
    '1, 2, 4 to 6'
    """
    return ", ".join(runs(numbers))


_LISTS = ("list", "row", "sum", "clauses", "zones", "changes")
_SIGNED = {"downforce": ("of lift", "down"), "gap": ("too little", "too much")}
_KINDS: dict[str, Callable[[Figures, Any], str]] = {
    "share": lambda _, value: percent(value),
    "fine_share": lambda _, value: f"{plain(100 * value, 2)} %",
    "small share": lambda _, value: small_percent(value),
    "share kept": lambda _, value: _rounded_down(value),
    "of ten": lambda _, value: f"{out_of_ten(value)} of {ROUNDS}",
    "tenths": lambda _, value: f"{plain(100 * value, 1)} %",  # of a percent
    "percent": lambda _, value: f"{plain(value, 1)} %",  # of what is in percent already
    "one decimal": lambda _, value: plain(value, 1),
    "figures": lambda _, value: f"{value:.3g}",
    "bias": lambda _, value: f"{value:+.2f}".replace("-", "−"),
    "percent bias": lambda figures, value: f"{_KINDS['bias'](figures, value)} %",
    "share bias": lambda figures, value: _KINDS["percent bias"](figures, 100 * value),
    "change": lambda _, value: f"{100 * value:+.2g} %".replace("-", "−"),
    "degrees": lambda _, value: f"{value:.6f}",
    "count": lambda _, value: f"{value:,.0f}",
    "ratio": lambda _, value: plain(float(value), 2),
    "minutes": lambda _, value: f"{plain(value / 60)} min",
    "downforce": _downforce,
    "gap": _gap,
    "list": lambda _, value: listing(value),
    "row": lambda _, value: ", ".join(map(str, value)),
    "sum": lambda _, value: " + ".join(value),
    "clauses": lambda _, value: "; ".join(value),
    "zones": lambda _, value: counted("zone", value),
    "changes": lambda _, value: counted("change", value),
    "text": lambda _, value: str(value),
    "name": lambda _, value: str(value),  # of a file or a soil: as it is, to begin with too
}


def listing(words: Sequence[object]) -> str:
    """Put things in a row.

    >>> listing([1]), listing([1, 2, 5])
    ('1', '1, 2 and 5')
    """
    *most, last = map(str, words)
    return f"{', '.join(most)} and {last}" if most else last


def capital(words: str) -> str:
    """Begin a sentence.

    >>> capital("no numbers here.")
    'No numbers here.'
    """
    return words[:1].upper() + words[1:]


def ended(words: str) -> str:
    """End a sentence, unless it is.

    >>> ended("soil.tif: wait here")
    'soil.tif: wait here.'
    """
    return words + ("" if words.endswith((".", "!", "?", ".)")) else ".")


def sentence(words: str) -> str:
    """Make a sentence.

    >>> sentence("wait here")
    'Wait here.'
    """
    return ended(capital(words))
