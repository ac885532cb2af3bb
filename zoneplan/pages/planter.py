"""The page of one's own planter: fill it in, see what it weighs, and plan with it."""

from dataclasses import replace

import streamlit as st

from zoneplan.errors import MachineError, ZoneplanError, listed
from zoneplan.harmless import in_file_name
from zoneplan.pages import link, state
from zoneplan.pages.answers import answered, is_answered, remembered, watching
from zoneplan.pages.boxes import choice
from zoneplan.pages.carry_over import day_that_stays
from zoneplan.pages.fault import fault
from zoneplan.pages.forces import Balanced, balance_figure
from zoneplan.pages.planter_boxes import boxes, current, lay
from zoneplan.pages.planter_filling import begun
from zoneplan.pages.words import UNITS, header, table
from zoneplan.plain_file import toml
from zoneplan.plan.settle import on_loam
from zoneplan.rowunit.balance import at_fill, seed_weight_n, weight_n
from zoneplan.rowunit.machine import SYSTEMS, Machine, frame_lift_n, setting_kind, setting_unit
from zoneplan.rowunit.machine_file import new_machine_text, read_content
from zoneplan.rules.read import read_rules
from zoneplan.say.quantities import figure
from zoneplan.sources import File, Upload

EMPTY = "an empty form"
USE = "Use this planter"
KEPT = (
    "{} is kept for your next field, too, while this work's link lasts. Take its file to have it "
    "for longer."
)
_WHAT = (
    "Weigh one row unit and the plan is your planter's. Write numbers in the units of the boxes, "
    "or with a unit of your own: 80 kg. What you leave as it is stays as it was in the file."
)
_SAFELY = (
    "Before anyone weighs or reaches in: engine off, brake set, key out, the planter raised on its "
    "safety stops and its frame on blocks, never held by oil alone. Pressure relieved, and the "
    "downforce system's control off: it can move a row unit without warning. Discs are sharp. The "
    "machine's manual comes first; where it gives a number, take that."
)
_WRONG = (
    '<p class="zp-change" role="status">Sum and balance come back once the numbers that are marked '
    "are put right.</p>"
)
_MOST_KEPT = 12  # planters of one person
_DONE = "planter-done"


def page() -> None:
    """Show the page."""
    if done := st.session_state.pop(_DONE, ""):
        _go_on(done)
    st.html(
        f'{header("Your planter")}<p class="zp-needed">{_WHAT}</p>'
        f'<p class="zp-cautions" role="note">{_SAFELY}</p>'
    )
    _begin()
    _form()


def _begin() -> None:
    """Choose what the form begins from; what was typed over another stays there."""
    work, texts = state.desk(), _texts()
    chosen = st.session_state.get("planter-from")
    if chosen not in texts:
        chosen = work.filling if work.filling in texts else next(iter(texts))
        st.session_state["planter-from"] = chosen
    if len(texts) > 1:
        st.selectbox("Begin from", list(texts), key="planter-from", width=424)
    work.filling = chosen
    if chosen in work.fillings:
        return
    try:
        content = toml(chosen, texts[chosen], MachineError)
        lay(begun(texts[chosen].decode("utf-8-sig")))
        if faults := read_content(content)[1]:
            st.html(fault(listed(f"The file of {chosen}", faults)))
    except MachineError as error:
        st.html(fault(error))
        lay(begun(new_machine_text(SYSTEMS[0])))


def _texts() -> dict[str, bytes]:
    """Every machine file that the form can begin from, the planter of this plan first."""
    job = state.asked() or state.desk().draft
    planter = job.sources.machine if job else None
    files = ([] if planter is None or isinstance(planter, str) else [planter]) + [
        *state.desk().planters
    ]
    generic = planter if isinstance(planter, str) and planter in SYSTEMS else SYSTEMS[0]
    texts = {_called(file): _content(file) for file in reversed(files)}
    return {**dict(reversed(texts.items())), EMPTY: new_machine_text(generic).encode()}


def _called(planter: File) -> str:
    return state.planter_words(planter) if isinstance(planter, Upload) else str(state.OWN_MACHINE)


def _content(planter: File) -> bytes:
    return planter.content if isinstance(planter, Upload) else planter.read_bytes()


