"""Hand checks in the field: what they make of every zone's opener load, and how sure it is then."""

from collections.abc import Sequence

from zoneplan.errors import MachineError, OutOfRangeError
from zoneplan.notices import Notice, notice
from zoneplan.plan.requirement import Basis, opener_loads_at, plannable
from zoneplan.plan.settle import OpenerLoads
from zoneplan.rowunit.hand_checks import FeelCheck, LoadCheck, after_checks
from zoneplan.rowunit.observation import Observation
from zoneplan.terms import Moisture
from zoneplan.units import load as in_words
from zoneplan.zones.zone import Zone

MOST_RATIO = 3.0  # judged: of a load that was found to the model's; some three times its doubt


def hand_checked(
    zones: Sequence[Zone], basis: Basis, observations: Sequence[Observation]
) -> tuple[OpenerLoads, tuple[Notice, ...]]:
    """Bring the opener loads of a field up to date with what was found by hand.

    Parameters
    ----------
    zones, basis : sequence of Zone, Basis
        The plan's.
    observations : sequence of Observation
        Loads or answers, each in a zone and at a moisture.

    Returns
    -------
    tuple
        For each zone and moisture, what multiplies the modelled opener load and the doubt
        that is left; and what is told of it.

    Raises
    ------
    MachineError
        Where a check is of a zone that has no numbers.
    OutOfRangeError
        Where a check leaves nothing for the openers to carry, or so much more or less than is
        calculated that a slip is likelier than such a soil.
    """
    if not observations:
        return {}, ()
    planned = [zone for zone in zones if plannable(zone.facts)]
    places = {zone.id: place for place, zone in enumerate(planned)}
    for seen in observations:
        if seen.zone not in places:
            raise MachineError(
                f"A hand check is of zone {seen.zone}, which this plan has no numbers for.\n"
                f"Name one of: {', '.join(map(str, places))}."
            )
    model_n = [opener_loads_at(basis, zone.facts, zone.site, speed_mps=0.0) for zone in planned]
    columns = {moisture: column for column, moisture in enumerate(Moisture)}
    weighed = [
        (observation, model_n[places[observation.zone]][columns[observation.moisture]])
        for observation in observations
        if not observation.answers
    ]
    loads = []
    for observation, modelled_n in weighed:
        found_n = observation.opener_load_n(basis.machine)
        _refuse_far_off(observation, found_n, modelled_n)
        place = places[observation.zone]
        loads.append(LoadCheck(place, observation.moisture, found_n, observation.spots))
    answered = [observation for observation in observations if observation.answers]
    feels = [
        FeelCheck(
            places[observation.zone],
            observation.moisture,
            observation.resting_answers(basis.machine),
        )
        for observation in answered
    ]
    estimate = after_checks(model_n, loads, feels)
    checked = {
        (zone.id, moisture): (
            float(estimate.opener_load_n[place, column]) / model_n[place][column],
            float(estimate.sd_ln[place, column]),
        )
        for place, zone in enumerate(planned)
        for moisture, column in columns.items()
    }
    return checked, (
        *(
            notice(
                "hand-check",
                zone=observation.zone,
                moisture=observation.moisture,
                found_n=observation.opener_load_n(basis.machine),
                modelled_n=modelled_n,
                factor=checked[observation.zone, observation.moisture][0],
                weighed=observation.weighed,
            )
            for observation, modelled_n in weighed
        ),
        *(
            notice(
                "hand-check-refused", zone=answered[place].zone, moisture=answered[place].moisture
            )
            for place in estimate.refused
        ),
        *(
            notice("drier-lifted", zone=planned[place].id, moisture=moisture)
            for place, moisture in estimate.lifted
        ),
    )


def _refuse_far_off(check: Observation, found_n: float, modelled_n: float) -> None:
    ratio = found_n / modelled_n
    if 0 < ratio < 1 / MOST_RATIO or ratio > MOST_RATIO:
        raise OutOfRangeError(
            f"The check in zone {check.zone}, {check.moisture}, says that the openers carry "
            f"{in_words(found_n)}, {ratio:.2g} times what is calculated, "
            f"{in_words(modelled_n)}.\n"
            f"More than {MOST_RATIO:g} times, or less than a third, is likelier a slip than such a "
            "soil, and would move every number of the field.\n"
            "Was it this zone, this moisture, this setting, this fill? Is each load of one row? "
            "Look again on another spot."
        )
