"""Hand checks on the page of the field: entered as loads or as answers, listed, taken back."""

from collections.abc import Iterator

import streamlit as st

from zoneplan.errors import OutOfRangeError
from zoneplan.harmless import escape
from zoneplan.pages.fault import show_fault
from zoneplan.pages.state import change, desk, without
from zoneplan.pages.words import about, still_to_give
from zoneplan.plan.model import Plan, ZoneSetting
from zoneplan.rowunit.balance import load_at
from zoneplan.rowunit.hand_checks import Feel
from zoneplan.rowunit.machine import ClosedLoopAir, Machine, SetAir, Springs
from zoneplan.rowunit.observation import Observation
from zoneplan.say.quantities import percent
from zoneplan.terms import Moisture
from zoneplan.units import KPA_PER_PSI, N_PER_LBF, downforce

TURNED, WEIGHED, BY_HAND = "how the gauge wheel turned", "loads on a scale", "a load by hand"
ANSWERS = 3  # on one spot
_BOX = "check"
HOW = (
    "Stop in the zone with the planter lowered and at depth, engine off, key out; keep hands off "
    "raised or pressed parts, and follow the planter's manual. Turn a gauge wheel by hand: free? "
    "40 lb more, and again. Firm? 40 lb less until it spins. Write both down: the two together are "
    "worth as much as scales."
)


def is_checking() -> bool:
    """Whether a check is being entered: the box is open."""
    return bool(st.session_state.get(_BOX))


def hand_checks(plan: Plan, zone: ZoneSetting, moisture: Moisture, fill: float) -> None:
    """Offer to enter what was found by hand in a zone, and list what was."""
    box = st.expander(
        "Enter a hand check", icon=":material/back_hand:", key=_BOX, on_change="rerun"
    )
    if box.open:
        with box:
            st.html(f"<p class='zp-change'>{HOW}</p>")
            _ask(plan, zone, moisture, fill)
    _list(plan)


def _ask(plan: Plan, zone: ZoneSetting, moisture: Moisture, fill: float) -> None:
    if not zone.set_at:
        st.html(f"<p class='zp-change'>Zone {zone.zone.id} has no numbers to check.</p>")
        return
    st.html(
        f"<h2 class='zp-change'>Zone {zone.zone.id}, {moisture}, seed box {percent(fill)} full</h2>"
    )
    left, right = st.columns(2)
    method = left.selectbox("What was found", [TURNED, BY_HAND, WEIGHED], key="check_what")
    if method != WEIGHED:
        notches = [notch.name for notch in plan.machine.notches]
        right.selectbox("Closing wheels at notch", notches, key="check_notch")
    if method == TURNED:
        for place in range(ANSWERS):
            left, right = st.columns(2)
            with left:
                _setting_box(plan.machine, place)
            right.selectbox(
                "The wheel", list(Feel), None, key=f"check_feel_{place}", placeholder="not tried"
            )
    else:
        left, right = st.columns(2)
        with left:
            _setting_box(plan.machine, 0)
        right.number_input("On the gauge wheels, lb", 0.0, 1000.0, None, 5.0, key="check_margin")
        if method == WEIGHED:
            left.number_input(
                "On the closing wheels, lb", 0.0, 500.0, None, 5.0, key="check_closing"
            )
        right.number_input("Mean of how many spots", 1, 50, 1, key="check_spots")
    show_fault("check_fault")
    st.button("Add this check", key="check_put", on_click=_put, args=(plan, zone, moisture, fill))


def _setting_box(machine: Machine, place: int) -> None:
    """What pressed just then: a position, a pressure or a force."""
    key, system = f"check_setting_{place}", machine.system
    if isinstance(system, Springs):
        st.selectbox(
            "Spring position",
            system.positions_n,
            None,
            key=key,
            format_func=about,
            placeholder="not tried",
        )
    elif isinstance(system, SetAir | ClosedLoopAir):
        least, most = (end[0] / KPA_PER_PSI for end in (system.chart[0], system.chart[-1]))
        st.number_input("Pressure, psi", least, most, None, 5.0, key=key)
    else:
        least, most = system.least_n / N_PER_LBF, system.most_n / N_PER_LBF
        st.number_input("Downforce, lb (lift is negative)", least, most, None, 20.0, key=key)


