"""The nouns of a rule set: what is decided, when, why, and how sure we are."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from zoneplan.notices import Notice
from zoneplan.terms import ClosingWheel, Confidence, Moisture

CONFIDENCES = tuple(map(str, Confidence))  # from most to least sure

# What rules decide, and the kinds of rule that may have a part in it, in the order they act.
KINDS_OF = {
    "aim": ("base", "adjust", "cap"),  # margin to aim for on the rule's own ground [N]
    "most": ("base", "adjust", "cap"),  # margin that the soil bears [N]
    "swing": ("factor",),  # what makes the gauge-wheel load swing
    "stop": ("stop", "test", "warn"),  # whether to plant at all, and what to look out for
    "closing": ("base", "adjust", "cap"),  # load on the closing wheels [N]
}
DECIDES = tuple(KINDS_OF)
KINDS = tuple(dict.fromkeys(kind for kinds in KINDS_OF.values() for kind in kinds))


@dataclass(frozen=True)
class Source:
    """Where a rule comes from, and whether it backs the number or only its direction."""

    cite: str  # "judgement" where there is none
    link: str | None = None
    backs: str = "direction"  # "value" or "direction"


@dataclass(frozen=True)
class Situation:
    """All that a rule may look at, for one soil at one moisture. SI units."""

    # USDA classes that the soil may be and the share of each, the largest first.
    texture_shares: tuple[tuple[str, float], ...]
    moisture: Moisture
    tillage: str
    speed_mps: float
    depth_m: float
    residue_frac: float = 0.0  # ground cover
    fragments_frac: float = 0.0
    organic_pct: float | None = None  # organic matter by weight
    dense: bool = False  # measured density at or past where roots begin to be restricted
    smear_chance: float = 0.0  # that the soil at this moisture smears
    plasticity_pct: float = 0.0  # plasticity index of its texture
    survey_smear_chance: float | None = None  # the survey's own opinion, at field capacity
    survey_plasticity_pct: float | None = None
    headland: bool = False
    track: bool = False
    system: str = "springs"  # the machine's downforce system
    closing_wheel: str = ClosingWheel.RUBBER

    @property
    def texture(self) -> str:
        """The class that most of it is."""
        return self.texture_shares[0][0]


@dataclass(frozen=True)
class Amount:
    """What a rule gives: a fixed number, or so much per step of a measured thing."""

    fixed: float = 0.0
    each: float = 0.0  # added per `step` of `measure` beyond `over`
    measure: str | None = None  # a numeric field of Situation
    over: float = 0.0
    step: float = 1.0
    most: float | None = None  # the sum stops here


@dataclass(frozen=True)
class Rule:
    """One stored rule. `when` maps a Situation field to a tuple of allowed values,
    or to a (least, below) pair for a number: least <= value < below."""

    id: str
    kind: str  # one of KINDS
    title: str
    when: Mapping[str, tuple[object, ...]]
    why: str
    sources: tuple[Source, ...]
    confidence: str
    amount: Amount | None = None  # base, adjust and factor
    least: float | None = None  # cap and factor
    most: float | None = None  # cap and factor
    acts: str | None = None  # factor: what part of a swing it makes
    warns: str | None = None  # said to the reader when this rule holds
    plain: str | None = None  # why, to somebody who does not plant; None: as `why` says it
    warns_plain: str | None = None  # the warning, to the same
    origin: str = "stock"  # the file it came from


@dataclass(frozen=True)
class RuleSet:
    """Every rule that decides one thing, in the order they act. Numbers in SI."""

    decides: str  # a key of KINDS_OF
    unit: str  # the unit the file was written in
    revised: datetime.date
    rules: tuple[Rule, ...]
    soils: Mapping[str, str] = field(default_factory=dict)  # a texture group in plain words


@dataclass(frozen=True)
class Rules:
    """The whole rulebook of one plan, and a digest of its files."""

    aim: RuleSet
    most: RuleSet
    swing: RuleSet
    stop: RuleSet
    closing: RuleSet
    revised: datetime.date  # the latest of the files
    sha256: str  # over the bytes of every file that was read, in order
    dropped: tuple[str, ...] = ()  # ids of rules that a file of one's own took away

    def __hash__(self) -> int:
        return hash(self.sha256)

    @property
    def sets(self) -> tuple[RuleSet, ...]:
        """Every rule set, in the order of DECIDES."""
        return tuple(getattr(self, decides) for decides in DECIDES)

    @cached_property
    def every(self) -> tuple[Rule, ...]:
        """Every rule."""
        return tuple(rule for rule_set in self.sets for rule in rule_set.rules)

    @cached_property
    def by_id(self) -> dict[str, Rule]:
        """Every rule, by its id."""
        return {rule.id: rule for rule in self.every}


@dataclass(frozen=True)
class Reason:
    """One link of the chain that made a number. The links of a choice add up to it."""

    rule: str  # the rule's id; "rounding" for the last step
    kind: str  # base, swing, least, most, adjust, cap, stop, rounding; override for a person's
    adds: float | None  # N; None for a stop
    why: str
    source: str
    confidence: str
    share: float | None = None  # base: of the soil's own error that lies in this rule's classes
    factor: float | None = None  # swing: what the fact makes of it


@dataclass(frozen=True)
class Choice:
    """What the rules decided for one Situation, with the whole chain. [N]."""

    value: float
    reasons: tuple[Reason, ...]
    notices: tuple[Notice, ...] = ()