@st.fragment
def _form() -> None:
    """The boxes, and what they come to. It runs by itself, so that the sum follows the hand."""
    if st.session_state.get(_DONE):
        st.rerun()
    units = choice("Units", UNITS, "units", "us")
    filling = current()
    machine, faults = filling.read()
    with st.container(key="planter"):
        left, right = st.columns([3, 2], gap="large")
    drawn = machine or filling.guessed()
    with left:
        boxes(units, faults, _weights(drawn, units, guessed=not machine) if drawn else _WRONG)
    with right, st.container(key="planter-balance"):
        st.html(_balance(drawn, units) if drawn else _WRONG)
    if filling.asked_for and faults:
        count = "One place is" if len(faults) == 1 else f"{len(faults)} places are"
        st.html(fault(f"{count} still to be filled in or put right: see what is beside the boxes."))
    with st.container(horizontal=True):
        st.button(USE, key="planter-use", type="primary", on_click=_use)
        st.download_button(
            "Download its file",
            filling.text() if machine else "",
            _file_name(machine.name if machine else EMPTY),
            "application/toml",
            key="planter-take",
            on_click="ignore",
            disabled=machine is None,
            help="A machine file, as zoneplan reads it on the command line too.",
        )
    link.keep()


def _file_name(name: str) -> str:
    return f"{in_file_name(name)}.toml"


def _use() -> None:
    """Keep the planter, and lay it into the job: speed and depth stay as they are."""
    filling = current()
    machine, _ = filling.read()
    if machine is None:
        lay(replace(filling, asked_for=True))
        return
    planter = Upload(_file_name(machine.name), filling.text().encode())
    work = state.desk()
    others = [one for one in work.planters if one.name != planter.name]
    work.planters = (planter, *others)[:_MOST_KEPT]
    work.fillings = {name: one for name, one in work.fillings.items() if one is not filling}
    work.filling = state.planter_words(planter)
    st.session_state["planter-from"] = work.filling
    if job := work.draft or work.now:
        made_on = work.ground
        state.put(state.changed(job, machine=planter, **day_that_stays(job, planter)))
        work.ground = made_on  # what was changed by hand is of the planter before: that is asked
    else:  # there is no field yet
        work.files["machine"] = (planter,)
        st.session_state["machine"] = planter
    st.session_state[_DONE] = KEPT.format(machine.name)


def _go_on(message: str) -> None:
    """Go to the plan, or to where what is still open is asked; there it is said what was done."""
    job, before = state.asked(), state.desk().now
    try:
        if job is not None:
            planned = watching(job, lambda: answered(job)) is not None
        else:  # something is missing; or the plan that stood asks what is to become of it
            planned = before is not None and is_answered(before)
    except ZoneplanError:
        planned = False
    state.desk().message = message
    st.toast(message)  # the page may stand far down
    link.turn_to("field" if planned else "start")


_FRAME = (
    "All rows at their heaviest lift the frame by {}. It has to weigh more than that at its bar, "
    "or its wheels come off the ground: see the machine's manual."
)


# ---- what it comes to --------------------------------------------------------------------------


def _weights(machine: Machine, units: str, *, guessed: bool) -> str:
    """Sum the weights, as HTML; `guessed` where places are still empty."""

    fills = (machine.fill_full, machine.fill_refill)
    rows = {
        "Row unit": [machine.unit_weight_n] * 2,
        "Attachments": [machine.attachments_n] * 2,
        "Seed": [seed_weight_n(machine, fill) for fill in fills],
        "Together": [weight_n(machine, fill) for fill in fills],  # style.css sets it apart
    }
    weights = table(
        "zp-zones zp-sum",
        "Weight of one row unit",
        ("", "Hopper full", "At refill"),
        (
            [name, *(figure(load_n, "load", units) for load_n in loads)]
            for name, loads in rows.items()
        ),
    )
    note = '<p class="zp-change">Typical numbers stand in for what is still empty.</p>'
    return f"{weights}{note if guessed else ''}"


def _balance(machine: Machine, units: str) -> str:
    """Draw the balance of one row unit on loam, and say what all of them do to the frame."""
    demand, outcome = on_loam(machine, remembered("stock rules", read_rules))
    fills = []
    for words, fill in (("hopper full", machine.fill_full), ("at refill", machine.fill_refill)):
        there = at_fill(machine, demand, outcome.setting, fill)
        fills.append(
            Balanced(
                words,
                row_unit_n=machine.unit_weight_n + machine.attachments_n,
                seed_n=seed_weight_n(machine, fill),
                downforce_n=there.given_n,
                opener_load_n=demand.opener_load_n,
                closing_load_n=demand.closing_load_n,
                margin_n=there.margin_n,
            )
        )
    quantity = "pressure" if setting_unit(machine) == "kPa" else "load"
    where = (
        f"Balance on loam, moist and tilled, at {figure(machine.speed_mps, 'speed', units)}, "
        f"{figure(machine.depth_m, 'length', units)} deep, with the {setting_kind(machine)} at "
        f"{figure(outcome.setting, quantity, units)}"
    )
    lift = figure(frame_lift_n(machine), "load", units)
    return f'{balance_figure(where, fills, units)}<p class="zp-change">{_FRAME.format(lift)}</p>'


if __name__ == "__main__":
    page()
