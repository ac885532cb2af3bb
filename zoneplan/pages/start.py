"""The page to begin on: one place for every file, what each was taken for, and the demo fields."""

from pathlib import Path

import streamlit as st

from zoneplan.demo import demo_fields
from zoneplan.errors import ZoneplanError
from zoneplan.field.recognise import FileKind, Recognised
from zoneplan.field.shapes import Field
from zoneplan.harmless import escape, in_markdown
from zoneplan.pages import intake, state
from zoneplan.pages.answers import answered, watching
from zoneplan.pages.boxes import as_upload
from zoneplan.pages.choose_field import answers_given, choose_fields, show_outline
from zoneplan.pages.fault import answer, fault, fault_and_questions
from zoneplan.pages.link import page_link, turn_to
from zoneplan.pages.next_field import leave_field
from zoneplan.pages.overview import field_and_layers
from zoneplan.pages.words import header, shortened, still_to_give
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.run import Job
from zoneplan.sources import Upload

WHAT = (
    "zoneplan turns what is known of a field's soils into a plan for the corn planter's row units: "
    "what to set in each zone, and why."
)
DROP = "Drop everything here: the field's outline, its soils, your planter's file"
ROLES = {  # a field of Sources, and how it is called here
    "boundary": "the field's outline",
    "soils": "soil",
    "machine": "planter",
    "samples": "texture samples",
    "elevation": "heights",
    "tracks": "wheel tracks",
    "zones": "zones of my own",
    "rules": "rules of my own",
    "checks": "hand checks",
}
LEFT_OUT = "left out"
_UNCLEAR = {  # what more outlines can be
    "boundary": "The field's outline, in its place",
    "zones": "Zones of my own",
    "soils": "Soil",
    LEFT_OUT: "Leave it out",
}


def page() -> None:
    """Show the page."""
    _from_the_side()
    st.html(f'{header("A plan for your field")}<p class="zp-needed">{WHAT}</p>')
    key = f"everything-{st.session_state.setdefault('intakes', 0)}"
    st.file_uploader(DROP, accept_multiple_files=True, key=key, on_change=_take, args=(key,))
    _strangers()
    files, drawing = st.columns([6, 5], gap="large")
    with files:
        _files()
    with drawing:
        field = show_outline()
    choose_fields()
    _machine()
    _missing(field)
    _demos()


def _from_the_side() -> None:
    """Lay what was sent at the side of another page with the files here."""
    work = state.desk()
    job = work.draft or work.now
    sent = state.files_sent(job.sources) if job else {}
    if any(files != work.files.get(role) for role, files in sent.items()):
        work.files |= sent
        work.fresh += 1  # the choosers of the side are emptied
        st.rerun()


def _take(key: str) -> None:
    sent = [*map(as_upload, st.session_state[key] or [])]
    parts = st.session_state.get("parts", [])  # of shapefiles that were not whole
    stems = {Path(one.name).stem for one in sent}
    left = intake.take([*(one for one in parts if Path(one.name).stem in stems), *sent])
    unknown = [one for one in left if intake.recognised(one).kind is FileKind.UNKNOWN]
    broken = {Path(one.name).stem for one in unknown}
    st.session_state["parts"] = [
        one
        for one in {part.name: part for part in (*parts, *sent)}.values()
        if Path(one.name).suffix.lower() in intake.PARTS and Path(one.name).stem in broken
    ]
    saved = [one for one in left if intake.recognised(one).kind is FileKind.SAVED]
    st.session_state["strangers"] = unknown
    st.session_state["unclear"] = [one for one in left if one not in (*unknown, *saved)]
    st.session_state["intakes"] += 1  # another chooser, which is empty
    if saved:
        intake.open_saved(saved[0], "start")
        st.session_state["go"] = True


def _strangers() -> None:
    """Say of each file that nobody knows why; ask what more outlines are."""
    for upload in st.session_state.get("strangers", ()):
        seen = intake.recognised(upload)
        st.html(fault(seen.fault or f"{upload.name} is nothing that a plan is made from."))
    if refused := state.desk().refused:
        st.html(fault(refused[1]))
    there = state.desk().files.get("boundary", ())
    for number, upload in enumerate(st.session_state.get("unclear", ())):
        before = f", and {there[0].name} is the outline already" if there else ""
        line = f"{upload.name} holds {_contents(intake.recognised(upload))}{before}. What is it?"
        st.html(f'<p class="zp-needed" role="status">{escape(line)}</p>')
        with st.container(horizontal=True):
            for role, answer in _UNCLEAR.items():
                key = f"unclear-{role}-{number}"
                st.button(answer, key=key, on_click=_clear, args=(upload, role))


def _clear(upload: Upload, role: str) -> None:
    st.session_state["unclear"] = [one for one in st.session_state["unclear"] if one != upload]
    if role != LEFT_OUT:
        intake.place(upload, role)


