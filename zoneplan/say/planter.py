"""What a plan says of its planter where nobody has weighed it."""

from zoneplan.plan.model import Plan

INVENTED = "invented weights: weigh your own"


def stamp(plan: Plan) -> str:
    """Say that a plan is of a generic planter; empty for one that somebody weighed."""
    return f"Generic planter, {INVENTED}" if plan.machine.generic else ""
