"""The words a rules file may use: what a rule can look at, what it acts on, and its units."""

from dataclasses import dataclass
from functools import lru_cache
from typing import cast

from zoneplan.rules.rule import TILLAGES, Rule, Source
from zoneplan.soil.texture import GROUP_OF, TEXTURES
from zoneplan.terms import ClosingWheel, Moisture, System
from zoneplan.units import M_PER_IN, MPS_PER_MPH, quantity

SYSTEMS = tuple(map(str, System))
JUDGEMENT = "judgement"  # what a rule cites that no source backs, alone or with who and when

# The three that every base rule is told apart by.
GROUND = {
    "texture_group": tuple(dict.fromkeys(GROUP_OF.values())),
    "moisture": tuple(map(str, Moisture)),
    "tillage": TILLAGES,
}
CHOICES = GROUND | {
    "texture": TEXTURES,
    "system": SYSTEMS,
    "closing_wheel": tuple(map(str, ClosingWheel)),
}
FLAGS = {"dense": "dense ground", "headland": "headland", "track": "wheel track"}


@dataclass(frozen=True)
class Measure:
    """A number that a rule can look at."""

    field: str  # of Situation
    name: str
    unit: str
    si: float  # one `unit`, in the field's own unit


MEASURES = {
    "speed_mph": Measure("speed_mps", "speed", "mph", MPS_PER_MPH),
    "depth_in": Measure("depth_m", "depth", "in", M_PER_IN),
    "residue_pct": Measure("residue_frac", "residue", "%", 0.01),
    "fragments_pct": Measure("fragments_frac", "fragments", "%", 0.01),
    "organic_pct": Measure("organic_pct", "organic matter", "%", 1.0),
    "slope_pct": Measure("slope_frac", "slope", "%", 0.01),
    "smear_pct": Measure("smear_chance", "chance to smear", "%", 0.01),
    "plasticity_pct": Measure("plasticity_pct", "plasticity index", "%", 1.0),
    "survey_smear_pct": Measure("survey_smear_chance", "chance to smear by the survey", "%", 0.01),
    "survey_plasticity_pct": Measure(
        "survey_plasticity_pct", "plasticity index by the survey", "%", 1.0
    ),
}
MEASURE_OF = {measure.field: measure for measure in MEASURES.values()}
_WHOLE_FROM_N = 100.0  # what lies below may be the noise that a fault is about
DIGITS = 9  # kept in comparisons, so that noise from unit conversion never tips a limit


@dataclass(frozen=True)
class Grows:
    """What a part of a swing grows with."""

    field: str  # of Situation
    starts: float | None  # the only place where it may, in SI; None: the rule says where
    ends: str  # the key that says how far it goes
    ask: str

    def fits(self, measure: Measure, step: float, above: float) -> bool:
        """Whether a rule's `per` is what the program reads."""
        starts = self.starts in (None, above * measure.si)
        return measure.field == self.field and starts and step > 0


# Parts of a swing with a number, and those that are explained and whose number is in the program.
NUMBERED = ("bounce", "speed", "residue", "uneven", "felt", "slope")
ACTS = (*NUMBERED, "least", "depth", "traffic", "density", "measured")
BY = {"bounce": "tillage", "felt": "system"}  # what there is one of each for
GROWS = {
    "speed": Grows(
        "speed_mps", 5 * MPS_PER_MPH, "least", "Write per = { speed_mph = 1, above = 5 }."
    ),
    "residue": Grows("residue_frac", None, "most", "Write per = { residue_pct = 1, above = 20 }."),
    "slope": Grows("slope_frac", 0.0, "most", "Write per = { slope_pct = 1, above = 0 }."),
}


def bounds(limits: tuple[object, ...]) -> tuple[float, float]:
    """What a rule asks of a number: at least the first, and below the second."""
    least, below = cast("tuple[float, float]", limits)
    return least, below


def allows(name: str, allowed: tuple[object, ...], value: object) -> bool:
    """Whether a value of a situation is one that a rule asks for; an unknown number never is.

    >>> allows("speed_mps", (2.2, 3.1), 2.2 - 1e-12), allows("speed_mps", (2.2, 3.1), None)
    (True, False)
    """
    if name not in MEASURE_OF:
        return value in allowed
    if not isinstance(value, float | int):
        return False
    least, below = bounds(allowed)
    return round(least, DIGITS) <= round(value, DIGITS) < round(below, DIGITS)


def si_per(unit: str) -> float:
    """One of a rule set's unit, a force. [N].

    Raises
    ------
    ValueError
        When the unit is no force.
    """
    return quantity(f"1 {unit}", "force")


def written(value: float, unit: str) -> str:
    """An SI amount in the unit of its file, or to the newton; a pound-force is said as a pound.

    >>> written(889.6443230521, "lbf"), written(489.3043, "N"), written(-0.4, "N")
    ('200 lb', '489 N', '-0.4 N')
    """
    amount = round(value / si_per(unit), 6)
    whole = unit == "N" and abs(amount) >= _WHOLE_FROM_N
    return f"{amount:.0f} N" if whole else f"{amount:g} {unit.removesuffix('f')}"


def is_judgement(cite: str) -> bool:
    """Whether a rule cites no source but somebody's judgement.

    >>> is_judgement("judgement"), is_judgement("judgement of AB, 2026-11-25")
    (True, True)
    >>> is_judgement("Judgement and error (2020), a book")
    False
    """
    return cite == JUDGEMENT or cite.startswith(f"{JUDGEMENT} of ")


def sources_in_words(rule: Rule) -> str:
    """Every source of a rule, and whether it backs the number or only its direction."""
    return _in_words(rule.sources)


@lru_cache(maxsize=1024)
def _in_words(sources: tuple[Source, ...]) -> str:
    return "; ".join(map(source_in_words, sources))


def source_in_words(source: Source) -> str:
    """Say a source, and whether it backs the number or only its direction."""
    if is_judgement(source.cite):
        return source.cite
    return f"{source.cite} (backs the {source.backs})"
