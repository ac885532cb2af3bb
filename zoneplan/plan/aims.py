"""What contact each base aim implies, where it is kept: for whoever checks a rules file."""

from zoneplan.plan.soil_state import soil_state
from zoneplan.plan.swing_chain import Pass, swing_factors
from zoneplan.rowunit.target import contact_share
from zoneplan.rules.rule import Rule, Rules
from zoneplan.soil.texture import GROUP_OF, SoilFacts
from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Moisture

LEAST_SHARE = 0.96  # common practice, no source


def implied_contact(rules: Rules, aim: Rule) -> tuple[float, float]:
    """Least and most share of the time down that an aim implies, over its textures. [0 to 1].

    Parameters
    ----------
    rules : Rules
        Whose swing is taken: tilled, level, bare ground, 2 in deep, 5 mph, on springs.
    aim : Rule
        A base rule of the aim.
    """
    assert aim.amount is not None
    factors, shares = swing_factors(rules), []
    for texture, group in GROUP_OF.items():
        for moisture in Moisture:
            if group in aim.when.get("texture_group", (group,)) and moisture in aim.when.get(
                "moisture", (moisture,)
            ):
                soil = soil_state(SoilFacts(texture=texture))
                swing_n = Pass(soil, AVAILABLE_SHARE[moisture]).swing_n(factors)
                shares.append(contact_share(aim.amount.fixed, swing_n))
    return min(shares), max(shares)
