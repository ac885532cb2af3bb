"""The words a rules file may use, and a rule said in words.

What a rule can look at, what it acts on, and its units; then the rulebook, a row a rule.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

from zoneplan.errors import either
from zoneplan.rules.rule import Amount, Rule, Rules, RuleSet, Source
from zoneplan.soil.texture import GROUP_OF, TEXTURES
from zoneplan.terms import ClosingWheel, Moisture, System, Tillage
from zoneplan.units import M_PER_IN, MPS_PER_MPH, quantity

JUDGEMENT = "judgement"  # what a rule cites that no source backs, alone or with who and when

# The three that every base rule is told apart by.
GROUND = {
    "texture_group": tuple(dict.fromkeys(GROUP_OF.values())),
    "moisture": tuple(map(str, Moisture)),
    "tillage": tuple(map(str, Tillage)),
}
CHOICES = GROUND | {
    "texture": TEXTURES,
    "system": tuple(map(str, System)),
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

GROUNDS = math.prod(len(words) for words in GROUND.values())
PROVED = (  # of every rulebook that `read_rules` gives out
    f"Every soil, moisture and tillage ({GROUNDS} in all) has exactly one base rule for the aim, "
    "for what it bears and for closing.",
    "Every base rule lies within the caps that always hold there, and no two caps cross.",
    "Every part of the swing is there once, for every tillage and system.",
    "Something says when to wait.",
)
_EXPLAINED = {"least": "lifts the target", "measured": "in place of all of it"}
_OF = {"uneven": "of the opener load", "felt": "of the unevenness is felt"}
_BEFORE = {"system": "on", "closing_wheel": "closing wheels:"}
HEAD = ("id", "kind", "when", "gives", "why", "source", "confidence", "origin")


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


def rule_table(rules: Rules) -> list[tuple[str, ...]]:
    """Every rule in the order it acts, under a row of headings.

    Amounts are in the unit that the stock file of the rule set is written in.

    Examples
    --------
    >>> from zoneplan.rules.read import read_rules
    >>> rule_table(read_rules())[1][:4]
    ('aim-coarse-dry', 'aim base', 'sand or loamy sand; dry', '110 lb')
    """
    return [HEAD, *(row for rule_set in rules.sets for row in _rows(rule_set))]


def when_in_words(when: Mapping[str, tuple[object, ...]]) -> str:
    """What a rule asks for, as a grower would say it.

    >>> when_in_words({"moisture": ("dry", "moist"), "residue_frac": (0.3, 0.6)})
    'dry or moist; residue 30 % or more, below 60 %'
    >>> when_in_words({})
    'always'
    """
    return "; ".join(_asked(name, allowed) for name, allowed in when.items()) or "always"


def _asked(name: str, allowed: tuple[object, ...]) -> str:
    if name in MEASURE_OF:
        return _bounded(MEASURE_OF[name], *bounds(allowed))
    if name in FLAGS:
        return FLAGS[name] if allowed == (True,) else f"not {FLAGS[name]}"
    if name == "texture_group":  # its textures say more than "moderately fine"
        return either(texture for texture, group in GROUP_OF.items() if group in allowed)
    words = either(map(str, allowed))
    return f"{_BEFORE[name]} {words}" if name in _BEFORE else words


def _bounded(measure: Measure, least: float, below: float) -> str:
    phrases = []
    if least > -math.inf:
        phrases.append(f"{_measured(least, measure)} or more")
    if below < math.inf:
        phrases.append(f"below {_measured(below, measure)}")
    return f"{measure.name} {', '.join(phrases)}"


def _measured(value: float, measure: Measure) -> str:
    return f"{round(value / measure.si, 6):g} {measure.unit}"


def _rows(rule_set: RuleSet) -> list[tuple[str, ...]]:
    return [
        (
            rule.id,
            f"{rule_set.decides} {rule.kind}",
            when_in_words(rule.when),
            gives_in_words(rule, rule_set.unit),
            rule.why,
            sources_in_words(rule),
            rule.confidence,
            rule.origin,
        )
        for rule in rule_set.rules
    ]


def gives_in_words(rule: Rule, unit: str) -> str:
    """Say what a rule does, in the unit of its set, and what it warns of.

    >>> from zoneplan.rules.read import read_rules
    >>> gives_in_words(read_rules().aim.rules[0], "lbf")
    '110 lb'
    """
    if rule.kind == "factor":
        gives = _factor(rule, unit)
    elif rule.kind == "base" and rule.amount:
        gives = written(rule.amount.fixed, unit)
    elif rule.amount:
        gives = _adds(rule.amount, unit)
    elif rule.kind == "cap":
        limits = (("at least", rule.least), ("at most", rule.most))
        gives = ", ".join(f"{how} {written(n, unit)}" for how, n in limits if n is not None)
    else:
        gives = {"stop": "no number: wait", "test": "squeeze test first"}.get(rule.kind, "a remark")
    return f'{gives}; warns "{rule.warns}"' if rule.warns else gives


def _factor(rule: Rule, unit: str) -> str:
    """What a part of the swing is: a load for the bounce, else a share."""
    amount = rule.amount
    if amount is None:
        return _EXPLAINED.get(rule.acts or "", "through the opener load")
    if rule.acts == "bounce":
        return written(amount.fixed, unit)
    if amount.measure is None:
        return f"{_share(amount.fixed)} {_OF.get(rule.acts or '', '')}".rstrip()
    measure = MEASURE_OF[amount.measure]
    limits = (("never below", rule.least), ("never above", rule.most))
    suffix = "".join(f", {how} {_share(n)}" for how, n in limits if n is not None)
    return (
        f"{_share(amount.each)} more swing for every {_measured(amount.step, measure)} of "
        f"{measure.name} above {_measured(amount.over, measure)}{suffix}"
    )


def _share(value: float) -> str:
    return f"{round(100 * value, 6):g} %"


def _adds(amount: Amount, unit: str) -> str:
    if amount.measure is None:
        return f"add {written(amount.fixed, unit)}" if amount.fixed else "add nothing"
    measure = MEASURE_OF[amount.measure]
    grows = (
        f"add {written(amount.each, unit)} for every {_measured(amount.step, measure)} "
        f"of {measure.name} above {_measured(amount.over, measure)}"
    )
    return grows if amount.most is None else f"{grows}, at most {written(amount.most, unit)}"
