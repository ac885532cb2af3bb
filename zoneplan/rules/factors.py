"""The rules that make a swing, found by the part that they act on."""

from dataclasses import dataclass

from zoneplan.rules.rule import Rule, RuleSet
from zoneplan.rules.words import Measure
from zoneplan.units import MPS_PER_MPH


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


def factor_of(
    rule_set: RuleSet, acts: str, *, tillage: str | None = None, system: str | None = None
) -> Rule:
    """Find the rule that makes one part of a swing.

    Parameters
    ----------
    rule_set : RuleSet
        That decides the swing, as `read_rules` proved it.
    acts : str
        One of ACTS.
    tillage, system : str, optional
        For the parts that go by it: the bounce by tillage, what is felt by system.
    """
    [rule] = [
        rule
        for rule in rule_set.rules
        if rule.acts == acts
        and tillage in rule.when.get("tillage", (tillage,))
        and system in rule.when.get("system", (system,))
    ]
    return rule
