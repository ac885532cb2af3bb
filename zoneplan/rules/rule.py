"""The nouns of a rule set: what is decided, when, why, and how sure we are."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field

from zoneplan.notices import Notice
from zoneplan.terms import Moisture

TILLAGES = ("tilled", "strip-till", "no-till")
CONFIDENCES = ("measured", "advised", "judged")  # from most to least sure
KINDS = ("base", "adjust", "cap", "stop")


@dataclass(frozen=True)
class Source:
    """Where a rule comes from, and whether it backs the number or only its direction."""

    cite: str  # "judgement" where there is none
    link: str | None = None
    backs: str = "direction"  # "value" or "direction"


@dataclass(frozen=True)
class Situation:
    """All that a rule may look at, for one soil at one wetness. SI units."""

    texture: str  # USDA class
    texture_group: str  # "coarse" ... "fine"
    wetness: Moisture
    tillage: str
    speed_mps: float
    depth_m: float
    residue_frac: float = 0.0  # ground cover
    fragments_frac: float = 0.0
    dense: bool = False  # bulk density at or past where roots begin to be restricted
    past_plastic_limit: bool = False  # the soil at this wetness smears
    headland: bool = False
    system: str = "springs"  # the machine's downforce system: see rowunit.machine.SYSTEMS


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
    amount: Amount | None = None  # base and adjust
    least: float | None = None  # cap
    most: float | None = None  # cap
    warns: str | None = None  # said to the reader when this rule holds
    plain: str | None = None  # why, to somebody who does not plant; None: as `why` says it
    warns_plain: str | None = None  # the warning, to the same
    origin: str = "stock"  # the file it came from


@dataclass(frozen=True)
class RuleSet:
    """Every rule that decides one thing, in the order they act. Numbers in SI."""

    decides: str  # "margin" [N] or "closing" [share of the spring range, 0 to 1]
    unit: str  # the unit the file was written in
    revised: datetime.date
    rounding: float  # the answer is rounded to this, in SI; 0 for none
    rules: tuple[Rule, ...]
    soils: Mapping[str, str] = field(default_factory=dict)  # a texture group in plain words


@dataclass(frozen=True)
class Rules:
    """The whole rulebook of one plan: both rule sets, and a digest of their files."""

    margin: RuleSet
    closing: RuleSet
    revised: datetime.date  # the latest of the files
    sha256: str  # over the bytes of every file that was read, in order
    dropped: tuple[str, ...] = ()  # ids of rules that a file of one's own took away


@dataclass(frozen=True)
class Reason:
    """One link of the chain that made a number. The links of a choice add up to it."""

    rule: str  # the rule's id; "rounding" for the last step
    kind: str  # base, adjust, cap, stop, rounding; override where a person's number stands
    adds: float | None  # N or share, as the rule set decides; None for a stop
    why: str
    source: str
    confidence: str


@dataclass(frozen=True)
class Choice:
    """What the rules decided for one Situation, with the whole chain."""

    value: float | None  # None when a stop rule holds
    least: float | None  # the narrowest caps that held
    most: float | None
    reasons: tuple[Reason, ...]
    confidence: str  # the least sure link
    notices: tuple[Notice, ...] = ()

    @property
    def stopped(self) -> bool:
        """Whether the rules say: no number, wait."""
        return self.value is None
