"""The rules that make a swing, found by the part that they act on."""

from zoneplan.rules.rule import Rule, RuleSet

# Parts of a swing with a number, and facts that move it through the opener load and have none.
NUMBERED = ("bounce", "speed", "residue", "uneven", "felt", "slope", "least")
EXPLAINED = ("depth", "traffic", "density", "measured")
ACTS = (*NUMBERED, *EXPLAINED)


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