def _pressed_n(machine: Machine, place: int) -> float | None:
    """The downforce at what was set."""
    value: float | None = st.session_state.get(f"check_setting_{place}")
    system = machine.system
    if value is None or isinstance(system, Springs):
        return value
    if isinstance(system, SetAir | ClosedLoopAir):
        highest = system.chart[-1][0]
        return load_at(system.chart, min(value * KPA_PER_PSI, highest))
    return value * N_PER_LBF


def _put(plan: Plan, zone: ZoneSetting, moisture: Moisture, fill: float) -> None:
    try:
        check = _check(plan.machine, zone.zone.id, moisture, fill)
    except OutOfRangeError as error:
        st.session_state["check_fault"] = str(error)
        return
    for key in [
        name for name in st.session_state if str(name).startswith(("check_set", "check_feel"))
    ]:
        del st.session_state[key]
    change(observations=(*_checks(), check))


def _check(machine: Machine, number: int, moisture: Moisture, fill: float) -> Observation:
    session = st.session_state
    method, notch_name = session["check_what"], session.get("check_notch")
    closing_n = next((notch.load_n for notch in machine.notches if notch.name == notch_name), 0.0)
    if method == TURNED:
        answers = tuple(_answers(machine))
        if not answers:
            raise OutOfRangeError("Still to give: what was set, and how the wheel turned then.")
        return Observation(number, moisture, fill, closing_n, answers=answers)
    pressed_n, margin_lb = _pressed_n(machine, 0), session.get("check_margin")
    closing_lb = session.get("check_closing")
    missing = [
        name
        for name, given in (
            ("what was set", pressed_n),
            ("the load on the gauge wheels", margin_lb),
            ("the load on the closing wheels", closing_lb if method == WEIGHED else 0.0),
        )
        if given is None
    ]
    if missing:
        raise OutOfRangeError(still_to_give(missing))
    check = Observation(
        zone=number,
        moisture=moisture,
        fill=fill,
        closing_load_n=(closing_lb or 0.0) * N_PER_LBF if method == WEIGHED else closing_n,
        downforce_n=pressed_n,
        margin_n=(margin_lb or 0.0) * N_PER_LBF,
        weighed=method == WEIGHED,
        spots=session.get("check_spots") or 1,
    )
    left_n = check.opener_load_n(machine)
    if left_n <= 0:
        raise OutOfRangeError(
            f"That leaves {about(left_n)} for the openers: the unit and its downforce weigh less "
            "than was found on its wheels.\nLook again at the setting, the seed and the loads."
        )
    return check


def _answers(machine: Machine) -> Iterator[tuple[float, Feel]]:
    for place in range(ANSWERS):
        pressed_n, feel = _pressed_n(machine, place), st.session_state.get(f"check_feel_{place}")
        if (pressed_n is None) != (feel is None):
            raise OutOfRangeError(
                "A setting and an answer belong together: give both, or leave both."
            )
        if pressed_n is not None and feel is not None:
            yield pressed_n, Feel(feel)


def _list(plan: Plan) -> None:
    """What was found, each with a way back."""
    if not _checks():
        return
    with st.container(key="hand-checks"):
        st.html("<h2 class='zp-change'>Hand checks in this plan</h2>")
        for place, check in enumerate(_checks()):
            left, right = st.columns([5, 1], vertical_alignment="center")
            left.html(f"<p class='zp-change'>{escape(_in_words(check, plan.machine))}</p>")
            right.button("Take back", key=f"check-back-{place}", on_click=_back, args=(place,))


def _in_words(check: Observation, machine: Machine) -> str:
    where = f"Zone {check.zone}, {check.moisture}, seed box {percent(check.fill)} full: "
    if check.answers:
        answers = (f"{feel} at {downforce(pressed_n)}" for pressed_n, feel in check.answers)
        return where + "the wheel " + ", ".join(answers)
    how = "on scales" if check.weighed else "by hand"
    spots = f", mean of {check.spots} spots" if check.spots > 1 else ""
    return (
        f"{where}{about(check.margin_n)} on the gauge wheels {how}{spots}, so the openers carried "
        f"{about(check.opener_load_n(machine))}"
    )


def _back(place: int) -> None:
    change(observations=without(_checks(), place))


def _checks() -> tuple[Observation, ...]:
    now = desk().now
    return () if now is None else now.request.observations