# ---- what is there -------------------------------------------------------------------------------


def _files() -> None:
    """List every file: what was found in it, what it is taken for, and its place among others."""
    work = state.desk()
    listed = {**work.files, "rules": work.rules}
    if not any(listed.values()):
        return
    st.subheader("What was found", anchor=False)
    for role in ROLES:
        for number, upload in enumerate(listed.get(role, ())):
            _row(role, number, upload)


def _row(role: str, number: int, upload: Upload) -> None:
    name, chooser, up = st.columns([5, 4, 1], vertical_alignment="center")
    seen = intake.recognised(upload)
    name.markdown(f"**{in_markdown(shortened(upload.name))}**  \n{_contents(seen)}")
    key = f"role-{role}-{number}-{state.desk().fresh}-{hash(upload)}"
    options = [*ROLES, LEFT_OUT]
    chooser.selectbox(
        f"What {shortened(upload.name)} is",
        options,
        options.index(role),
        key=key,
        format_func=lambda one: ROLES.get(one, one),
        label_visibility="collapsed",
        on_change=_put_elsewhere,
        args=(key, role, number, upload),
    )
    if role == "soils" and number:
        up.button(
            "",
            key=f"up-{key}",
            icon=":material/arrow_upward:",
            help="Move this layer up: it counts before the one above",
            on_click=intake.move_up,
            args=(role, number),
        )
    if (area := intake.area_of_interest(upload)) and not state.desk().files.get("boundary"):
        st.button(
            "Take the survey's area of interest as the outline",
            key=f"area-{key}",
            on_click=intake.place,
            args=(area, "boundary"),
        )


def _contents(seen: Recognised) -> str:
    if seen.kind is FileKind.OUTLINES:
        return "one outline" if seen.count == 1 else f"{seen.count:,} outlines"
    return f"{seen.kind}, {seen.count:,} shapes" if seen.count > 1 else str(seen.kind)


def _put_elsewhere(key: str, role: str, number: int, upload: Upload) -> None:
    chosen = st.session_state[key]
    intake.remove(role, number)
    if chosen != LEFT_OUT:
        intake.place(upload, chosen)


# ---- the planter, what is missing, and the demos -------------------------------------------------


def _machine() -> None:
    """Choose a generic planter where there is no file."""
    if not state.desk().files or state.desk().files.get("machine"):
        return
    st.selectbox(
        "Planter: no file was given, so choose one of yours, or how yours makes downforce",
        [*state.desk().planters, *SYSTEMS],
        None,
        key="start-machine",
        placeholder="springs, air or hydraulics",
        format_func=state.planter_words,
        on_change=lambda: answer("machine", st.session_state["start-machine"] or SYSTEMS[0]),
        help="The weights of a generic one are invented.",
    )
    page_link("planter", state.FILL_IN, "edit")


def _missing(field: Field | None) -> None:
    """Say what is still to give, or go on to the plan."""
    work = state.desk()
    if not any(work.files.values()):
        return
    choosing = st.session_state.get("choosing")
    missing = [
        what
        for what, there in (
            ("which field it is" if choosing else "the field's outline", field),
            ("a soil layer", work.files.get("soils")),
            ("a planter", work.files.get("machine") or st.session_state.get("start-machine")),
        )
        if not there
    ]
    if field and not work.files.get("soils"):
        intake.public_data({"boundary": work.files["boundary"][0]}, answers_given(), "-start")
    if missing:
        st.html(f'<p class="zp-needed">{escape(still_to_give(missing))}</p>')
    elif (job := state.asked()) and _readable(job):
        st.button("Plan this field", type="primary", key="plan-it", on_click=_plan)


def _readable(job: Job) -> bool:
    """Say what was found on the field, or ask what the files leave open."""
    try:
        run = watching(job, lambda: answered(job))
    except ZoneplanError as error:
        fault_and_questions(error)
        return False
    if run is not None:
        st.html(field_and_layers(run))
    return run is not None


def _demos() -> None:
    st.html('<h2 class="zp-change">Or look at a field of ours, all invented</h2>')
    with st.container(horizontal=True):
        for demo in demo_fields():
            st.button(
                demo.name.capitalize(), key=f"demo-{demo.name}", on_click=_demo, args=(demo.name,)
            )
    if st.session_state.pop("go", False):
        turn_to("field")


def _plan() -> None:
    """Lay the job into the boxes again, for they are let go on the way to another page."""
    if job := state.asked():
        state.put(job)
    st.session_state["go"] = True


def _demo(name: str) -> None:
    if now := state.desk().now:
        leave_field(now)
    st.session_state.update({"field": name, "go": True})


if __name__ == "__main__":
    page()
