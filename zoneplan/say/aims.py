"""What contact the base aims imply, in words for whoever checks a rules file."""

from zoneplan.plan.aims import LEAST_SHARE, implied_contact
from zoneplan.rules.rule import Rules
from zoneplan.rules.words import written
from zoneplan.say.quantities import percent


def aims_in_words(rules: Rules) -> list[str]:
    """Tell the contact that every base aim implies, and warn where it is less than is wanted.

    >>> from zoneplan.rules.read import read_rules
    >>> aims_in_words(read_rules())[0]
    'aim-coarse-dry: 110 lb keeps the wheels down 97 % of the time.'
    """
    lines = []
    for rule in rules.aim.rules:
        if rule.kind != "base" or rule.amount is None:
            continue
        least, most = (percent(share) for share in implied_contact(rules, rule))
        shares = least if least == most else f"{least} to {most}"
        words = f"{rule.id}: {written(rule.amount.fixed, rules.aim.unit)} keeps the wheels down "
        words += f"{shares} of the time."
        if implied_contact(rules, rule)[0] < LEAST_SHARE:
            words += " That is less than the 96 % of common practice: the plan will lift it."
        lines.append(words)
    return lines
